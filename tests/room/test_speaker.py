"""One voice at a time: who waits, who is faded, who is not sounded at all.

The real mixer and the virtual calendar carry the speaker; what is asserted is what one would
have heard.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.ports import Audio, Clip
from coach.practice.events import CueDone, CueDue, Rank
from coach.room.mixer import FADE_S, ClipMixer
from coach.room.speaker import GAP_S, Speaker
from coach.timing.virtual import VirtualCalendar

RATE_HZ = 1000
BLOCK = 20
LEAD_S = 0.3
TALK, GUIDANCE, TIMING, SAFETY = Rank


def clip(duration_s: float) -> Clip:
    return Clip("", np.full(round(duration_s * RATE_HZ), 0.5, np.float32), RATE_HZ)


class Studio:
    """The speaker with the real mixer and calendar; keeps what ended and what was heard."""

    def __init__(self) -> None:
        self.mixer = ClipMixer(RATE_HZ)
        self.calendar = VirtualCalendar()
        self.speaker = Speaker(self.mixer, self.calendar, self.mixer.now_s, LEAD_S)
        self.done: dict[int, CueDone] = {}
        self.ends: Counter[int] = Counter()
        self.begun: dict[int, float] = {}
        self.not_ours: list[int] = []
        self.heard: list[Audio] = []

    def run_to(self, until_s: float) -> None:
        while self.mixer.now_s() < until_s:
            self.heard.append(self.mixer.render(BLOCK))
            self.begun |= {begun.cue: begun.at_s for begun in self.mixer.begun()}
            for done in self.mixer.ended():
                self.done[done.cue] = done
                self.ends[done.cue] += 1
                self.speaker.done(done)
            for due in self.calendar.until(self.mixer.now_s()):
                if not self.speaker.due(due):
                    self.not_ours.append(due.cue)

    def started(self, cue: int) -> float | None:
        return self.done[cue].started_s


@pytest.fixture
def studio() -> Studio:
    return Studio()


def test_untimed_clips_follow_each_other_with_a_small_gap(studio: Studio) -> None:
    for cue in (1, 2, 3):
        studio.speaker.say(cue, clip(1.0))
    studio.run_to(5)
    assert studio.started(1) == pytest.approx(GAP_S)
    assert studio.started(2) == pytest.approx(1.0 + 2 * GAP_S)
    assert studio.started(3) == pytest.approx(2.0 + 3 * GAP_S)
    assert all(done.complete for done in studio.done.values())


def test_a_higher_rank_goes_before_a_lower_one_that_waits(studio: Studio) -> None:
    studio.speaker.say(1, clip(1.0), GUIDANCE)
    studio.speaker.say(2, clip(0.5), TALK)
    studio.speaker.say(3, clip(0.5), GUIDANCE)
    studio.speaker.say(4, clip(0.5), GUIDANCE)
    studio.run_to(5)
    assert sorted(studio.begun, key=studio.begun.__getitem__) == [1, 3, 4, 2]
    assert studio.done[1].complete


@pytest.mark.parametrize("mark_s", [0.1, 0.25, 0.31, 2.0, 2.0005, 7.777])
def test_a_timed_clip_starts_at_exactly_its_mark(studio: Studio, mark_s: float) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=mark_s)
    studio.run_to(9)
    assert studio.started(1) == pytest.approx(mark_s, abs=0.5 / RATE_HZ)
    assert studio.done[1].complete


def test_a_timed_clip_that_comes_too_late_sounds_at_once(studio: Studio) -> None:
    studio.run_to(1)
    studio.speaker.say(1, clip(0.5), TIMING, at_s=0.5)
    studio.run_to(2)
    assert studio.started(1) == 1.0


def test_a_clip_that_would_not_be_over_by_the_mark_waits_until_after_it(studio: Studio) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=2.0)
    studio.speaker.say(2, clip(3.0), GUIDANCE)
    studio.run_to(7)
    assert studio.started(1) == 2.0
    assert studio.started(2) == pytest.approx(2.5 + GAP_S)
    assert studio.done[2].complete


def test_a_short_clip_still_fits_before_the_mark(studio: Studio) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=2.0)
    studio.speaker.say(2, clip(1.0), GUIDANCE)
    studio.run_to(7)
    assert studio.started(2) == pytest.approx(GAP_S)
    assert studio.done[2].complete
    assert studio.started(1) == 2.0


def test_a_clip_waits_also_when_the_timed_one_is_already_in_the_mixer(studio: Studio) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=1.0)
    studio.run_to(0.8)
    studio.speaker.say(2, clip(0.5), GUIDANCE)
    studio.run_to(3)
    assert studio.started(1) == 1.0
    assert studio.started(2) == pytest.approx(1.5 + GAP_S)


def test_a_sounding_clip_is_faded_just_before_a_mark(studio: Studio) -> None:
    studio.speaker.say(1, clip(5.0), GUIDANCE)
    studio.run_to(1.0)
    studio.speaker.say(2, clip(0.5), TIMING, at_s=3.0)
    studio.run_to(5.0)
    assert studio.done[1].complete is False
    assert studio.done[1].at_s == 3.0
    assert studio.started(2) == 3.0
    sound = np.concatenate(studio.heard)
    assert sound[3000 - 32] == np.float32(0.5), "not faded earlier than need be"
    assert sound[2999] < 0.05
    assert sound[3000] == np.float32(0.5)


def test_a_mark_soon_after_the_order_still_cuts_what_sounds(studio: Studio) -> None:
    studio.speaker.say(1, clip(5.0), GUIDANCE)
    studio.run_to(1.0)
    studio.speaker.say(2, clip(0.5), TIMING, at_s=1.1)
    studio.run_to(3.0)
    assert studio.started(2) == pytest.approx(1.1)
    assert studio.done[1].at_s == pytest.approx(1.1)


def test_safety_interrupts_at_once(studio: Studio) -> None:
    studio.speaker.say(1, clip(5.0), GUIDANCE)
    studio.speaker.say(2, clip(0.5), TALK)
    studio.run_to(1.0)
    studio.speaker.say(3, clip(1.0), SAFETY)
    studio.run_to(4.0)
    assert studio.started(3) == pytest.approx(1.0 + FADE_S)
    assert studio.done[1].complete is False
    assert studio.done[1].at_s == pytest.approx(1.0 + FADE_S)
    assert studio.started(2) == pytest.approx(2.0 + FADE_S + GAP_S), "what waited goes on after"


def test_a_time_call_during_safety_speech_is_not_sounded(studio: Studio) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=2.0)
    studio.speaker.say(2, clip(0.5), TIMING, at_s=4.0)
    studio.run_to(1.0)
    studio.speaker.say(3, clip(2.0), SAFETY)
    studio.run_to(6.0)
    assert studio.done[1] == CueDone(studio.done[1].at_s, 1, None, complete=False)
    assert studio.done[3].complete
    assert studio.started(2) == 4.0


def test_safety_silences_a_time_call_that_sounds_or_is_about_to(studio: Studio) -> None:
    studio.speaker.say(1, clip(1.0), TIMING, at_s=1.0)
    studio.speaker.say(2, clip(1.0), TIMING, at_s=1.6)
    studio.run_to(1.4)
    studio.speaker.say(3, clip(1.0), SAFETY)
    studio.run_to(4.0)
    assert studio.done[1].complete is False
    assert studio.started(2) is None
    assert studio.done[3].complete


def test_a_call_between_two_safety_lines_is_not_sounded(studio: Studio) -> None:
    studio.speaker.say(3, clip(1.0), SAFETY)
    studio.speaker.say(4, clip(1.0), SAFETY)
    studio.speaker.say(1, clip(0.5), TIMING, at_s=1.1)
    studio.run_to(4.0)
    assert studio.started(1) is None
    assert studio.started(4) == pytest.approx(1.0 + FADE_S, abs=GAP_S + FADE_S)
    assert studio.done[3].complete
    assert studio.done[4].complete


def test_safety_does_not_wait_for_a_mark_and_is_not_cut_by_it(studio: Studio) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=0.5)
    studio.speaker.say(2, clip(2.0), SAFETY)
    studio.run_to(4.0)
    assert studio.done[2].complete
    assert studio.done[2].started_s == pytest.approx(0.0, abs=FADE_S)
    assert studio.started(1) is None


def test_of_two_timed_clips_that_overlap_the_later_mark_is_kept(studio: Studio) -> None:
    studio.speaker.say(1, clip(1.0), TIMING, at_s=1.0)
    studio.speaker.say(2, clip(1.0), TIMING, at_s=1.5)
    studio.run_to(4.0)
    assert studio.done[1] == CueDone(1.5, 1, 1.0, complete=False)
    assert studio.done[2].complete


def test_a_timed_clip_of_lower_rank_is_not_sounded_over_a_higher_one(studio: Studio) -> None:
    studio.speaker.say(1, clip(2.0), GUIDANCE)
    studio.speaker.say(2, clip(1.0), TALK, at_s=1.0)
    studio.run_to(4.0)
    assert studio.done[1].complete
    assert studio.started(2) is None


def test_dropping_a_waiting_a_timed_and_a_sounding_clip(studio: Studio) -> None:
    studio.speaker.say(1, clip(3.0))
    studio.speaker.say(2, clip(1.0))
    studio.speaker.say(3, clip(1.0), TIMING, at_s=5.0)
    studio.run_to(1.0)
    for cue in (1, 2, 3, 99):
        studio.speaker.drop(cue)
    studio.run_to(7.0)
    assert studio.done[1].at_s == pytest.approx(1.0 + FADE_S)
    assert studio.done[1].complete is False
    assert studio.started(2) is None
    assert studio.started(3) is None
    assert studio.ends == {1: 1, 2: 1, 3: 1}
    assert studio.not_ours == []


def test_dropping_what_sounds_lets_the_next_one_speak(studio: Studio) -> None:
    studio.speaker.say(1, clip(9.0))
    studio.speaker.say(2, clip(1.0))
    studio.run_to(1.0)
    studio.speaker.drop(1)
    studio.run_to(3.0)
    assert studio.started(2) == pytest.approx(1.0 + FADE_S + GAP_S)


def test_dropping_the_timed_clip_lets_the_long_one_speak(studio: Studio) -> None:
    studio.speaker.say(1, clip(0.5), TIMING, at_s=2.0)
    studio.speaker.say(2, clip(3.0))
    studio.run_to(1.0)
    studio.speaker.drop(1)
    studio.run_to(5.0)
    assert studio.started(2) == pytest.approx(1.0)


def test_hush_leaves_what_ranks_higher(studio: Studio) -> None:
    studio.speaker.say(1, clip(2.0), SAFETY)
    studio.speaker.say(2, clip(1.0), SAFETY)
    studio.speaker.say(3, clip(1.0), GUIDANCE)
    studio.speaker.say(4, clip(1.0), TIMING, at_s=8.0)
    studio.run_to(1.0)
    studio.speaker.hush(TIMING)
    studio.run_to(9.0)
    assert [studio.done[cue].complete for cue in (1, 2)] == [True, True]
    assert [studio.started(cue) for cue in (3, 4)] == [None, None]


def test_hush_of_all_is_silence(studio: Studio) -> None:
    studio.speaker.say(1, clip(2.0), SAFETY)
    studio.speaker.say(2, clip(1.0), GUIDANCE)
    studio.run_to(1.0)
    studio.speaker.hush(SAFETY)
    studio.run_to(5.0)
    assert not np.concatenate(studio.heard)[1000 + round(FADE_S * RATE_HZ) :].any()


def test_a_calendar_cue_of_somebody_else_is_left_to_him(studio: Studio) -> None:
    studio.calendar.add(77, 0.5)
    studio.run_to(1.0)
    assert studio.not_ours == [77]
    assert studio.speaker.due(CueDue(1.0, 78)) is False


deeds = st.lists(
    st.one_of(
        st.tuples(
            st.just("say"),
            st.sampled_from(Rank),
            st.none() | st.integers(0, 400),  # mark, in hundredths of a second from now
            st.integers(1, 250),  # length, in hundredths
        ),
        st.tuples(st.just("drop"), st.integers(1, 12)),
        st.tuples(st.just("hush"), st.sampled_from(Rank)),
        st.tuples(st.just("run"), st.integers(1, 200)),
    ),
    max_size=25,
)


@settings(deadline=None)
@given(deeds)
def test_whatever_is_asked_one_voice_speaks_and_every_clip_ends_once(
    deeds: list[tuple[object, ...]],
) -> None:
    studio = Studio()
    said: dict[int, tuple[float, Rank, float | None]] = {}
    for deed in deeds:
        match deed:
            case ("say", Rank() as rank, mark, int(length)):
                cue, now_s = len(said) + 1, studio.mixer.now_s()
                at_s = now_s + mark / 100 if isinstance(mark, int) else None
                said[cue] = (length / 100, rank, at_s)
                studio.speaker.say(cue, clip(length / 100), rank, at_s)
            case ("drop", int(cue)):
                studio.speaker.drop(cue)
            case ("hush", Rank() as rank):
                studio.speaker.hush(rank)
            case ("run", int(time)):
                studio.run_to(studio.mixer.now_s() + time / 100)
    studio.run_to(studio.mixer.now_s() + 100)
    assert studio.ends == Counter(dict.fromkeys(said, 1)), "every clip is answered exactly once"
    spans = sorted(
        (done.started_s, done.at_s) for done in studio.done.values() if done.started_s is not None
    )
    for (_, end_s), (start_s, _) in pairwise(spans):
        assert start_s >= end_s - FADE_S - 1e-9, "two clips at once"
    for cue, (_, _, at_s) in said.items():
        started_s = studio.started(cue)
        if at_s is not None and started_s is not None:
            assert started_s == pytest.approx(at_s, abs=1.5 * BLOCK / RATE_HZ)

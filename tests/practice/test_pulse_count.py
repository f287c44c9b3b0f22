"""The pulse window and what is said about it: taken only after a yes, never changed silently."""

from __future__ import annotations

from typing import Any

import pytest

from coach.practice.conductor import Conductor
from coach.practice.events import (
    Begin,
    CueDone,
    CueDue,
    Event,
    Knocked,
    Knocks,
    Listen,
    Say,
    Sound,
    Wait,
)
from coach.practice.plan import PulseCount
from coach.practice.pulse import tapped_rate_bpm
from coach.practice.safety import Limits, Person
from tests.practice.plans import count, plan, shipped
from tests.practice.rehearsal import Rehearsal, Reply, heard, unclear

Turns = list[tuple[float, Reply]]


def said(*asks: Reply, reads: tuple[Reply, ...] = (), step: PulseCount | None = None) -> Rehearsal:
    """Answers to "how many", and to what is read back, in turn."""
    label = (step or count()).label
    replies: dict[str, Turns] = {
        f"pulse-ask:{label}": [(1.0, reply) for reply in asks],
        f"pulse-read:{label}": [(1.0, reply) for reply in reads],
    }
    return Rehearsal(plan(step or count()), replies).run()


YES, NO = heard("yes"), heard("no")


def number(beats: int) -> Reply:
    return heard(number=beats)


@pytest.mark.parametrize(
    ("window_s", "beats", "bpm"), [(15.0, 17, 68), (30.0, 34, 68), (60.0, 67, 67)]
)
def test_a_count_is_read_back_with_its_rate_and_kept_after_a_yes(
    window_s: float, beats: int, bpm: int
) -> None:
    session = said(number(beats), reads=(YES,), step=count(window_s=window_s))
    (pulse,) = session.pulses
    assert (pulse.beats, pulse.bpm, pulse.window_s) == (beats, bpm, window_s)
    read = session.values_of(session.lines[-2])[0]
    assert (read["beats"], read["bpm"]) == (beats, bpm)
    assert session.lines[-1] == "kept"
    window = session.time_of("count-end") - session.time_of("count")
    assert window == pytest.approx(window_s, abs=1e-6)


def test_without_a_yes_nothing_is_kept() -> None:
    session = said(number(17))
    assert session.beats == {("before", 1): None}
    assert session.pulses[0].first_heard == 17
    assert session.lines.count("pulse_read_digits") == 3
    assert session.lines[-1] == "pulse_unknown"


@pytest.mark.parametrize("beats", [13, 14, 15, 16, 17, 18, 19, 30, 40, 50])
def test_what_is_easily_confused_is_read_digit_by_digit(beats: int) -> None:
    session = said(number(beats), reads=(YES,))
    assert "pulse_read_digits" in session.lines
    assert "pulse_read" not in session.lines


@pytest.mark.parametrize("beats", [11, 12, 20, 21, 25, 31])
def test_what_is_plain_is_read_plainly(beats: int) -> None:
    session = said(number(beats), reads=(YES,))
    assert "pulse_read" in session.lines
    assert "pulse_read_digits" not in session.lines


def test_a_correction_replaces_the_number_and_is_read_back_itself() -> None:
    session = said(number(50), reads=(heard("no", number=15), YES))
    (pulse,) = session.pulses
    assert (pulse.beats, pulse.first_heard, pulse.corrected) == (15, 50, True)
    assert [v["beats"] for v in session.values_of("pulse_read_digits")] == [50, 15]


def test_a_correction_can_be_corrected() -> None:
    session = said(number(50), reads=(heard("no", number=15), heard("no", number=16), YES))
    assert session.beats == {("before", 1): 16}
    assert session.pulses[0].first_heard == 50


def test_a_plain_no_asks_again() -> None:
    session = said(number(50), number(15), reads=(NO, YES))
    assert session.beats == {("before", 1): 15}
    assert session.pulses[0].corrected
    assert "pulse_ask_again" in session.lines


def test_a_new_number_without_a_no_is_a_correction_too() -> None:
    session = said(number(50), reads=(number(15), YES))
    assert session.beats == {("before", 1): 15}


@pytest.mark.parametrize("answer", [heard("no"), heard("no", number=17)])
def test_a_number_that_is_corrected_for_ever_is_left_open(answer: Reply) -> None:
    always = {
        "pulse-ask:before": (1.0, number(50)),
        "pulse-read:before": (1.0, answer),
    }
    session = Rehearsal(plan(count()), always=always).run()
    assert session.beats == {("before", 1): None}
    assert session.finish is not None
    assert session.now_s < 120.0


def test_saying_the_same_again_is_no_correction() -> None:
    session = said(number(15), reads=(number(15), YES))
    assert not session.pulses[0].corrected


def test_a_yes_or_no_before_any_number_means_nothing() -> None:
    for word in ("yes", "no"):
        session = said(heard(word), number(20), reads=(YES,))
        assert session.beats == {("before", 1): 20}


@pytest.mark.parametrize("beats", [0, 3, 5, 56, 104, 240])
def test_what_cannot_be_is_asked_about_and_never_kept(beats: int) -> None:
    session = said(number(beats), number(20), reads=(YES,))
    assert session.values_of("pulse_implausible")[0]["beats"] == beats
    assert session.beats == {("before", 1): 20}
    assert session.pulses[0].first_heard == beats
    assert session.pulses[0].corrected


def test_what_cannot_be_is_left_open_after_the_third_time() -> None:
    session = said(*[number(3)] * 9)
    assert session.beats == {("before", 1): None}
    assert session.lines.count("pulse_implausible") == 2
    assert session.lines[-1] == "pulse_unknown"


def test_an_impossible_correction_leaves_the_first_number_untaken() -> None:
    session = said(number(20), reads=(heard("no", number=2),))
    assert session.beats == {("before", 1): None}


def test_a_lost_count_is_no_matter_and_unknown() -> None:
    session = said(heard("lost-count"))
    assert session.beats == {("before", 1): None}
    assert session.lines[-2:] == ["pulse_lost", "pulse_unknown"]
    (pulse,) = session.pulses
    assert (pulse.bpm, pulse.first_heard, pulse.source.by) == (None, None, "nobody")


def test_silence_is_asked_three_times_and_then_unknown() -> None:
    session = said()
    assert session.lines.count("pulse_ask") == 3
    assert session.beats == {("before", 1): None}


def test_what_is_unclear_is_asked_back() -> None:
    session = said(unclear(), number(20), reads=(YES,))
    assert "pardon" in session.lines
    assert session.beats == {("before", 1): 20}


def test_an_answer_for_another_number_is_not_taken() -> None:
    session = said(heard(number=20, who=4), number(21), reads=(YES,))
    assert session.beats == {("before", 1): 21}


# --- too fast for a short window


@pytest.mark.parametrize(("beats", "again"), [(25, False), (26, True), (40, True)])
def test_26_and_more_in_15_s_are_counted_over_30_s(beats: int, again: bool) -> None:
    replies: dict[str, Turns] = {
        "pulse-ask:before": [(1.0, number(beats))],
        "pulse-read:before": [(1.0, YES)],
        "pulse-ask:before 30 s": [(1.0, number(54))],
        "pulse-read:before 30 s": [(1.0, YES)],
    }
    session = Rehearsal(plan(count()), replies).run()
    assert ("pulse_longer" in session.lines) == again
    assert session.beats == {("before", 1): beats} | ({("before 30 s", 1): 54} if again else {})
    if again:
        assert session.pulses[1].bpm == 108.0
        assert session.pulses[1].place == "before"
        long_s = session.time_of("count-end", 1) - session.time_of("count", 1)
        assert long_s == pytest.approx(30.0, abs=1e-6)


def test_30_s_are_long_enough() -> None:
    session = said(number(60), reads=(YES,), step=count(window_s=30.0))
    assert "pulse_longer" not in session.lines


# --- steering


def test_a_pause_in_the_window_counts_nothing_and_begins_anew() -> None:
    replies: dict[str, Turns] = {
        "count": [(5.0, heard("pause"))],
        "paused": [(20.0, heard("go-on"))],
        "pulse-ask:before": [(1.0, number(20))],
        "pulse-read:before": [(1.0, YES)],
    }
    session = Rehearsal(plan(count()), replies).run()
    assert session.lines.count("count") == 2
    assert session.lines.count("count-end") == 1
    assert session.pulses[0].start_s == session.time_of("count", 1)


@pytest.mark.parametrize("word", ["repeat", "again"])
def test_repeat_in_the_window_begins_it_anew(word: str) -> None:
    session = Rehearsal(plan(count()), {"count": [(5.0, heard(word))]}).run()
    assert session.lines.count("count") == 2
    assert session.lines.count("count-end") == 1


def test_repeat_at_the_read_back_reads_it_again() -> None:
    session = said(number(20), reads=(heard("repeat"), YES))
    assert session.lines.count("pulse_read") == 2
    assert session.lines.count("pulse_ask") == 1
    assert session.beats == {("before", 1): 20}


def test_a_pause_at_the_read_back_forgets_no_number() -> None:
    replies: dict[str, Turns] = {
        "pulse-ask:before": [(1.0, number(20))],
        "pulse-read:before": [(1.0, heard("pause")), (1.0, YES)],
        "paused": [(20.0, heard("go-on"))],
    }
    session = Rehearsal(plan(count()), replies).run()
    assert session.beats == {("before", 1): 20}
    assert session.lines.count("pulse_ask") == 1


def test_how_long_tells_what_is_left_of_the_window() -> None:
    session = Rehearsal(plan(count()), {"count": [(4.4, heard("how-long"))]}).run()
    assert session.values_of("left")[0]["left"] == pytest.approx(10.0)


def test_before_the_window_nobody_can_know_how_long() -> None:
    session = Rehearsal(plan(count()), {"pulse_find": [(0.6, heard("how-long"))]}).run()
    assert "left_unknown" in session.lines


@pytest.mark.parametrize("line", ["count", "pulse_ask"])
def test_a_count_can_be_skipped_and_leaves_no_value(line: str) -> None:
    session = Rehearsal(plan(count()), {line: [(0.6, heard("skip"))]}).run()
    assert session.pulses == []
    assert session.notes == ["skipped"]


@pytest.mark.parametrize("tone", [0, 1])
def test_a_tone_that_did_not_sound_begins_the_window_anew(tone: int) -> None:
    conductor = Conductor(plan(count()), [Person(1)], Limits())
    find = next(e for e in conductor.handle(Begin(0.0)) if isinstance(e, Say))
    pause = next(e for e in conductor.handle(CueDone(1.0, find.cue, 0.0)) if isinstance(e, Wait))
    event: Event = CueDue(1.5, pause.cue)
    for which in range(tone + 1):
        mark = next(e for e in conductor.handle(event) if isinstance(e, Sound))
        sounded = mark.at_s if which < tone else None
        event = CueDone((mark.at_s or 0.0) + 0.2, mark.cue, sounded)
    again = next(e for e in conductor.handle(event) if isinstance(e, Sound))
    assert again.name == "count"
    assert again.at_s == event.at_s + 1.0


# --- tapped


def tapped(
    rate_bpm: float, wobble_s: float = 0.0, start: float = 0.3, count_of: int = 99
) -> Rehearsal:
    step = count("taps", by="tap", place="practice")
    mark_s = Rehearsal(plan(step)).run().time_of("count")
    session = Rehearsal(plan(step))
    gap_s = 60.0 / rate_bpm
    for n in range(count_of):
        at_s = mark_s + start + n * gap_s + (wobble_s if n % 2 else 0.0)
        if at_s < mark_s + 15.5:
            session.at(at_s, lambda onset_s: Knocked(onset_s + 0.1, onset_s, 1))
    return session.run()


@pytest.mark.parametrize("rate_bpm", [48.0, 60.0, 71.3, 96.0, 140.0])
def test_a_tapped_pulse_needs_no_number(rate_bpm: float) -> None:
    session = tapped(rate_bpm)
    (pulse,) = session.pulses
    assert pulse.bpm == pytest.approx(rate_bpm, abs=0.1)
    assert pulse.source.by == "tap"
    assert session.values_of("taps_result")[0]["bpm"] == round(rate_bpm)
    assert "pulse_ask" not in session.lines
    assert pulse.beats == len([n for n in range(99) if 0.3 + n * 60 / rate_bpm <= 15.0])


def test_the_spread_of_a_tapped_pulse_is_told() -> None:
    even, uneven = tapped(60.0), tapped(60.0, wobble_s=0.2)
    assert even.values_of("taps_result")[0]["spread"] == 1  # never less than one is claimed
    assert uneven.pulses[0].spread_bpm is not None
    assert even.pulses[0].spread_bpm is not None
    assert uneven.pulses[0].spread_bpm > even.pulses[0].spread_bpm + 1


def test_too_few_taps_are_left_open() -> None:
    session = tapped(60.0, count_of=4)
    (pulse,) = session.pulses
    assert (pulse.beats, pulse.bpm, pulse.source.by) == (None, None, "nobody")
    assert "taps_unclear" in session.lines


def test_taps_without_any_rhythm_are_left_open() -> None:
    """Of four intervals fewer than four lie near their median."""
    assert tapped_rate_bpm([0.0, 1.0, 2.0, 5.0, 6.0]) is None


def test_taps_that_nobody_at_rest_can_have_are_left_open() -> None:
    assert tapped(300.0).beats == {("taps", 1): None}


def test_taps_before_the_first_tone_do_not_count() -> None:
    session = tapped(60.0, start=-0.9)
    assert session.pulses[0].beats == 15


def test_every_knock_is_a_beat_while_tapping() -> None:
    session = tapped(60.0)
    beats = [e.knocks for _, e in session.effects if isinstance(e, Listen)]
    assert Knocks.BEATS in beats
    assert Knocks.MARKS not in beats


# --- the shipped plans


def test_the_morning_pulse_is_counted_twice_over_a_minute_and_averaged() -> None:
    replies: dict[str, Turns] = {}
    for label, beats in (("first minute", 58), ("second minute", 61)):
        replies[f"pulse-ask:{label}"] = [(1.0, number(beats))]
        replies[f"pulse-read:{label}"] = [(1.0, YES)]
    session = Rehearsal(shipped("morning-pulse"), replies).run()
    assert session.beats == {("first minute", 1): 58, ("second minute", 1): 61}
    assert {p.place for p in session.pulses} == {"morning"}
    assert session.values_of("sum_morning") == [{"bpm": 60}]  # 59.5, halves to even
    assert session.finish is not None
    assert session.finish.code == 0


def test_one_missing_minute_leaves_the_other() -> None:
    replies: dict[str, Turns] = {
        "pulse-ask:second minute": [(1.0, number(61))],
        "pulse-read:second minute": [(1.0, YES)],
    }
    session = Rehearsal(shipped("morning-pulse"), replies).run()
    assert session.values_of("sum_morning") == [{"bpm": 61}]


def test_pulse_practice_has_every_window_and_taps() -> None:
    session = Rehearsal(shipped("pulse-practice")).run()
    windows = {p.window_s for p in session.pulses}
    assert windows == {15.0, 30.0, 60.0}
    assert "pulse_find_tap" in session.lines
    assert all(p.place == "practice" for p in session.pulses)


def test_a_plan_of_pulses_needs_no_clearing_and_has_no_hold() -> None:
    session: Any = Rehearsal(shipped("pulse-practice")).run()
    assert "hold" not in session.lines
    assert "clear_dry" not in session.lines

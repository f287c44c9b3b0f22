"""Clips begin at exact frames, whatever the blocks; every clip ends in exactly one CueDone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.ports import Audio, Clip
from coach.practice.events import CueDone
from coach.room.mixer import FADE_S, KNEE, ClipMixer

RATE_HZ = 16_000


def noise(frames: int, level: float = 0.1, seed: int = 0) -> Clip:
    samples = np.random.default_rng(seed).uniform(-level, level, frames).astype(np.float32)
    return Clip("noise", samples, RATE_HZ)


def ones(frames: int, level: float = 0.5) -> Clip:
    return Clip("ones", np.full(frames, level, np.float32), RATE_HZ)


def rendered(mixer: ClipMixer, frames: int, block: int = 160) -> Audio:
    blocks = [mixer.render(0)]
    while frames:
        size = min(block, frames)
        blocks.append(mixer.render(size))
        frames -= size
    return np.concatenate(blocks)


@settings(deadline=None)
@given(
    clips=st.lists(
        st.tuples(
            st.integers(1, 4000),  # frames
            st.integers(0, 6000),  # start
            st.floats(-20, 20),  # gain_db
        ),
        max_size=5,
    ),
    fade_by=st.integers(0, 6000),
    blocks=st.lists(st.integers(1, 700), min_size=1, max_size=8),
)
def test_the_size_of_the_blocks_changes_nothing(
    clips: list[tuple[int, int, float]], fade_by: int, blocks: list[int]
) -> None:
    whole, pieces = ClipMixer(RATE_HZ), ClipMixer(RATE_HZ)
    for mixer in (whole, pieces):
        for cue, (frames, start, gain_db) in enumerate(clips):
            mixer.play(cue, noise(frames, seed=cue), start / RATE_HZ, gain_db)
        mixer.drop(0, by_s=fade_by / RATE_HZ)
    expected = whole.render(12_000)
    parts, left, turn = [], 12_000, 0
    while left:
        size = min(left, blocks[turn % len(blocks)])
        parts.append(pieces.render(size))
        left, turn = left - size, turn + 1
    np.testing.assert_array_equal(np.concatenate(parts), expected)
    by_cue = {done.cue: done for done in whole.ended()}
    again = {done.cue: done for done in pieces.ended()}
    assert again == by_cue
    assert sorted(by_cue) == list(range(len(clips)))


@settings(deadline=None)
@given(start=st.integers(0, 5000), block=st.integers(1, 999), earlier=st.integers(0, 2000))
def test_a_clip_begins_at_exactly_its_frame_or_with_the_next_one(
    start: int, block: int, earlier: int
) -> None:
    mixer = ClipMixer(RATE_HZ)
    before = rendered(mixer, earlier, block)
    promised_s = mixer.play(7, ones(300), start / RATE_HZ)
    sound = np.concatenate((before, rendered(mixer, 8000, block)))
    first = int(np.flatnonzero(sound)[0])
    assert first == max(start, earlier)
    assert promised_s == first / RATE_HZ
    assert mixer.begun()[0].at_s == promised_s
    assert mixer.ended() == [CueDone((first + 300) / RATE_HZ, 7, promised_s, complete=True)]
    assert np.count_nonzero(sound) == 300


def test_gain_is_in_decibels() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(10, 0.1), 0.0, gain_db=6.0206)
    assert mixer.render(10) == pytest.approx(0.2, rel=1e-4)


def test_a_sounding_clip_fades_within_thirty_milliseconds() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(16_000), 0.0)
    mixer.render(1600)
    mixer.drop(1)
    sound = rendered(mixer, 1600)
    fade_frames = round(FADE_S * RATE_HZ)
    assert np.all(np.diff(sound[:fade_frames]) < 0), "it falls without a click"
    assert not sound[fade_frames:].any()
    assert abs(sound[0] - 0.5) < 0.01
    assert mixer.ended() == [CueDone(0.1 + FADE_S, 1, 0.0, complete=False)]
    assert mixer.sounding() == ()


def test_a_fade_can_end_at_a_mark() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(16_000), 0.0)
    mixer.drop(1, by_s=0.5)
    sound = rendered(mixer, 16_000)
    assert not sound[8000:].any()
    assert sound[8000 - round(FADE_S * RATE_HZ) - 1] == np.float32(0.5)
    assert mixer.ended() == [CueDone(0.5, 1, 0.0, complete=False)]


def test_a_clip_over_before_its_fade_is_complete() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(1600), 0.0)
    mixer.drop(1, by_s=0.5)
    rendered(mixer, 16_000)
    assert mixer.ended() == [CueDone(0.1, 1, 0.0, complete=True)]


def test_a_second_drop_can_only_come_earlier() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(16_000), 0.0)
    mixer.drop(1, by_s=0.2)
    mixer.drop(1, by_s=0.9)
    assert not rendered(mixer, 16_000)[3200:].any()


def test_a_clip_dropped_before_it_began_never_sounds() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(1600), 0.5)
    mixer.render(160)
    mixer.drop(1)
    assert not rendered(mixer, 16_000).any()
    assert mixer.ended() == [CueDone(0.01, 1, None, complete=False)]
    assert mixer.begun() == []


def test_a_skipped_cue_is_reported_as_not_sounded() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.render(160)
    mixer.skip(9)
    assert mixer.ended() == [CueDone(0.01, 9, None, complete=False)]


def test_dropping_an_unknown_or_ended_cue_says_nothing() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(10), 0.0)
    mixer.render(100)
    mixer.drop(1)
    mixer.drop(2)
    mixer.render(100)
    assert [done.cue for done in mixer.ended()] == [1]


def test_overlapping_clips_never_reach_full_scale_and_quiet_ones_are_untouched() -> None:
    mixer = ClipMixer(RATE_HZ)
    for cue in range(4):
        mixer.play(cue, ones(100, 0.9), 0.0)
    assert np.abs(mixer.render(100)).max() <= 1.0
    mixer.play(9, ones(100, KNEE), 0.0)
    np.testing.assert_array_equal(mixer.render(100), np.float32(KNEE))


def test_what_sounds_is_known() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(320), 0.0)
    mixer.play(2, ones(320), 0.01)
    assert mixer.sounding() == ()
    mixer.render(160)
    assert mixer.sounding() == (1,)
    mixer.render(160)
    assert mixer.sounding() == (2,)


def test_an_empty_clip_ends_where_it_begins() -> None:
    mixer = ClipMixer(RATE_HZ)
    mixer.play(1, ones(0), 0.005)
    mixer.render(160)
    assert mixer.ended() == [CueDone(0.005, 1, 0.005, complete=True)]


def test_a_clip_of_another_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="8000 Hz"):
        ClipMixer(RATE_HZ).play(1, Clip("x", np.zeros(8, np.float32), 8000), 0.0)

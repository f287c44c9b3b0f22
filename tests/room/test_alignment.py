"""Blocks for the ear, from two streams whose true places are known."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from coach.ports import EAR_RATE_HZ, Audio, Block
from coach.room.alignment import AHEAD_S, Alignment

PLAYED_HZ = 48_000


def tone(rate_hz: int, seconds: float, start_s: float = 0.0) -> Audio:
    """A sweep that tells its time: 200 to 2000 Hz in 4 s."""
    at_s = start_s + np.arange(round(seconds * rate_hz)) / rate_hz
    samples: Audio = np.sin(2 * np.pi * (200 * at_s + 225 * at_s**2)).astype(np.float32)
    return samples


def run(
    alignment: Alignment,
    recorded_hz: int,
    begun_s: float,
    size_s: float = 0.01,
    seconds: float = 3.0,
) -> list[Block]:
    """The loudspeaker plays a sweep; the microphone, open from `begun_s` on, hears it at once."""
    alignment.open(recorded_hz)
    played, recorded = tone(PLAYED_HZ, seconds), tone(recorded_hz, seconds - begun_s, begun_s)
    blocks: list[Block] = []
    play, record = round(size_s * PLAYED_HZ), round(size_s * recorded_hz)
    for number in range(int(seconds / size_s)):
        alignment.play(played[number * play : (number + 1) * play], number * play)
        alignment.record(recorded[number * record : (number + 1) * record], begun_s)
        blocks += alignment.blocks()
    return blocks


@pytest.mark.parametrize("recorded_hz", [48_000, 44_100, 16_000])
@pytest.mark.parametrize("begun_s", [0.0, 0.05])
def test_what_is_heard_stands_beside_what_is_played(recorded_hz: int, begun_s: float) -> None:
    blocks = run(Alignment(PLAYED_HZ, AHEAD_S, 0.04), recorded_hz, begun_s)
    assert len(blocks) > 60
    for block in blocks[5:]:
        assert block.microphone == pytest.approx(block.played, abs=0.02)


def test_blocks_follow_each_other_without_a_gap_from_zero_on() -> None:
    blocks = run(Alignment(PLAYED_HZ, 0.0, 0.04), 44_100, 0.03)
    assert blocks[0].start_s == 0.0
    for before, after in pairwise(blocks):
        assert after.start_s - before.start_s == pytest.approx(0.04)
        assert len(before.microphone) == len(before.played) == 640


def test_the_size_of_the_pieces_changes_nothing() -> None:
    sizes = [
        np.concatenate(
            [b.microphone for b in run(Alignment(PLAYED_HZ, 0.0, 0.04), 48_000, 0.02, s)]
        )
        for s in (0.01, 0.02, 0.05)
    ]
    shortest = min(len(samples) for samples in sizes)
    for samples in sizes[1:]:
        assert samples[:shortest] == pytest.approx(sizes[0][:shortest], abs=1e-4)


def test_a_known_delay_puts_the_reference_later() -> None:
    delay_s = 0.1
    plain = run(Alignment(PLAYED_HZ, AHEAD_S, 0.04), 48_000, 0.0)
    late = run(Alignment(PLAYED_HZ, AHEAD_S + delay_s, 0.04), 48_000, 0.0)
    shift = round(delay_s * EAR_RATE_HZ)
    played = [np.concatenate([block.played for block in blocks]) for blocks in (plain, late)]
    assert played[1][:shift] == pytest.approx(0.0)
    length = min(len(played[0]), len(played[1]) - shift)
    assert played[1][shift : shift + length] == pytest.approx(played[0][:length])


def test_a_lost_piece_becomes_silence_and_moves_nothing() -> None:
    alignment = Alignment(PLAYED_HZ, AHEAD_S, 0.04)
    alignment.open(16_000)
    recorded = tone(16_000, 3.0)
    blocks: list[Block] = []
    for number, at in enumerate(range(0, len(recorded), 160)):
        alignment.play(tone(PLAYED_HZ, 0.01, at / 16_000), at * 3)
        if not 100 <= number < 110:
            begun_s = 0.0 if number < 100 else 0.1  # the stamps tell that frames are missing
            alignment.record(recorded[at : at + 160], begun_s)
        blocks += alignment.blocks()
    heard = np.concatenate([block.microphone for block in blocks])
    assert not heard[16_050:17_500].any()
    assert heard[17_600:40_000] == pytest.approx(recorded[17_600:40_000], abs=0.02)


@pytest.mark.parametrize("drift", [100e-6, -40e-6])
def test_two_clocks_that_part_are_drawn_together(drift: float) -> None:
    alignment = Alignment(16_000, AHEAD_S, 0.04)
    alignment.open(16_000)
    seconds = 110
    # the microphone's crystal is fast: it gives more samples than time passes
    at_s = np.arange(round(seconds * 16_000 * (1 + drift))) / (16_000 * (1 + drift))
    recorded = np.sin(2 * np.pi * 300 * at_s).astype(np.float32)
    played = np.sin(2 * np.pi * 300 * np.arange(seconds * 16_000) / 16_000).astype(np.float32)
    blocks: list[Block] = []
    for at in range(0, min(len(recorded), len(played)) - 160, 160):
        alignment.play(played[at : at + 160], at)
        begun_s = -drift * at / 16_000
        alignment.record(recorded[at : at + 160], begun_s, begun_s)
        blocks += alignment.blocks()
    heard = np.concatenate([block.microphone for block in blocks])
    turning = np.exp(2j * np.pi * 300 * np.arange(16_000) / 16_000)  # whole turns in a second
    late = [np.angle(np.vdot(turning, heard[s * 16_000 :][:16_000])) for s in range(90, 108)]
    assert np.ptp(np.unwrap(late)) / (2 * np.pi * 300) * 16_000 < 0.3  # samples; 28, 11 of drift
    steps = np.abs(np.diff(heard[16_000:-16_000]))
    assert steps.max() < 1.05 * 2 * np.pi * 300 / 16_000  # nothing clicks


def test_an_estimate_that_settles_moves_nothing() -> None:
    random = np.random.default_rng(1)
    calls = np.arange(6000)  # of 10 ms
    wander_s = 0.003 * np.exp(-calls / 700) + 0.0001 * random.standard_normal(6000)
    alignment = Alignment(PLAYED_HZ, AHEAD_S, 0.04)
    alignment.open(16_000)
    recorded = random.standard_normal(60 * 16_000).astype(np.float32)
    blocks: list[Block] = []
    for number, off_s in enumerate(wander_s):
        alignment.play(np.zeros(480, np.float32), number * 480)
        alignment.record(recorded[number * 160 : number * 160 + 160], off_s)
        blocks += alignment.blocks()
    heard = np.concatenate([block.microphone for block in blocks])
    first = round(wander_s[0] * 16_000)
    assert np.array_equal(heard[100:900_000], recorded[100 - first : 900_000 - first])


def test_while_nothing_is_recorded_silence_keeps_the_time() -> None:
    alignment = Alignment(PLAYED_HZ, 0.0, 0.04)
    alignment.play(np.zeros(PLAYED_HZ, np.float32), 0)
    alignment.silence(1.0)
    blocks = alignment.blocks()
    assert len(blocks) >= 23
    assert not any(block.microphone.any() for block in blocks)


def test_frames_that_never_sounded_are_silence_in_the_reference() -> None:
    alignment = Alignment(16_000, AHEAD_S, 0.04)
    alignment.open(16_000)
    ones = np.ones(1600, np.float32)
    alignment.play(ones, 0)
    alignment.play(ones, 4800)
    alignment.record(np.zeros(6400, np.float32), 0.0)
    played = np.concatenate([block.played for block in alignment.blocks()])
    assert played[:1600].all()
    assert not played[1600:4800].any()
    assert played[4800:6400].all()

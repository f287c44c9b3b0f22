"""Crystals that run apart: how that is found, and how it is taken out of the sound."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.echo_filter import EchoFilter
from coach.ports import EAR_RATE_HZ, Audio
from coach.room.alignment import AHEAD_S, Alignment
from coach.room.drift import DriftMeter, Spread


def sweep(at_s: np.ndarray) -> Audio:
    """200 to 3800 Hz in 4 s."""
    samples: Audio = np.sin(2 * np.pi * (200 * at_s + 450 * at_s**2)).astype(np.float32)
    return samples


@pytest.mark.parametrize("drift", [100e-6, -100e-6, 20e-6])
def test_a_fast_stream_is_drawn_out_to_the_others_clock(drift: float) -> None:
    fast_hz = EAR_RATE_HZ * (1 + drift)
    stream = sweep(np.arange(4 * EAR_RATE_HZ) / fast_hz)
    spread = Spread()
    out = np.concatenate(
        [spread.feed(stream[at : at + 160], drift) for at in range(0, len(stream), 160)]
    )
    assert len(out) == pytest.approx(len(stream) * (1 - drift) - 16, abs=2)
    wanted = sweep(np.arange(len(out)) / EAR_RATE_HZ)
    assert out[200:-200] == pytest.approx(wanted[200:-200], abs=3e-3)
    assert spread.ahead == pytest.approx(drift * len(out))


def test_a_stream_without_drift_goes_through_untouched() -> None:
    stream = np.random.default_rng(1).standard_normal(4800).astype(np.float32)
    spread = Spread()
    pieces = [spread.feed(stream[at : at + 160], 0.0) for at in range(0, 4800, 160)]
    assert np.array_equal(np.concatenate(pieces), stream)


def test_the_size_of_the_pieces_changes_nothing() -> None:
    stream = np.random.default_rng(1).standard_normal(EAR_RATE_HZ).astype(np.float32)
    outs = []
    for size in (160, 320, 37):
        spread = Spread()
        pieces = [spread.feed(stream[at : at + size], 50e-6) for at in range(0, len(stream), size)]
        outs.append(np.concatenate(pieces))
    for out in outs[1:]:
        shortest = min(len(out), len(outs[0]))
        assert out[:shortest] == pytest.approx(outs[0][:shortest], abs=2e-2)


def wander_s(seconds: int, spread_s: float, seed: int) -> np.ndarray:
    """What an estimate of a clock is off by, 100 times a second: it changes over 4 s."""
    noise = np.random.default_rng(seed).standard_normal(seconds * 100)
    slow = np.convolve(noise, np.exp(-np.arange(2000) / 400))[: len(noise)]
    return np.asarray(spread_s * slow / slow.std())


@pytest.mark.parametrize("drift", [20e-6, -100e-6])
def test_a_drift_is_found_behind_estimates_that_wander(drift: float) -> None:
    meter = DriftMeter()
    for number, off_s in enumerate(wander_s(240, 0.0005, 3)):
        meter.add(number / 100, off_s - drift * number / 100)
    assert meter.drift == pytest.approx(drift, abs=3e-6)


def test_clocks_that_only_seem_to_part_have_no_drift() -> None:
    meter = DriftMeter()
    for number, off_s in enumerate(wander_s(240, 0.0005, 3)):
        meter.add(number / 100, off_s)
        assert meter.drift == 0.0


def test_lost_frames_leave_the_drift_as_it_was_found() -> None:
    meter = DriftMeter()
    for number in range(10_000):
        meter.add(number / 100, -50e-6 * number / 100)
    meter.restart()
    for number in range(10_000, 13_000):
        meter.add(number / 100, 0.3 - 50e-6 * number / 100)
        assert meter.drift == pytest.approx(50e-6, abs=1e-6)


def test_an_echo_whose_microphone_drifts_is_taken_away_when_the_drift_is_known() -> None:
    drift, seconds = 100e-6, 100
    played = np.random.default_rng(2).standard_normal(seconds * EAR_RATE_HZ).astype(np.float32)
    played *= np.float32(0.05)
    places = np.arange(len(played)) / (1 + drift)  # the microphone's, on the room's clock
    recorded = np.interp(places - 480.0, np.arange(len(played)), played).astype(np.float32)
    alignment, echo = Alignment(EAR_RATE_HZ, AHEAD_S, 0.04), EchoFilter()
    alignment.open(EAR_RATE_HZ)
    left_db: list[float] = []
    for at in range(0, len(played), 160):
        alignment.play(played[at : at + 160], at)
        begun_s = -drift * at / EAR_RATE_HZ
        alignment.record(recorded[at : at + 160], begun_s, begun_s)
        for block in alignment.blocks():
            for part in range(0, 640, 160):
                span = slice(part, part + 160)
                left = echo.cancel(block.microphone[span], block.played[span])
                before = np.mean(block.microphone[span] ** 2)
                left_db.append(float(10 * np.log10(np.mean(left**2) / (before + 1e-9))))
    untouched_db = np.median(left_db[2000:4000])  # the drift is not yet known
    assert np.median(left_db[-1000:]) < untouched_db - 10.0

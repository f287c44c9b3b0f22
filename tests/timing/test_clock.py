"""The clock of a stream, against a simulated card whose truth is known."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from coach.timing.clock import Stamp, StreamClock

RATE_HZ = 48_000
BLOCK_FRAMES = 480
ORIGIN_S = 1000.0
PORTAUDIO_AHEAD_S = 1.7e9  # the clock of day


def stamps(
    seconds: float,
    *,
    drift: float = 0.0,
    wander_s: float = 0.0,
    late_s: float = 0.01,
    first: int = 0,
) -> Iterator[Stamp]:
    """Blocks of a card that runs `drift` slow, with predictions that wander and late callbacks."""
    random = np.random.default_rng(3)
    for block in range(first, first + round(seconds * RATE_HZ / BLOCK_FRAMES)):
        true_s = ORIGIN_S + block * BLOCK_FRAMES / RATE_HZ * (1 + drift)
        wrong_s = wander_s * np.sin(2 * np.pi * true_s / 4.0) + random.normal(0, 0.0003)
        called_s = true_s - 0.04
        yield Stamp(
            frame=block * BLOCK_FRAMES,
            converter_s=true_s + wrong_s + PORTAUDIO_AHEAD_S,
            current_s=called_s + PORTAUDIO_AHEAD_S,
            monotonic_s=called_s + random.exponential(late_s),
        )


def fed(clock: StreamClock, *pieces: Iterator[Stamp]) -> StreamClock:
    for piece in pieces:
        for stamp in piece:
            clock.add(stamp)
    return clock


def test_late_callbacks_and_another_clock_do_not_move_the_origin() -> None:
    clock = fed(StreamClock(RATE_HZ), stamps(5.0))
    assert clock.origin_s == pytest.approx(ORIGIN_S, abs=0.0005)


def test_it_is_known_after_a_fifth_of_a_second() -> None:
    assert not fed(StreamClock(RATE_HZ), stamps(0.1)).ready
    assert fed(StreamClock(RATE_HZ), stamps(0.21)).ready


def test_predictions_that_wander_by_milliseconds_move_it_by_less_than_one() -> None:
    clock = fed(StreamClock(RATE_HZ), stamps(40.0, wander_s=0.006))
    origins_s = []
    for stamp in stamps(20.0, wander_s=0.006, first=4000):
        clock.add(stamp)
        origins_s.append(clock.origin_s)
    assert np.ptp(origins_s) < 0.001
    assert clock.shift_s() == 0.0


def test_a_crystal_that_drifts_is_followed() -> None:
    drift = 50e-6  # a cheap one; ten minutes without following would be 30 ms
    clock = fed(StreamClock(RATE_HZ), stamps(600.0, drift=drift))
    assert clock.origin_s == pytest.approx(ORIGIN_S + 600.0 * drift, abs=0.002)
    assert clock.shift_s() == 0.0


def test_a_clock_of_day_that_is_set_changes_nothing() -> None:
    clock = fed(StreamClock(RATE_HZ), stamps(5.0))
    for stamp in stamps(5.0, first=500):
        clock.add(
            Stamp(stamp.frame, stamp.converter_s - 3600, stamp.current_s - 3600, stamp.monotonic_s)
        )
        assert clock.origin_s == pytest.approx(ORIGIN_S, abs=0.0005)
        assert clock.shift_s() == 0.0


@pytest.mark.parametrize("lost_s", [0.03, -0.03, 0.5])
def test_frames_lost_in_an_xrun_are_found_and_counted(lost_s: float) -> None:
    clock = fed(StreamClock(RATE_HZ), stamps(5.0))
    shifts_s = []
    for count, stamp in enumerate(stamps(3.0, first=500)):
        later = Stamp(
            stamp.frame, stamp.converter_s + lost_s, stamp.current_s + lost_s,
            stamp.monotonic_s + lost_s,
        )  # fmt: skip
        clock.add(later, xrun=count == 0)
        if shift_s := clock.shift_s():
            shifts_s.append(shift_s)
            clock.move(shift_s)
            clock.doubt()
    assert shifts_s == [pytest.approx(lost_s, abs=0.001)]
    assert clock.origin_s == pytest.approx(ORIGIN_S + lost_s, abs=0.001)


def test_a_gap_without_any_report_is_found_too() -> None:
    clock = fed(StreamClock(RATE_HZ), stamps(5.0))
    found = False
    for stamp in stamps(4.0, first=500):
        clock.add(Stamp(stamp.frame, stamp.converter_s + 0.1, stamp.current_s, stamp.monotonic_s))
        found |= clock.shift_s() == pytest.approx(0.1, abs=0.001)
    assert found


def test_at_the_beginning_it_moves_no_faster_than_a_crystal() -> None:
    clock = fed(StreamClock(RATE_HZ), stamps(0.25, wander_s=0.009))
    first_s = clock.origin_s
    fed(clock, stamps(6.0, wander_s=0.009, first=25))
    assert abs(clock.origin_s - first_s) < 0.0015

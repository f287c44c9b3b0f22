"""Figures of a room, from rooms that were computed."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ports import EAR_RATE_HZ, Audio
from coach.room.measure import (
    echo_loss_db,
    find_echo,
    floor_level_db,
    is_clipped,
    level_db,
    peak_level_db,
    sweep,
)


def hiss(seconds: float, db: float, seed: int = 1) -> Audio:
    """White noise of a given level."""
    samples = np.random.default_rng(seed).standard_normal(round(seconds * EAR_RATE_HZ))
    return (samples * 10 ** (db / 20)).astype(np.float32)


def echoed(played: Audio, delay_s: float, loss_db: float, noise_db: float) -> Audio:
    """What a microphone hears: the direct sound, a second of reverberation 6 dB below, noise."""
    random = np.random.default_rng(5)
    tail = random.standard_normal(8000) * np.exp(-np.arange(8000) / 1500)
    tail *= 0.5 / np.sqrt(np.sum(tail**2))
    response = np.concatenate([np.zeros(round(delay_s * EAR_RATE_HZ)), [1.0], tail])
    size = 2 * len(played)
    heard = np.fft.irfft(np.fft.rfft(played, size) * np.fft.rfft(response, size), size)
    heard = heard[: len(played)] * 10 ** (-loss_db / 20)
    return (heard + hiss(len(played) / EAR_RATE_HZ, noise_db)[: len(heard)]).astype(np.float32)


def three_sweeps() -> Audio:
    played = np.zeros(3 * EAR_RATE_HZ, np.float32)
    for number in range(3):
        burst = sweep(EAR_RATE_HZ)
        played[number * 14_000 + 2000 :][: len(burst)] += burst
    return played


def test_levels_of_known_signals() -> None:
    sine = np.sin(2 * np.pi * 1000 * np.arange(16_000) / 16_000).astype(np.float32)
    assert level_db(np.ones(100, np.float32)) == pytest.approx(0.0, abs=1e-6)
    assert level_db(sine) == pytest.approx(-3.01, abs=0.01)  # power of a full sine: one half
    assert level_db(np.zeros(100, np.float32)) == pytest.approx(-120.0)
    assert level_db(np.zeros(0, np.float32)) == -120.0


def test_the_floor_is_the_noise_whatever_is_said_in_between() -> None:
    room = hiss(4.0, -60.0)
    room[20_000:40_000] += hiss(1.25, -20.0, seed=2)
    assert floor_level_db(room) == pytest.approx(-60.0, abs=1.0)
    assert peak_level_db(room) == pytest.approx(-20.0, abs=1.0)


def test_clipping_is_seen() -> None:
    assert is_clipped(np.clip(hiss(1.0, -3.0), -1, 1))
    assert not is_clipped(hiss(1.0, -30.0))


@pytest.mark.parametrize("delay_s", [0.0, 0.013, 0.12, 0.4])
@pytest.mark.parametrize(("loss_db", "noise_db"), [(6.0, -70.0), (30.0, -55.0)])
def test_the_delay_of_an_echo_is_found_to_a_sample(
    delay_s: float, loss_db: float, noise_db: float
) -> None:
    played = three_sweeps()
    echo = find_echo(played, echoed(played, delay_s, loss_db, noise_db))
    assert echo.found
    assert echo.delay_s == pytest.approx(delay_s, abs=1.5 / EAR_RATE_HZ)


def test_an_echo_that_comes_before_its_time_is_found_too() -> None:
    played = three_sweeps()  # stamps of a device may be wrong either way
    assert find_echo(played, np.roll(played, -800)).delay_s == pytest.approx(-0.05, abs=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_headphones_have_no_echo(seed: int) -> None:
    assert not find_echo(three_sweeps(), hiss(3.0, -50.0, seed)).found


def test_a_dead_microphone_has_no_echo() -> None:
    assert not find_echo(three_sweeps(), np.zeros(48_000, np.float32)).found


def test_the_loss_of_an_echo_is_its_level_without_the_noise() -> None:
    played = hiss(3.0, -25.0)
    recorded = played * np.float32(10 ** (-15 / 20)) + hiss(3.0, -45.0, seed=2)
    assert echo_loss_db(played, recorded, -45.0) == pytest.approx(15.0, abs=0.3)


def test_an_echo_below_the_noise_is_given_as_at_least() -> None:
    assert echo_loss_db(hiss(3.0, -20.0), hiss(3.0, -50.0, seed=2), -50.0) > 35.0

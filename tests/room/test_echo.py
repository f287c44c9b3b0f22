"""The echo path against the textbook: the same as convolving all at once."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ports import Audio
from coach.room.echo import EchoPath, impulse_response, noise_loop
from coach.room.scene import Echo

RATE_HZ = 16_000
BLOCK = 320


def through(echo: Echo, played: Audio, seed: int = 1) -> Audio:
    path = EchoPath(echo, RATE_HZ, BLOCK, np.random.default_rng(seed))
    blocks = played.reshape(-1, BLOCK)
    return np.concatenate([path.through(block).copy() for block in blocks])


def speechlike(blocks: int) -> Audio:
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 0.1, blocks * BLOCK).astype(np.float32)
    sound[BLOCK * blocks // 3 : BLOCK * blocks // 2] = 0
    return sound


@pytest.mark.parametrize("delay_s", [0.0, 0.013, 0.1])
@pytest.mark.parametrize("reverberation_s", [0.0, 0.3])
def test_blocks_give_what_one_convolution_gives(delay_s: float, reverberation_s: float) -> None:
    echo = Echo(delay_s, -10.0, reverberation_s)
    played = speechlike(60)
    played[40 * BLOCK :] = 0  # long enough for the path to fall silent
    response = impulse_response(echo, RATE_HZ, np.random.default_rng(1))
    expected = np.convolve(played.astype(np.float64), response)[: len(played)]
    np.testing.assert_allclose(through(echo, played), expected, atol=2e-6)


def test_the_direct_sound_comes_after_the_delay_at_the_gain() -> None:
    played = np.zeros(20 * BLOCK, np.float32)
    played[0] = 1.0
    heard = through(Echo(delay_s=0.05, gain_db=-20.0, reverberation_s=0.0), played)
    assert int(np.argmax(np.abs(heard))) == round(0.05 * RATE_HZ)
    assert np.max(np.abs(heard)) == pytest.approx(0.1, rel=1e-3)


def test_the_reverberation_falls_by_sixty_decibels_in_its_time() -> None:
    response = impulse_response(
        Echo(0.0, 0.0, 0.4, reverberation_db=0.0), RATE_HZ, np.random.default_rng(2)
    )
    tail = response[1:].astype(np.float64)
    assert np.sum(tail**2) == pytest.approx(1.0, rel=1e-3)
    # slope of Schroeder's backward integral (J. Acoust. Soc. Am. 37, 409, 1965), -5 to -25 dB
    level_db = 10 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1])
    times = np.arange(len(tail)) / RATE_HZ
    part = (level_db < -5) & (level_db > -25)
    slope = np.polyfit(times[part], level_db[part], 1)[0]
    assert -60 / slope == pytest.approx(0.4, rel=0.1)


def test_a_distorting_loudspeaker_adds_harmonics() -> None:
    t = np.arange(40 * BLOCK) / RATE_HZ
    played = (0.3 * np.sin(2 * np.pi * 500 * t)).astype(np.float32)
    clean, bent = (
        np.abs(np.fft.rfft(through(Echo(0.0, 0.0, 0.0, distortion=d), played)))
        for d in (0.0, 0.5)
    )  # fmt: skip
    third = round(1500 * len(played) / RATE_HZ)
    assert bent[third] > 100 * clean[third]


def test_noise_has_its_level_and_no_seam() -> None:
    noise = noise_loop(-40.0, RATE_HZ, np.random.default_rng(4))
    assert 20 * np.log10(np.sqrt(np.mean(noise.astype(np.float64) ** 2))) == pytest.approx(-40)
    assert abs(noise[0] - noise[-1]) < 5 * np.std(np.diff(noise))


def test_noise_falls_by_three_decibels_an_octave() -> None:
    noise = noise_loop(-40.0, RATE_HZ, np.random.default_rng(4)).astype(np.float64)
    power = np.abs(np.fft.rfft(noise)) ** 2
    frequency = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)
    octaves = [power[(frequency >= f) & (frequency < 2 * f)].mean() for f in (125, 250, 500, 1000)]
    assert np.diff(10 * np.log10(octaves)) == pytest.approx(-3.0, abs=0.3)

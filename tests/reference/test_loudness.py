"""The loudness meter against EBU Tech 3341, ITU-R BS.1770-4 and pyloudnorm.

EBU Tech 3341, "Loudness Metering: 'EBU Mode' metering to supplement EBU R 128", minimum
requirements, test signals 1 to 5 (case list seen; the lengths in case 5 from memory): stereo
sines of 1000 Hz, peak level in dBFS and length in seconds, expected integrated loudness with a
tolerance of 0.1 LU. Our clips are mono: one channel of two alike is 3.01 LU less.
"""

from __future__ import annotations

import math

import numpy as np
import pyloudnorm
import pytest

from coach.ports import Audio
from coach.voice.choose import participant_voice
from coach.voice.loudness import loudness

CASES = {
    1: (((-23.0, 20.0),), -23.0),
    2: (((-33.0, 20.0),), -33.0),
    3: (((-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)), -23.0),
    4: (((-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)), -23.0),
    5: (((-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)), -23.0),
}
ONE_OF_TWO_CHANNELS_LU = 10 * math.log10(2)


def sines(parts: tuple[tuple[float, float], ...], rate_hz: int) -> Audio:
    level = np.concatenate(
        [np.full(round(length_s * rate_hz), 10 ** (db / 20)) for db, length_s in parts]
    )
    wave = np.sin(2 * np.pi * 1000 * np.arange(len(level)) / rate_hz)
    return (level * wave).astype(np.float32)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("rate_hz", [48_000, 24_000, 22_050])
def test_the_meter_reads_what_the_standard_says(case: int, rate_hz: int) -> None:
    parts, expected_lufs = CASES[case]
    measured = loudness(sines(parts, rate_hz), rate_hz) + ONE_OF_TWO_CHANNELS_LU
    assert measured == pytest.approx(expected_lufs, abs=0.1)


def test_the_sine_of_the_standard() -> None:
    # ITU-R BS.1770-4 (2015), Annex 1: 0 dB FS at 997 Hz in one channel reads -3.01 LKFS.
    wave = np.sin(2 * np.pi * 997 * np.arange(5 * 48_000) / 48_000).astype(np.float32)
    assert loudness(wave, 48_000) == pytest.approx(-3.01, abs=0.005)


def theirs(samples: Audio) -> float:
    """pyloudnorm's reading at 48 kHz; it is 0.04 LU under the standard's sine."""
    return float(pyloudnorm.Meter(48_000).integrated_loudness(samples.astype(np.float64)))


@pytest.mark.parametrize("pitch_hz", [30, 60, 200, 1500, 4000, 12_000])
def test_pitches_weigh_as_they_do_elsewhere(pitch_hz: int) -> None:
    wave = 0.1 * np.sin(2 * np.pi * pitch_hz * np.arange(3 * 48_000) / 48_000).astype(np.float32)
    assert loudness(wave, 48_000) == pytest.approx(theirs(wave), abs=0.1)


def test_speech_is_as_loud_as_it_is_found_elsewhere() -> None:
    line = "Breathe as you always do. The hold begins with the tone."
    samples = participant_voice("espeak:en-us").speak(line, 48_000).samples
    assert loudness(samples, 48_000) == pytest.approx(theirs(samples), abs=0.15)


def test_silence_has_no_loudness() -> None:
    assert loudness(np.zeros(48_000, np.float32), 48_000) == -np.inf

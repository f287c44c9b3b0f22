from __future__ import annotations

import numpy as np
import pytest

from coach.ports import Audio
from coach.voice.render import PEAK, finished, limited
from coach.voice.synthesiser import Raw

RATE_HZ = 24_000


def burst(length_s: float, lead_s: float = 0.3, trail_s: float = 0.4, peak: float = 0.3) -> Raw:
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    silence = [np.zeros(round(s * RATE_HZ)) for s in (lead_s, trail_s)]
    sound = peak * np.sin(2 * np.pi * 440 * t)
    return Raw(np.concatenate([silence[0], sound, silence[1]]).astype(np.float32), RATE_HZ)


def rms_db(samples: Audio) -> float:
    return float(10 * np.log10(np.mean(np.square(samples[len(samples) // 4 : -len(samples) // 4]))))


def test_silence_before_and_after_is_gone() -> None:
    assert len(finished(burst(1.0), RATE_HZ, -23.0)) / RATE_HZ == pytest.approx(1.06, abs=0.02)


def test_a_soft_beginning_is_not_cut_off() -> None:
    raw = burst(1.0)
    raw.samples[round(0.2 * RATE_HZ) : round(0.3 * RATE_HZ)] = 0.005
    assert len(finished(raw, RATE_HZ, -23.0)) / RATE_HZ == pytest.approx(1.16, abs=0.02)


@pytest.mark.parametrize("length_s", [0.05, 0.15, 0.3, 0.5, 0.9])
def test_a_short_clip_is_as_loud_as_a_long_one(length_s: float) -> None:
    long_db = rms_db(finished(burst(4.0), RATE_HZ, -23.0))
    assert rms_db(finished(burst(length_s), RATE_HZ, -23.0)) == pytest.approx(long_db, abs=3.0)


def test_peaks_stay_under_one_decibel_below_full_scale_whatever_loudness_is_wanted() -> None:
    for rate_hz in (16_000, 48_000):
        assert np.abs(finished(burst(1.0), rate_hz, 0.0)).max() <= PEAK + 1 / 65536


def test_a_single_peak_does_not_turn_down_the_whole_line() -> None:
    samples = finished(burst(2.0), RATE_HZ, -23.0)
    spiked = samples.copy()
    spiked[RATE_HZ] = 1.5
    calm = limited(spiked, RATE_HZ)
    assert np.abs(calm).max() == pytest.approx(PEAK)
    np.testing.assert_array_equal(calm[: RATE_HZ // 2], spiked[: RATE_HZ // 2])


def test_silence_gives_nothing() -> None:
    assert len(finished(Raw(np.zeros(RATE_HZ, np.float32), RATE_HZ), 48_000, -23.0)) == 0
    assert len(finished(Raw(np.zeros(0, np.float32), RATE_HZ), 48_000, -23.0)) == 0


def test_samples_lie_on_the_sixteen_bit_grid() -> None:
    steps = finished(burst(0.5), 48_000, -23.0) * 32768
    np.testing.assert_array_equal(steps, np.round(steps))

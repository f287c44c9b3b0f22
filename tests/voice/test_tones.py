from __future__ import annotations

import numpy as np
import pytest

from coach.ports import Clip
from coach.voice.tones import NAMES, tone

WANTED = {
    "hold", "count", "count-end", "heard", "deaf", "alarm", "breathe-in", "breathe-out",
}  # fmt: skip


def bursts_s(clip: Clip) -> list[float]:
    """When the sounds of a tone begin: after at least 20 ms of silence."""
    step = clip.rate_hz // 200
    whole = len(clip.samples) // step * step
    loud = np.abs(clip.samples[:whole].reshape(-1, step)).max(axis=1) > 0.01
    starts = [n for n in np.flatnonzero(loud) if not loud[max(n - 4, 0) : n].any()]
    return [n * step / clip.rate_hz for n in starts]


def test_all_tones_of_the_house_are_there() -> None:
    assert NAMES == WANTED


@pytest.mark.parametrize("name", sorted(WANTED))
@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000])
def test_a_tone_sounds_at_once_without_a_click_or_clipping(name: str, rate_hz: int) -> None:
    clip = tone(name, rate_hz)
    assert clip.rate_hz == rate_hz
    assert clip.samples.dtype == np.float32
    assert 0.05 <= np.abs(clip.samples).max() <= 10 ** (-1 / 20)
    assert np.flatnonzero(np.abs(clip.samples) > 0.005)[0] / rate_hz < 0.06
    assert abs(clip.samples[0]) < 0.001
    assert abs(clip.samples[-1]) < 0.001
    # nothing above the band of a small loudspeaker: a click would spread over all of it
    assert share_of_energy(clip, 0, 4000) > 0.999


def share_of_energy(clip: Clip, low_hz: float, high_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(clip.samples)) ** 2
    pitch_hz = np.fft.rfftfreq(len(clip.samples), 1 / clip.rate_hz)
    inside = (pitch_hz >= low_hz) & (pitch_hz <= high_hz)
    return float(spectrum[inside].sum() / spectrum.sum())


def test_the_alarm_has_its_energy_where_alarms_are_heard() -> None:
    # ISO 7731:2003, Danger signals for public and work areas: energy within 500-2500 Hz
    # (second hand and from memory; the level above the noise is up to the loudspeaker).
    assert share_of_energy(tone("alarm", 48_000), 500, 2500) > 0.95


def test_the_alarm_is_three_and_two_pulses_twice() -> None:
    # The idea of the bursts in IEC 60601-1-8, table 3 (from memory); compliance is not claimed.
    starts = bursts_s(tone("alarm", 48_000))
    assert len(starts) == 10
    gaps = np.diff(starts)
    assert gaps[:4] == pytest.approx(gaps[5:], abs=0.011)
    assert gaps[2] > gaps[1]
    assert gaps[4] > gaps[2]


def test_the_alarm_is_by_far_the_loudest() -> None:
    level = {name: np.abs(tone(name, 48_000).samples).max() for name in WANTED}
    assert all(level["alarm"] > 2 * level[name] for name in WANTED - {"alarm"})


def test_the_end_of_a_count_is_not_mistaken_for_its_start() -> None:
    assert len(bursts_s(tone("count", 48_000))) == 1
    assert len(bursts_s(tone("count-end", 48_000))) == 2


def test_breathing_in_rises_and_breathing_out_falls() -> None:
    def pitches_hz(name: str) -> tuple[float, float]:
        samples = tone(name, 48_000).samples
        third = len(samples) // 3
        crossings = [np.sum(np.diff(np.sign(s)) > 0) for s in (samples[:third], samples[-third:])]
        return crossings[0] / third * 48_000, crossings[1] / third * 48_000

    first_hz, last_hz = pitches_hz("breathe-in")
    assert last_hz > first_hz + 15
    first_hz, last_hz = pitches_hz("breathe-out")
    assert last_hz < first_hz - 15


def test_an_unknown_tone_is_an_error() -> None:
    with pytest.raises(KeyError):
        tone("fanfare", 48_000)

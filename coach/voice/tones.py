"""Tones made without a synthesiser, so that they sound when it does not.

Each tone is a score: pulses of sine with soft edges. Levels are peak amplitudes that sit well
with speech at -23 LUFS; the alarm is as loud as a loudspeaker can play it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from coach.ports import Audio, Clip


@dataclass(frozen=True, slots=True)
class Pulse:
    """One sound, gliding between two pitches; `partials` are the shares of its harmonics."""

    start_s: float
    length_s: float
    from_hz: float
    to_hz: float
    peak: float
    edge_s: float = 0.01
    partials: tuple[float, ...] = (1.0,)


def _beeps(*beeps: tuple[float, float, float], peak: float = 0.2) -> tuple[Pulse, ...]:
    """Pulses of constant pitch from (start_s, length_s, pitch_hz)."""
    return tuple(Pulse(start, length, pitch, pitch, peak) for start, length, pitch in beeps)


def _alarm() -> tuple[Pulse, ...]:
    # Three pulses and two, twice: the idea of the bursts of IEC 60601-1-8, table 3 (from memory),
    # without claiming to comply. Harmonics of 620 Hz up to the fourth keep the energy within
    # 500-2500 Hz, where ISO 7731:2003 (second hand) wants an alarm's.
    starts = [burst + offset for burst in (0.0, 1.6) for offset in (0.0, 0.2, 0.4, 0.8, 1.0)]
    harmonics = (1.0, 0.7, 0.5, 0.4)
    return tuple(Pulse(start, 0.15, 620.0, 620.0, 0.85, 0.015, harmonics) for start in starts)


_SCORES: Mapping[str, tuple[Pulse, ...]] = {
    "hold": _beeps((0.0, 0.35, 523.0), peak=0.25),
    "count": _beeps((0.0, 0.12, 784.0)),
    "count-end": _beeps((0.0, 0.12, 784.0), (0.16, 0.2, 523.0)),
    "heard": _beeps((0.0, 0.07, 1047.0), peak=0.12),
    "deaf": _beeps((0.0, 0.25, 440.0), (0.35, 0.25, 330.0), (0.7, 0.4, 262.0), peak=0.3),
    "alarm": _alarm(),
    "breathe-in": (Pulse(0.0, 0.9, 220.0, 294.0, 0.1, 0.3),),
    "breathe-out": (Pulse(0.0, 1.2, 294.0, 196.0, 0.1, 0.4),),
}
NAMES = frozenset(_SCORES)


def tone(name: str, rate_hz: int) -> Clip:
    """The tone `name` (one of NAMES; KeyError else) at `rate_hz`; its first frame sounds."""
    score = _SCORES[name]
    end_s = max(pulse.start_s + pulse.length_s for pulse in score)
    samples = np.zeros(round(end_s * rate_hz) + 1, dtype=np.float32)
    for pulse in score:
        sound = _sound(pulse, rate_hz)
        first = round(pulse.start_s * rate_hz)
        samples[first : first + len(sound)] += sound
    return Clip(f"[{name}]", samples, rate_hz)


def _sound(pulse: Pulse, rate_hz: int) -> Audio:
    frames = round(pulse.length_s * rate_hz)
    pitch_hz = np.geomspace(pulse.from_hz, pulse.to_hz, frames)
    phase = 2 * np.pi * np.cumsum(pitch_hz) / rate_hz
    harmonics = [share * np.sin(n * phase) for n, share in enumerate(pulse.partials, start=1)]
    wave = np.sum(harmonics, axis=0)
    edge = np.minimum(np.arange(frames), np.arange(frames)[::-1]) / (pulse.edge_s * rate_hz)
    shaped = wave * np.sin(np.minimum(edge, 1.0) * np.pi / 2) ** 2
    return np.asarray(shaped * pulse.peak / np.max(np.abs(wave)), dtype=np.float32)

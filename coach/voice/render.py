"""From raw speech to a clip's samples: trimmed, levelled, limited, faded, at the room's rate."""

from __future__ import annotations

import numpy as np
import soxr
from numpy.typing import NDArray

from coach.ports import Audio
from coach.voice.loudness import loudness
from coach.voice.synthesiser import Raw

PEAK = 10 ** (-1 / 20)  # -1 dBFS
_STEP_S = 0.005  # grid of the trim
_QUIET = 10 ** (-45 / 20)  # of the loudest step: below is silence
_LEAD_S, _TRAIL_S = 0.010, 0.050  # left around the speech
_FADE_S = 0.005


def finished(raw: Raw, rate_hz: int, loudness_lufs: float) -> Audio:
    """A clip's samples at `rate_hz`, on the 16-bit grid; empty if `raw` is silent.

    Loudness is the integrated loudness of ITU-R BS.1770-4; peaks stay at or under
    -1 dBFS even if the loudness is not reached then.
    """
    speech = trimmed(raw.samples, raw.rate_hz)
    if not len(speech):
        return speech
    gain = 10 ** ((loudness_lufs - loudness(speech, raw.rate_hz)) / 20)
    samples = _resampled(speech * np.float32(gain), raw.rate_hz, rate_hz)
    samples = limited(samples, rate_hz)
    _fade(samples, rate_hz)
    return (np.round(samples * 32768) / 32768).astype(np.float32)


def trimmed(samples: Audio, rate_hz: int) -> Audio:
    """`samples` without the silence before and after the speech."""
    step = max(round(_STEP_S * rate_hz), 1)
    whole = len(samples) // step * step
    level = np.sqrt(np.mean(np.square(samples[:whole].reshape(-1, step)), axis=1))
    if not whole or level.max() < 1e-4:
        return samples[:0]
    loud = np.flatnonzero(level > level.max() * _QUIET)
    start = max(loud[0] * step - round(_LEAD_S * rate_hz), 0)
    return samples[start : (loud[-1] + 1) * step + round(_TRAIL_S * rate_hz)]


def limited(samples: Audio, rate_hz: int) -> Audio:
    """`samples` with peaks at or under -1 dBFS, by a gain that dips smoothly around them."""
    size = np.abs(samples)
    if size.max(initial=0.0) <= PEAK:
        return samples
    half = round(0.004 * rate_hz)
    needed: NDArray[np.float32] = np.minimum(1.0, PEAK / np.maximum(size, PEAK))
    held = _windows(needed, half, 1.0).min(axis=1)
    # the mean of minima over the window is never above what the sample in its middle needs
    smooth = _windows(held, half, 1.0).mean(axis=1)
    gain = np.minimum(smooth, PEAK / np.maximum(size, PEAK))
    return np.asarray(samples * gain, dtype=np.float32)


def _windows(values: NDArray[np.float32], half: int, edge: float) -> NDArray[np.float32]:
    padded = np.pad(values, half, constant_values=edge)
    return np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)


def _resampled(samples: Audio, from_hz: int, to_hz: int) -> Audio:
    if from_hz == to_hz:
        return samples.astype(np.float32)
    return np.asarray(soxr.resample(samples, from_hz, to_hz), dtype=np.float32)


def _fade(samples: Audio, rate_hz: int) -> None:
    length = min(round(_FADE_S * rate_hz), len(samples) // 2)
    ramp = np.linspace(0.0, 1.0, length, dtype=np.float32)
    samples[:length] *= ramp
    samples[len(samples) - length :] *= ramp[::-1]

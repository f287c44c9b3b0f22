"""Integrated loudness of one channel after ITU-R BS.1770-4, Annex 1.

Not by a package: those that are kept bring scipy.signal, 50 MB and a second of loading in the
process that makes the voice, or measure in steps of 0.1 dB. A test holds it against one of them.
"""

from __future__ import annotations

import numpy as np
import soxr
from numpy.typing import NDArray

from coach.ports import Audio

METER_RATE_HZ = 48_000  # the standard gives its filters for this rate only
# Numerators and denominators in z^-1 of its tables 1 and 2: a head in the way, and hearing.
_FILTERS = (
    (
        (1.53512485958697, -2.69169618940638, 1.19839281085285),
        (1.0, -1.69065929318241, 0.73248077421585),
    ),
    ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)),
)
_METERED_S = 3.0  # shorter clips are repeated
_RING_FRAMES = METER_RATE_HZ // 2  # after so long nothing is left of what the filters go on with
_BLOCK_FRAMES, _STEP_FRAMES = METER_RATE_HZ * 4 // 10, METER_RATE_HZ // 10
_OFFSET_LU = -0.691
_ABSOLUTE_LUFS, _RELATIVE_LU = -70.0, -10.0  # the gates


def loudness(samples: Audio, rate_hz: int) -> float:
    """LUFS; minus infinity where all is below the gate. A short clip is metered as if repeated.

    The meter's blocks are 0.4 s: a time call would fill two or three of them, half with silence.
    """
    once = np.asarray(soxr.resample(samples, rate_hz, METER_RATE_HZ), dtype=np.float64)
    times = -(-round(_METERED_S * METER_RATE_HZ) // len(once))
    power = np.square(_weighted(np.tile(once, times)))
    sums = np.concatenate([[0.0], np.cumsum(power)])[::_STEP_FRAMES]
    steps = _BLOCK_FRAMES // _STEP_FRAMES
    blocks = (sums[steps:] - sums[:-steps]) / _BLOCK_FRAMES
    blocks = blocks[_lufs(blocks) > _ABSOLUTE_LUFS]
    if not len(blocks):
        return -np.inf
    loud = blocks[_lufs(blocks) > _lufs(blocks.mean()) + _RELATIVE_LU]
    return float(_lufs(loud.mean()))


def _weighted(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """The samples as they are weighted by ear ("K"), filtered in the frequency domain."""
    size = len(samples) + _RING_FRAMES
    delay = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)  # z^-1
    spectrum = np.fft.rfft(samples, size)
    for above, below in _FILTERS:
        spectrum *= np.polyval(above[::-1], delay) / np.polyval(below[::-1], delay)
    filtered: NDArray[np.float64] = np.fft.irfft(spectrum, size)[: len(samples)]
    return filtered


def _lufs(power: NDArray[np.float64]) -> NDArray[np.float64]:
    return _OFFSET_LU + 10 * np.log10(np.maximum(power, 1e-12))

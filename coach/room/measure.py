"""Figures of a room from what was played and what was recorded beside it. Arrays in, numbers out.

Levels are in dB of full scale: a square wave at full scale has 0, silence -120.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coach.ports import EAR_RATE_HZ, Audio

CLIPPED = 0.985  # a sample above this has met the converter's end
FLOOR = 1e-12
EARLIEST_S, LATEST_S = -0.1, 0.6  # where an echo is looked for
CLEAR = 8.0  # how far a found peak stands above the ripple of the correlation
RIPPLE_S = 0.05  # what lies this near the peak is the room's reverberation, not ripple


@dataclass(frozen=True, slots=True)
class Echo:
    """Where and how strongly what was played comes back."""

    delay_s: float
    clearness: float  # peak above the ripple; below CLEAR nothing was found

    @property
    def found(self) -> bool:
        """Whether there is an echo at all; headphones have none."""
        return self.clearness >= CLEAR


def level_db(samples: Audio) -> float:
    """Mean power in dB of full scale."""
    if not len(samples):
        return -120.0
    return float(10 * np.log10(np.mean(np.square(samples, dtype=np.float64)) + FLOOR))


def peak_level_db(samples: Audio, frame_s: float = 0.4) -> float:
    """Level of the loudest stretch of `frame_s`: of speech, without its pauses."""
    size = round(frame_s * EAR_RATE_HZ)
    hops = range(0, max(1, len(samples) - size + 1), size // 4)
    return max(level_db(samples[at : at + size]) for at in hops)


def floor_level_db(samples: Audio, frame_s: float = 0.1) -> float:
    """Level that a tenth of the frames lies below: the room's noise, whatever happens in it."""
    size = round(frame_s * EAR_RATE_HZ)
    frames = [level_db(samples[at : at + size]) for at in range(0, len(samples) - size + 1, size)]
    return float(np.percentile(frames, 10)) if frames else -120.0


def is_clipped(samples: Audio) -> bool:
    """Whether the recording was too loud for the converter."""
    return bool(np.count_nonzero(np.abs(samples) > CLIPPED) > 3)


def sweep(rate_hz: int, length_s: float = 0.4, peak: float = 0.35) -> Audio:
    """An exponential sweep from 300 to 6000 Hz with soft ends.

    After Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine
    technique", AES 108, 2000 (from memory).
    """
    at_s = np.arange(round(length_s * rate_hz)) / rate_hz
    low_hz, octaves = 300.0, np.log(6000.0 / 300.0)
    phase = 2 * np.pi * low_hz * length_s / octaves * (np.exp(at_s / length_s * octaves) - 1)
    edge = round(0.02 * rate_hz)
    window = np.ones(len(at_s))
    window[:edge] = np.sin(np.linspace(0, np.pi / 2, edge)) ** 2
    window[-edge:] = window[:edge][::-1]
    samples: Audio = (peak * window * np.sin(phase)).astype(np.float32)
    return samples


def find_echo(played: Audio, microphone: Audio) -> Echo:
    """How much later than it was played the sound was recorded, to a sample of EAR_RATE_HZ.

    Cross-correlation with whitening (the phase transform of Knapp and Carter, "The generalized
    correlation method for estimation of time delay", IEEE Trans. ASSP 24, 1976), limited to the
    frequencies that were played.
    """
    size = 1 << (len(played) + len(microphone) - 1).bit_length()
    source = np.fft.rfft(played, size)
    cross = np.fft.rfft(microphone, size) * np.conj(source)
    power = np.abs(source) ** 2
    cross[power < 1e-4 * power.max(initial=0.0) + FLOOR] = 0.0
    correlation = np.abs(np.fft.irfft(cross / (np.abs(cross) + FLOOR), size))
    lags = np.arange(round(EARLIEST_S * EAR_RATE_HZ), round(LATEST_S * EAR_RATE_HZ))
    values = correlation[lags % size]
    best = int(np.argmax(values))
    ripple = values[np.abs(lags - lags[best]) > RIPPLE_S * EAR_RATE_HZ]
    spread = float(np.sqrt(np.mean(ripple**2))) + FLOOR
    return Echo(float(lags[best]) / EAR_RATE_HZ, float(values[best]) / spread)


def echo_loss_db(played: Audio, microphone: Audio, noise_db: float) -> float:
    """How much quieter the coach arrives at the microphone than it was played.

    The noise's power is taken off first; an echo below the noise counts as 0.1 of the noise.
    """
    noise = 10 ** (noise_db / 10)
    arrived = 10 ** (level_db(microphone) / 10)
    echo = max(arrived - noise, 0.1 * noise, FLOOR)
    return level_db(played) - float(10 * np.log10(echo))

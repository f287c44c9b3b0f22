"""What a room does to sound: the way from loudspeaker to microphone, and noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coach.ports import Audio
from coach.room.scene import Echo

NOISE_LOOP_S = 60  # long enough that nobody hears it come round
NOISE_FLAT_HZ = 60.0  # below, the spectrum no longer rises


class EchoPath:
    """Convolves blocks of `block_frames` with the echo path, by partitioned overlap-save."""

    def __init__(self, echo: Echo, rate_hz: int, block_frames: int, rng: np.random.Generator):
        self._frames = block_frames
        self._distortion = echo.distortion
        response = impulse_response(echo, rate_hz, rng)
        parts = -(-len(response) // block_frames)
        padded = np.zeros(parts * block_frames, np.float32)
        padded[: len(response)] = response
        pieces = padded.reshape(parts, block_frames)
        self._response = np.fft.rfft(pieces, 2 * block_frames).astype(np.complex64)
        self._past = np.zeros_like(self._response)  # spectra of earlier blocks, newest first
        self._last = np.zeros(block_frames, np.float32)
        self._silent_blocks = parts + 1
        self._silence: Audio = np.zeros(block_frames, np.float32)

    def through(self, played: Audio) -> Audio:
        """What arrives at the microphone while `played` (one block) is played."""
        self._silent_blocks = 0 if played.any() else self._silent_blocks + 1
        if self._silent_blocks > len(self._past) + 1:
            return self._silence  # all of the past is zero by now
        if self._distortion:
            played = self._overdriven(played)
        self._past[1:] = self._past[:-1]
        self._past[0] = np.fft.rfft(np.concatenate((self._last, played)))
        self._last = played
        arrived = np.fft.irfft(np.einsum("pf,pf->f", self._response, self._past))
        return np.asarray(arrived[self._frames :], np.float32)

    def _overdriven(self, played: Audio) -> Audio:
        bent = np.tanh(8 * played) / 8
        mixed = (1 - self._distortion) * played + self._distortion * bent
        return np.asarray(mixed, np.float32)


def impulse_response(echo: Echo, rate_hz: int, rng: np.random.Generator) -> Audio:
    """The direct sound, then noise that falls by 60 dB in `reverberation_s`."""
    gain = 10 ** (echo.gain_db / 20)
    delay = round(echo.delay_s * rate_hz)
    tail = round(echo.reverberation_s * rate_hz)
    response: Audio = np.zeros(delay + 1 + tail, np.float32)
    response[delay] = gain
    if tail:
        fall = 10 ** (-3 * np.arange(tail) / tail)
        noise = rng.standard_normal(tail) * fall
        energy = gain**2 * 10 ** (echo.reverberation_db / 10)
        response[delay + 1 :] = noise * np.sqrt(energy / np.sum(noise**2))
    return response


def noise_loop(noise_db: float, rate_hz: int, rng: np.random.Generator) -> Audio:
    """Pink noise of `noise_db` (RMS) that can be repeated without a seam."""
    frames = NOISE_LOOP_S * rate_hz
    frequency = np.fft.rfftfreq(frames, 1 / rate_hz)
    spectrum: NDArray[np.complex128] = np.fft.rfft(rng.standard_normal(frames))
    spectrum /= np.sqrt(np.maximum(frequency, NOISE_FLAT_HZ))
    spectrum[0] = 0
    noise = np.fft.irfft(spectrum, frames)
    return np.asarray(noise * 10 ** (noise_db / 20) / np.sqrt(np.mean(noise**2)), np.float32)

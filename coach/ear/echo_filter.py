"""A linear echo canceller: it keeps what others say over the coach, and knocks, unharmed.

AEC3 takes away more of the echo, but in double talk also half of the near words. This one only
subtracts what a linear room can have made of the played sound. Partitioned block
frequency-domain Kalman filter with diagonal covariance: G. Enzner, P. Vary, "Frequency-domain
adaptive Kalman filter for acoustic echo control in hands-free telephones", Signal Processing
86(6), 2006. Its step shrinks by itself while somebody else speaks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coach.ear.frames import FRAME
from coach.ports import Audio

PARTITIONS = 32  # frames of 10 ms that the echo may take
FORGETTING = 0.9998  # how fast the room may change, per frame
NEAR_SMOOTHING = 0.7  # of the power of what is not explained, per frame
FIRST_VARIANCE = 0.1
FLOOR = 1e-9
REMOVED_SMOOTHING = 0.97  # of the powers before and after, per frame with the coach in it
TRUSTED_DB = 10.0  # so much taken away: the room is known well enough ...
TRUSTED_FRAMES = 300  # ... for so long; less is taken away while somebody else speaks
OVERLOAD = 0.98  # of full scale: such a microphone bends the echo ...
OVERLOAD_FRAMES = 10  # ... and the filter is wrong for a moment
MUCH_DB = -10.0  # left of the microphone's frame: it was not only the coach


class EchoFilter:
    """Takes frames of microphone and loudspeaker, gives the microphone less the linear echo."""

    def __init__(self) -> None:
        bins = FRAME + 1
        self._played = np.zeros((PARTITIONS, bins), np.complex64)  # spectra, newest first
        self._path = np.zeros((PARTITIONS, bins), np.complex64)
        self._variance = np.full((PARTITIONS, bins), FIRST_VARIANCE, np.float32)
        self._near = np.full(bins, FLOOR, np.float32)
        self._last: Audio = np.zeros(FRAME, np.float32)
        self._silent_frames = PARTITIONS + 1
        self._before_power = self._after_power = FLOOR
        self._trusted_frames = 0
        self._overload_frames = 0
        self.leaves_much = True  # in the last frame
        self.has_learned = False  # whether it was ever to be trusted

    @property
    def is_trusted(self) -> bool:
        """Whether most of the coach's echo was taken away not long ago."""
        return self._trusted_frames > 0

    @property
    def is_overloaded(self) -> bool:
        """Whether the microphone was too loud a moment ago for its echo to be linear."""
        return self._overload_frames > 0

    def cancel(self, microphone: Audio, played: Audio) -> Audio:
        """One frame of the microphone without the coach's linear echo."""
        self._silent_frames = 0 if played.any() else self._silent_frames + 1
        if self._silent_frames > PARTITIONS:  # nothing of it is left in the room
            self._last = played
            self.leaves_much = True
            return microphone
        self._played = np.roll(self._played, 1, axis=0)
        self._played[0] = np.fft.rfft(np.concatenate([self._last, played])).astype(np.complex64)
        self._last = played
        echo = np.fft.irfft(np.sum(self._played * self._path, axis=0))[FRAME:]
        left: Audio = (microphone - echo).astype(np.float32)
        self._learn(left)
        self._judge(microphone, left)
        return left

    def _judge(self, microphone: Audio, left: Audio) -> None:
        overload = np.abs(microphone).max() > OVERLOAD
        self._overload_frames = OVERLOAD_FRAMES if overload else max(0, self._overload_frames - 1)
        before, after = float(np.dot(microphone, microphone)), float(np.dot(left, left))
        self.leaves_much = after > before * 10 ** (MUCH_DB / 10)
        if self._silent_frames == 0:
            keep = REMOVED_SMOOTHING
            self._before_power = keep * self._before_power + (1 - keep) * before
            self._after_power = keep * self._after_power + (1 - keep) * after
            known = self._before_power > self._after_power * 10 ** (TRUSTED_DB / 10)
            self._trusted_frames = TRUSTED_FRAMES if known else max(0, self._trusted_frames - 1)
            self.has_learned = self.has_learned or known

    def _learn(self, left: Audio) -> None:
        zeros = np.zeros(FRAME, np.float32)
        error = np.fft.rfft(np.concatenate([zeros, left])).astype(np.complex64)
        self._near *= NEAR_SMOOTHING
        self._near += (1 - NEAR_SMOOTHING) * (error.real**2 + error.imag**2)
        power: NDArray[np.float32] = self._played.real**2 + self._played.imag**2
        explained = np.sum(power * self._variance, axis=0)
        step = self._variance / (explained + 2 * self._near + FLOOR)
        change = np.fft.irfft(step * np.conj(self._played) * error, axis=1)
        change[:, FRAME:] = 0.0  # a partition is no longer than a frame
        self._path += np.fft.rfft(change, axis=1).astype(np.complex64)
        path_power = self._path.real**2 + self._path.imag**2
        self._variance *= 1 - 0.5 * step * power
        self._variance *= FORGETTING**2
        self._variance += (1 - FORGETTING**2) * path_power

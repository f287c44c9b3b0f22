"""The coach hears itself: what it plays is cancelled, and when it sounds is known.

The canceller is WebRTC's AEC3 (package pywebrtc-audio). It hands speech through untouched in
silence; in double talk it eats some of the near speech. WebRTC's noise suppressor follows; a
quarter of the sound goes past it, because what it takes away altogether leaves the recogniser
unsure of clean speech.
"""

from __future__ import annotations

from collections import deque

import numpy as np
import pywebrtc_audio

from coach.ear.frames import FRAME, frames_back, level_db
from coach.ports import EAR_RATE_HZ, Audio

SUPPRESSOR_DELAY = 96  # samples, as that of the canceller measured by correlation
DELAY_S = (128 + SUPPRESSOR_DELAY) / EAR_RATE_HZ
PAST = 0.25  # the share that goes past the suppressor: it takes away 12 dB at most
SUPPRESSION = 2  # of 0 to 3
DITHER = 1e-4  # the recogniser is unsure of speech amid digital silence
SOUNDING_DB = -60.0  # a played frame louder than this is the coach speaking
TAIL_S = 0.25  # how long the room goes on after the last played frame
LINE_PAUSE_FRAMES = 15  # so long the coach was silent before it begins to speak
REMEMBERED_FRAMES = 1000  # longer than any utterance


class OwnVoice:
    """Takes frames of microphone and loudspeaker; gives the microphone without the coach.

    `delay_s` is the way from loudspeaker to microphone, as far as it is known.
    """

    def __init__(self, delay_s: float = 0.0) -> None:
        self._canceller = pywebrtc_audio.EchoCanceller(EAR_RATE_HZ, 1, round(delay_s * 1000))
        self._suppressor = pywebrtc_audio.NoiseSuppressor(EAR_RATE_HZ, 1, SUPPRESSION)
        self._past: Audio = np.zeros(SUPPRESSOR_DELAY, np.float32)
        self._dither = np.random.default_rng(0)  # the same noise every time
        self._tail_frames = round((delay_s + TAIL_S) * 100)
        self._quiet_frames = self._tail_frames + 1
        self._sounded: deque[bool] = deque(maxlen=REMEMBERED_FRAMES)
        self.begins = False  # whether the coach has begun to speak in the last frame

    @property
    def sounding(self) -> bool:
        """Whether the coach, or its echo in the room, can be in the last frame."""
        return self._quiet_frames <= self._tail_frames

    def share(self, from_s: float, to_s: float, now_s: float) -> float:
        """Which part of a span of room time the coach was sounding in, 0..1."""
        frames = list(self._sounded)
        first = max(0, len(frames) - frames_back(from_s, now_s))
        last = max(0, len(frames) - frames_back(to_s, now_s))
        span = frames[first:last]
        return sum(span) / len(span) if span else 0.0

    def cancel(self, microphone: Audio, played: Audio) -> Audio:
        """One frame of the microphone without what was played and without steady noise."""
        is_loud = level_db(played) > SOUNDING_DB
        self.begins = is_loud and self._quiet_frames >= LINE_PAUSE_FRAMES
        self._quiet_frames = 0 if is_loud else self._quiet_frames + 1
        self._sounded.append(self.sounding)
        cancelled: Audio = self._canceller.process(microphone, played)
        quieter: Audio = self._suppressor.process(cancelled)
        past: Audio = np.concatenate([self._past, cancelled])
        self._past = past[FRAME:]
        cleaned = (1 - PAST) * quieter + PAST * past[:FRAME]
        dither = self._dither.standard_normal(FRAME, np.float32) * np.float32(DITHER)
        cleaned += dither
        return cleaned

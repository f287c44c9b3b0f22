"""When somebody makes a sound: frame levels against a floor that follows the room."""

from __future__ import annotations

from collections import deque

import numpy as np

from coach.ear.own_voice import level_db
from coach.ports import Audio

OPEN_DB = 10.0  # above the floor: a sound begins
STAY_DB = 6.0  # above the floor: it goes on
LOWEST_FLOOR_DB = -68.0  # quieter than any room; keeps digital silence from being a floor
OPEN_OF_FRAMES = (3, 5)  # so many of the last so many frames make a beginning
FLOOR_SPAN_FRAMES = 400  # the floor is a low level of these last seconds
FLOOR_STEP_FRAMES = 10
FLOOR_QUANTILE = 0.15


class Activity:
    """Fed with one frame after the other; says whether a sound is going on."""

    def __init__(self) -> None:
        needed, of = OPEN_OF_FRAMES
        self._needed = needed
        self._recent: deque[bool] = deque(maxlen=of)
        self._levels: deque[float] = deque(maxlen=FLOOR_SPAN_FRAMES // FLOOR_STEP_FRAMES)
        self._step: list[float] = []
        self._last = np.float32(0.0)
        self.floor_db = LOWEST_FLOOR_DB
        self.level_db = LOWEST_FLOOR_DB
        self.active = False

    def hear(self, frame: Audio) -> None:
        """Take one frame; afterwards the attributes hold for it."""
        self.level_db = level_db(self._emphasised(frame))
        self._follow_floor()
        self._recent.append(self.level_db > self.floor_db + OPEN_DB)
        if self.active:
            self.active = self.level_db > self.floor_db + STAY_DB
        else:
            self.active = bool(self._levels) and sum(self._recent) >= self._needed

    @property
    def onset_back_frames(self) -> int:
        """How many frames ago the sound began, right after `active` has become true."""
        return len(self._recent) - 1 - list(self._recent).index(True) if any(self._recent) else 0

    def _emphasised(self, frame: Audio) -> Audio:
        """First difference: takes away hum and rumble, keeps consonants."""
        out: Audio = np.diff(frame, prepend=self._last)
        self._last = frame[-1]
        return out * np.float32(2.0)

    def _follow_floor(self) -> None:
        self._step.append(self.level_db)
        if len(self._step) == FLOOR_STEP_FRAMES:
            self._levels.append(float(np.median(self._step)))
            self._step.clear()
            low = float(np.quantile(list(self._levels), FLOOR_QUANTILE))
            self.floor_db = max(low, LOWEST_FLOOR_DB)

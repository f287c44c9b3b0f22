"""When somebody makes a sound: levels in bands of speech against floors that follow the room."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from coach.ear.frames import FRAME
from coach.ports import EAR_RATE_HZ, Audio

BAND_EDGES_HZ = (150, 500, 1000, 2000, 4000)
OPEN_DB = 7.5  # one band so far above its floor: a sound begins
STAY_DB = 4.5  # it goes on, over the mean of the last STAY_FRAMES
STAY_FRAMES = 3
LOWEST_FLOOR_DB = -72.0  # quieter than any room; keeps digital silence from being a floor
OPEN_OF_FRAMES = (4, 6)  # so many of the last so many frames make a beginning
FLOOR_SPAN_FRAMES = 400  # a floor is a low level of these last seconds
FLOOR_STEP_FRAMES = 10
FLOOR_QUANTILE = 0.15

_WINDOW = np.hanning(2 * FRAME)
_EDGES = np.array(BAND_EDGES_HZ) * 2 * FRAME // EAR_RATE_HZ  # bins of a spectrum of two frames
_SCALE = 2.0 / (2 * FRAME * np.sum(_WINDOW**2))  # a band's share of the mean power


class Activity:
    """Fed with one frame after the other; says whether a sound is going on."""

    def __init__(self) -> None:
        needed, of = OPEN_OF_FRAMES
        self._needed = needed
        self._recent: deque[bool] = deque(maxlen=of)
        self._above: deque[float] = deque(maxlen=STAY_FRAMES)
        self._past: deque[NDArray[np.float64]] = deque(
            maxlen=FLOOR_SPAN_FRAMES // FLOOR_STEP_FRAMES
        )
        self._step: list[NDArray[np.float64]] = []
        self._last: Audio = np.zeros(FRAME, np.float32)
        self._floors_db = np.full(len(BAND_EDGES_HZ) - 1, LOWEST_FLOOR_DB)
        self.active = False

    def hear(self, frame: Audio) -> None:
        """Take one frame; afterwards `active` holds for it."""
        levels_db = self._levels_db(frame)
        above_db = float((levels_db - self._floors_db).max())
        self._follow_floors(levels_db)
        self._recent.append(above_db > OPEN_DB)
        self._above.append(above_db)
        if self.active:
            self.active = sum(self._above) > STAY_DB * STAY_FRAMES
        else:
            self.active = bool(self._past) and sum(self._recent) >= self._needed

    @property
    def onset_back_frames(self) -> int:
        """How many frames ago the sound began, right after `active` has become true."""
        return len(self._recent) - 1 - list(self._recent).index(True) if any(self._recent) else 0

    def _levels_db(self, frame: Audio) -> NDArray[np.float64]:
        spectrum = np.fft.rfft(np.concatenate([self._last, frame]) * _WINDOW)
        self._last = frame
        power = np.add.reduceat(np.abs(spectrum[: _EDGES[-1]]) ** 2, _EDGES[:-1]) * _SCALE
        levels: NDArray[np.float64] = 10 * np.log10(power + 1e-12)
        return levels

    def _follow_floors(self, levels_db: NDArray[np.float64]) -> None:
        self._step.append(levels_db)
        if len(self._step) == FLOOR_STEP_FRAMES:
            self._past.append(np.median(self._step, axis=0))
            self._step.clear()
            low = np.quantile(np.array(self._past), FLOOR_QUANTILE, axis=0)
            self._floors_db = np.maximum(low, LOWEST_FLOOR_DB)

"""How loud the last seconds were, without the coach's linear echo: who stands out, and since when.

Somebody who stops the coach says that word alone. Talk in the room, in which every stopping word
turns up sooner or later, is as loud just before it; what the echo filter leaves of the coach is
not. AEC3's output would not do: it tears running talk into pieces of a word's length.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coach.ear.frames import FRAME_S, frames_back, level_db
from coach.ear.word import Word
from coach.ports import Audio

SPAN_FRAMES = 1000  # what is remembered
BEFORE_FRAMES = (60, 6)  # so long before a word it was quieter ...
STANDS_OUT_DB = 6.0  # ... on the mean, by this, than the word's loudest frames
CLEARLY_DB = 10.0  # the same where the pauses about the word prove nothing
LOUDEST_FRAMES = 10
LOUDER_PART = 0.75
EARLY_FRAMES = 10  # a word may be louder earlier than the recogniser places it
FALL_DB = 25.0  # a word begins so far below its loudest frame ...
ABOVE_BEFORE_DB = 6.0  # ... or so far above what was before, if that is louder
FRONT_FALL_DB = 15.0  # the same of loud sound amid talk behind it
BEHIND_DB = 10.0  # what is so far below the words is somebody else's talk behind them
CLOSURE_FRAMES = 12  # the longest silence inside a word ("s-top")


class Levels:
    """Fed with every frame; asked about stretches of room time."""

    def __init__(self) -> None:
        self._db: deque[float] = deque(maxlen=SPAN_FRAMES)
        self._now_s = 0.0

    def hear(self, frame: Audio, now_s: float) -> None:
        """Take one frame that ends at room time `now_s`."""
        self._db.append(level_db(frame))
        self._now_s = now_s

    def forget(self) -> None:
        """What was heard belongs to another time."""
        self._db.clear()

    def stands_out(self, start_s: float, end_s: float, by_db: float) -> bool:
        """Whether the sound between is louder than what was just before it."""
        db, first, _ = self._stretch(start_s, end_s)
        return self.loudest_db(start_s, end_s) - self._before_db(db, first) >= by_db

    def loudest_db(self, start_s: float, end_s: float) -> float:
        """How loud the loudest tenth of a second of the sound between is."""
        db, first, last = self._stretch(start_s, end_s)
        return _mean_db(np.sort(db[first:last])[-LOUDEST_FRAMES:])

    def loudness_db(self, start_s: float, end_s: float) -> float:
        """How loud the louder part of the sound between is."""
        db, first, last = self._stretch(start_s, end_s)
        return float(np.quantile(db[first:last], LOUDER_PART))

    def onset_s(self, start_s: float, end_s: float) -> float:
        """Room time of the rise that leads to the loudest frame of the sound between."""
        db, first, last = self._stretch(start_s, end_s)
        early = max(0, first - EARLY_FRAMES)
        peak = early + int(np.argmax(db[early:last]))
        above_db = min(self._before_db(db, first) + ABOVE_BEFORE_DB, db[peak] - ABOVE_BEFORE_DB)
        return self._time_s(db, _rise(db, peak, max(db[peak] - FALL_DB, above_db)))

    def front_s(self, start_s: float, end_s: float) -> float:
        """Room time at which the loud part of a sound begins: `start_s`, or a clear step in it."""
        db, first, last = self._stretch(start_s, end_s)
        peak = first + int(np.argmax(db[first:last]))
        rise = _rise(db, peak, db[peak] - FRONT_FALL_DB)
        behind = db[first : rise - BEFORE_FRAMES[1]]
        if len(behind) < LOUDEST_FRAMES:
            return start_s
        loud_db = np.quantile(db[rise : peak + LOUDEST_FRAMES], LOUDER_PART)
        step = loud_db - np.quantile(behind, LOUDER_PART) >= CLEARLY_DB
        return self._time_s(db, rise) if step else start_s

    def in_front(self, words: Sequence[Word]) -> list[Word]:
        """The words without what is talked far behind them."""
        loudness_db = [self.loudness_db(word.start_s, word.end_s) for word in words]
        known_db = [db for db, w in zip(loudness_db, words, strict=True) if not w.is_unknown]
        least_db = max(known_db, default=-np.inf) - BEHIND_DB
        return [
            word
            for db, word in zip(loudness_db, words, strict=True)
            if not word.is_unknown or db >= least_db
        ]

    def _time_s(self, db: NDArray[np.float64], frame: int) -> float:
        return self._now_s - (len(db) - frame) * FRAME_S

    def _stretch(self, start_s: float, end_s: float) -> tuple[NDArray[np.float64], int, int]:
        """All levels, and the frames of a stretch of room time; at least some frames long."""
        db = np.array(self._db)
        first = len(db) - frames_back(start_s, self._now_s)
        last = len(db) - frames_back(end_s, self._now_s)
        first = min(max(first, 0), max(len(db) - LOUDEST_FRAMES, 0))
        return db, first, max(last, first + LOUDEST_FRAMES // 2)

    def _before_db(self, db: NDArray[np.float64], first: int) -> float:
        since, until = (max(0, first - frames) for frames in BEFORE_FRAMES)
        return _mean_db(db[since:until]) if until > since else -np.inf


def _rise(db: NDArray[np.float64], peak: int, least_db: float) -> int:
    """The frame from where on all up to `peak` is louder, but for a closure."""
    loud = np.flatnonzero(db[: peak + 1] > least_db)
    pauses = np.flatnonzero(np.diff(loud) > CLOSURE_FRAMES + 1)
    return int(loud[pauses[-1] + 1] if len(pauses) else loud[0])


def _mean_db(db: NDArray[np.float64]) -> float:
    """The level of the mean power."""
    return float(10 * np.log10(np.mean(10 ** (db / 10))))

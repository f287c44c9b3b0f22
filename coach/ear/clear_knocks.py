"""Knocks that cannot be the coach: the echo of a room that is not known may look like one."""

from __future__ import annotations

from collections import deque

import numpy as np

from coach.ear.frames import frames_back
from coach.ear.knocks import KnockDetector
from coach.ports import Audio
from coach.practice.events import Knocked, Knocks

KNOCK_FRAMES = 12  # of a knock, in which no echo may be doubtful
DOUBT_FRAMES = 200  # longer than a pair of knocks takes to be known


class ClearKnocks:
    """Fed with every frame; tells knocks in room time."""

    def __init__(self) -> None:
        self._doubtful: deque[bool] = deque(maxlen=DOUBT_FRAMES)
        self.last_s = -np.inf  # onset of the last knock, be it clear or not
        self.attend(Knocks.OFF, 0.0)

    def attend(self, mode: Knocks, now_s: float) -> None:
        """What knocks mean from now on."""
        self._mode = mode
        self._detector = KnockDetector(mode)
        self._from_s = now_s

    def begin_at(self, start_s: float) -> None:
        """The next frame begins at this room time; what was before belongs to another."""
        self._doubtful.clear()
        self.last_s = -np.inf
        self.attend(self._mode, start_s)

    def hear(self, frame: Audio, is_doubtful: bool, now_s: float) -> list[Knocked]:
        """A frame without its linear echo; whether what it has may be echo all the same."""
        self._doubtful.append(is_doubtful)
        events = []
        for knock in self._detector.feed(frame):
            onsets_s = sorted({self._from_s + knock.onset_s, self._from_s + knock.last_s})
            self.last_s = onsets_s[-1]
            clear_s = [onset_s for onset_s in onsets_s if self._is_clear(onset_s, now_s)]
            if clear_s:
                events.append(Knocked(now_s, clear_s[0], len(clear_s)))
        return events

    def _is_clear(self, onset_s: float, now_s: float) -> bool:
        first = max(0, len(self._doubtful) - frames_back(onset_s, now_s) - 1)
        return not any(list(self._doubtful)[first : first + KNOCK_FRAMES])

"""Knocks that cannot be the coach: the echo of a room that is not known may look like one."""

from __future__ import annotations

from collections import deque

import numpy as np

from coach.ear.knocks import KnockDetector
from coach.ear.own_voice import FRAME
from coach.ports import EAR_RATE_HZ, Audio
from coach.practice.events import Knocked, Knocks

KNOCK_FRAMES = 12  # of a knock, in which no echo may be doubtful
DOUBT_FRAMES = 200  # longer than a pair of knocks takes to be known


class ClearKnocks:
    """Fed with every frame; tells knocks in room time."""

    def __init__(self) -> None:
        self._doubtful: deque[bool] = deque(maxlen=DOUBT_FRAMES)
        self._detector = KnockDetector(Knocks.OFF)
        self._from_s = 0.0
        self.last_s = -np.inf  # onset of the last knock, be it clear or not

    def attend(self, mode: Knocks, now_s: float) -> None:
        """What knocks mean from now on."""
        self._detector = KnockDetector(mode)
        self._from_s = now_s

    def hear(self, frame: Audio, is_doubtful: bool, now_s: float) -> list[Knocked]:
        """A frame without its linear echo; whether what it has may be echo all the same."""
        self._doubtful.append(is_doubtful)
        events = []
        for knock in self._detector.feed(frame):
            self.last_s = onset_s = self._from_s + knock.onset_s
            first = len(self._doubtful) - round((now_s - onset_s) * EAR_RATE_HZ / FRAME) - 1
            if not any(list(self._doubtful)[max(0, first) : first + KNOCK_FRAMES]):
                events.append(Knocked(now_s, onset_s, knock.count))
        return events

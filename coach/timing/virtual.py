"""The cue calendar on virtual time: exact, repeatable, as fast as the room renders."""

from __future__ import annotations

import heapq
from itertools import count

from coach.practice.events import CueDue


class VirtualCalendar:
    """Keeps cues until virtual time reaches them; equal times keep the order of adding."""

    def __init__(self) -> None:
        self._now_s = 0.0
        self._order = count()
        self._heap: list[tuple[float, int, int]] = []  # due, order, cue

    def add(self, cue: int, due_s: float) -> None:
        """Deliver CueDue(cue) at `due_s` room seconds, at once if that is past.

        Once: a cue that waits already gets the new time.
        """
        self.drop(cue)
        heapq.heappush(self._heap, (max(due_s, self._now_s), next(self._order), cue))

    def drop(self, cue: int) -> None:
        """Do not deliver it; unknown cues are ignored."""
        self._heap = [entry for entry in self._heap if entry[2] != cue]
        heapq.heapify(self._heap)

    def until(self, now_s: float) -> list[CueDue]:
        """Move on to `now_s` and hand out everything due up to and including it, in order."""
        self._now_s = now_s
        due: list[CueDue] = []
        while self._heap and self._heap[0][0] <= now_s:
            due_s, _, cue = heapq.heappop(self._heap)
            due.append(CueDue(due_s, cue))
        return due

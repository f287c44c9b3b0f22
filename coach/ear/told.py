"""What the ear has told lately: two ways of hearing tell one word once."""

from __future__ import annotations

from collections import deque

from coach.ear.grammar import Meaning
from coach.ear.understanding import Understood

SAME_EDGE_S = 0.15  # onsets or ends nearer than this are of one sound
SAME_S = 0.5  # onsets nearer than this are of the same word, heard in two ways
REMEMBERED = 8


class Told:
    """The last meanings told, each with onset and end in room time."""

    def __init__(self) -> None:
        self._last: deque[tuple[Meaning, float, float]] = deque(maxlen=REMEMBERED)

    def add(self, found: Understood, onset_s: float) -> bool:
        """Whether it is new: neither told already nor part of what was told."""
        meaning, end_s = found.meaning, found.words[-1].end_s
        for told, at_s, until_s in self._last:
            same = told == meaning and abs(at_s - onset_s) < SAME_S
            part = told.command == meaning.command and meaning.participant is None
            if same or (part and abs(until_s - end_s) < SAME_EDGE_S):
                return False
        self._last.append((meaning, onset_s, end_s))
        return True

    def covers(self, onset_s: float, end_s: float) -> bool:
        """Whether something told, whatever it was, began with this sound and lasted as long."""
        return any(
            abs(at_s - onset_s) < SAME_EDGE_S and end_s - until_s < SAME_EDGE_S
            for _, at_s, until_s in self._last
        )

    def anything_since(self, onset_s: float) -> bool:
        """Whether something was told of what began then or later."""
        return any(at_s >= onset_s - SAME_S for _, at_s, _ in self._last)

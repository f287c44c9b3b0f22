"""Rejects what matches the coach's own words at the time it says them.

Cancellation takes the coach's voice out of the microphone, but a distorting loudspeaker leaves a
rest. A few lines must name the words that end a hold or a lesson; while such a word itself is
being spoken, and only then, hearing it is no command.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from coach.practice.events import Heard

AROUND_S = 1.0  # where in a clip a word sounds is only guessed, from where it stands in the text
LINES_KEPT = 12


@dataclass(frozen=True, slots=True)
class _Line:
    words: tuple[tuple[str, float], ...]  # a word, and the room time at which it should sound


class OwnWords:
    """Knows what the coach is saying, word by word, as far as the text tells."""

    def __init__(self) -> None:
        self._lines: deque[_Line] = deque(maxlen=LINES_KEPT)

    def sounding(self, text: str, start_s: float, end_s: float) -> None:
        """`text` sounds in the room between these times."""
        words, length = [], max(len(text), 1)
        at = 0
        for word in text.split():
            share = (text.index(word, at) + len(word) / 2) / length
            at = text.index(word, at) + len(word)
            plain = word.strip(",.;:?!").lower()
            words.append((plain, start_s + share * (end_s - start_s)))
        self._lines.append(_Line(tuple(words)))

    def explain(self, heard: Heard) -> bool:
        """Whether the coach itself was saying these words just then."""
        words = heard.text.lower().split()
        return bool(words) and all(self._said(word, heard.onset_s) for word in words)

    def _said(self, word: str, at_s: float) -> bool:
        return any(
            own == word and abs(own_s - at_s) <= AROUND_S
            for line in self._lines
            for own, own_s in line.words
        )

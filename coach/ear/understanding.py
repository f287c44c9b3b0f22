"""From recognised words to what was meant: which stretch of them a grammar allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.ear.grammar import Grammar, Meaning
from coach.ear.word import Word

MOST_UNKNOWN_S = 0.4  # so much of something else before an answer ("well, yes")


@dataclass(frozen=True, slots=True)
class Understood:
    """A meaning and the words that carry it; times in room seconds."""

    meaning: Meaning
    words: tuple[Word, ...]

    @property
    def text(self) -> str:
        """The words."""
        return " ".join(word.text for word in self.words)

    @property
    def confidence(self) -> float:
        """That of the least certain word, 0..1."""
        return min(word.confidence for word in self.words)

    @property
    def stops(self) -> bool:
        """Whether it may not wait."""
        return self.meaning.stops


def understand(words: Sequence[Word], grammar: Grammar) -> Understood | None:
    """The whole utterance as one phrase, at most with a little of something else before it."""
    known = [word for word in words if not word.is_unknown]
    unknown_s = sum(word.end_s - word.start_s for word in words if word.is_unknown)
    if not known or unknown_s > MOST_UNKNOWN_S or list(words)[-len(known) :] != known:
        return None
    return exactly(known, grammar)


def exactly(words: Sequence[Word], grammar: Grammar) -> Understood | None:
    """The words as one phrase, and nothing beside it."""
    meaning = grammar.meaning(" ".join(word.text for word in words))
    if meaning is None or meaning.is_decoy:
        return None
    return Understood(meaning, tuple(words))

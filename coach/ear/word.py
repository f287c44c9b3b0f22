"""A recognised word."""

from __future__ import annotations

from dataclasses import dataclass

UNKNOWN_PREFIX = "[unk"


def is_unknown(word: str) -> bool:
    """Whether a recognised word stands for anything that is none of the grammar's."""
    return word.startswith(UNKNOWN_PREFIX)


@dataclass(frozen=True, slots=True)
class Word:
    """A recognised word; times in room seconds."""

    text: str
    start_s: float
    end_s: float
    confidence: float

    @property
    def is_unknown(self) -> bool:
        """Whether it is none of the grammar's words."""
        return is_unknown(self.text)

"""What a report consists of, before it becomes HTML: sections, figures, tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from markupsafe import Markup

UNKNOWN = "not known"  # words instead of a dash: a screen reader says them


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of texts under heads; the first column names the row."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture, what it shows in words, how to read it, and the numbers behind it."""

    name: str  # unique in the page
    title: str
    pictures: Sequence[Markup]  # the same for wide and for narrow screens, or one for both
    reading: str
    table: Table


@dataclass(frozen=True, slots=True)
class Section:
    """A headed part of the page."""

    name: str  # unique in the page; links lead to it
    heading: str
    paragraphs: Sequence[str] = ()
    facts: Sequence[tuple[str, str]] = ()
    cautions: Sequence[str] = ()
    figures: Sequence[Figure] = ()
    tables: Sequence[Table] = ()
    folded: Sequence[Table] = ()  # long tables that open on demand
    parts: Sequence[Section] = ()  # sections below this one
    closed: bool = False  # opens on demand


def clock(seconds: float) -> str:
    """A time in a session as minutes and seconds: 73.4 -> "1:13"."""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02d}"


def length(seconds: float | None) -> str:
    """A length in tenths, halves up as it is spoken: 73.4 -> "1:13.4", 42.04 -> "42.0 s"."""
    if seconds is None:
        return UNKNOWN
    tenths = Decimal(str(seconds)).quantize(Decimal("0.1"), ROUND_HALF_UP)
    minutes, rest = divmod(tenths, 60)
    return f"{minutes}:{rest:04.1f}" if minutes else f"{rest} s"


def rate(bpm: float | None) -> str:
    """A pulse as whole beats per minute."""
    return UNKNOWN if bpm is None else f"{bpm:.0f}"

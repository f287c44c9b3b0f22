"""What is said: config/lines/<language>.toml as texts with values filled in.

A line is a text with places for values, `{name}` or `{name:format}`; the formats are the
functions of `coach.voice.spoken`. Texts hold letters, spaces, apostrophes and the marks that
stand for a pause (`, . ; : ? !`). A hyphen is spoken as a space ("check-in"), a dash is written
as a comma, a number as words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from string import Formatter

from coach.border import BadInput, parse, read_toml
from coach.practice.events import Value
from coach.settings import FORBID
from coach.voice import spoken

_FORMATS: Mapping[str, Callable[[float], str]] = {
    "number": spoken.number,
    "digits": spoken.digits,
    "ordinal": spoken.ordinal,
    "duration": spoken.duration,
    "tenths": spoken.tenths,
    "call": spoken.call,
}
_NOT_SPEAKABLE = re.compile(r"[^\w\s',.;:?!-]|[\d_]")


class LineError(Exception):
    """Code asked for a line or gave values that the file of lines does not have."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a value goes; an empty format stands for plain text."""

    value: str
    format: str


@dataclass(frozen=True, slots=True)
class _LinesFile:
    __pydantic_config__ = FORBID
    lines: dict[str, str]


@dataclass(frozen=True, slots=True)
class Lines:
    """All lines of one language."""

    where: str
    _templates: Mapping[str, tuple[str | _Place, ...]]

    def names(self) -> frozenset[str]:
        """The names of all lines."""
        return frozenset(self._templates)

    def values_of(self, name: str) -> frozenset[str]:
        """The names of the values that line `name` needs. Raises LineError."""
        return frozenset(part.value for part in self._line(name) if isinstance(part, _Place))

    def text(self, name: str, values: Mapping[str, Value]) -> str:
        """Line `name` with `values`, written out in words.

        Values that the line does not use are ignored. Raises LineError for an unknown line, a
        value that is missing, and text where the format needs a number.
        """
        parts = self._line(name)
        return "".join(p if isinstance(p, str) else self._filled(name, p, values) for p in parts)

    def _line(self, name: str) -> tuple[str | _Place, ...]:
        try:
            return self._templates[name]
        except KeyError:
            raise LineError(f"{self.where}: there is no line {name!r}") from None

    def _filled(self, name: str, place: _Place, values: Mapping[str, Value]) -> str:
        if place.value not in values:
            raise LineError(f"{self.where}: {name}: nobody gave a value for {{{place.value}}}")
        value = values[place.value]
        if not place.format:
            return spoken.plain(value)
        if isinstance(value, str):
            wanted = f"{{{place.value}:{place.format}}} needs a number"
            raise LineError(f"{self.where}: {name}: {wanted}, not {value!r}")
        return _FORMATS[place.format](value)


def load_lines(path: Path) -> Lines:
    """The lines of a file. Raises BadInput naming file, line name and reason."""
    file: _LinesFile = parse(_LinesFile, read_toml(path), str(path))
    templates = {
        name: _template(text, f"{path}: lines.{name}") for name, text in file.lines.items()
    }
    return Lines(str(path), templates)


def _template(text: str, where: str) -> tuple[str | _Place, ...]:
    try:
        pieces = list(Formatter().parse(text))
    except ValueError as error:
        raise BadInput(f"{where}: {error}") from None
    parts: list[str | _Place] = []
    for words, value, form, conversion in pieces:
        parts.append(_speakable(words, where))
        if value is None:
            continue
        if not value.isidentifier() or conversion:
            raise BadInput(f"{where}: a place is written {{value}} or {{value:format}}")
        if form and form not in _FORMATS:
            known = ", ".join(sorted(_FORMATS))
            raise BadInput(f"{where}: there is no format {form!r}; there are: {known}")
        parts.append(_Place(value, form or ""))
    if not any(isinstance(part, _Place) or part.strip() for part in parts):
        raise BadInput(f"{where}: is empty; write what is to be said, or remove the line")
    return tuple(part for part in parts if part)


def _speakable(words: str, where: str) -> str:
    wrong = _NOT_SPEAKABLE.search(words)
    if wrong:
        raise BadInput(
            f"{where}: {wrong.group()!r} cannot be spoken; write numbers and signs as words"
        )
    return words.replace("-", " ").replace("\n", " ")

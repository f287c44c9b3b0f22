"""Numbers and times the way people say them: letters only, never a digit.

Every function gives words without hyphens or commas, so that the same text can be spoken,
shown as a caption and compared with what the ear heard.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

from num2words import num2words

_DIGITS = re.compile(r"\d+(?:\.\d+)?")
_PAUSES = re.compile(r"\s+([,.;:?!])")
_SIGNS = re.compile(r"[^\w\s',.;:?!]|_")


def _words(number: int | Decimal, to: str = "cardinal") -> str:
    words = str(num2words(number, lang="en", to=to))
    return words.replace("-", " ").replace(",", "")


def _rounded(value: float, step: str) -> Decimal:
    # str() first: 12.45 is meant as written, not as the nearest binary fraction
    return Decimal(str(value)).quantize(Decimal(step), ROUND_HALF_UP)


def _count(number: int | Decimal, unit: str) -> str:
    return f"{_words(number)} {unit}" if number == 1 else f"{_words(number)} {unit}s"


def number(value: float) -> str:
    """A cardinal: 68 -> "sixty eight"; 7.5 -> "seven point five"."""
    exact = _rounded(value, "0.1")
    return _words(int(exact) if exact == int(exact) else exact)


def ordinal(value: float) -> str:
    """A place in a row: 3 -> "third"."""
    return _words(int(_rounded(value, "1")), to="ordinal")


def digits(value: float) -> str:
    """One digit after the other: 13 -> "one three"."""
    return " ".join(_words(int(digit)) for digit in str(int(_rounded(value, "1"))).lstrip("-"))


def _minutes_and(minutes: int, seconds: int | Decimal) -> str:
    parts = [_count(minutes, "minute")] if minutes else []
    if seconds or not minutes:
        parts.append(_count(seconds, "second"))
    return " ".join(parts)


def duration(value_s: float) -> str:
    """A length of time in whole seconds, halves up: 73.4 -> "one minute thirteen seconds"."""
    minutes, seconds = divmod(max(int(_rounded(value_s, "1")), 0), 60)
    return _minutes_and(minutes, seconds)


def tenths(value_s: float) -> str:
    """A length of time in tenths: 73.4 -> "seventy three point four seconds".

    From 100 s on with minutes; a tenth that is zero is not said.
    """
    exact = max(_rounded(value_s, "0.1"), Decimal(0))
    minutes = int(exact // 60) if exact >= 100 else 0
    seconds = exact - 60 * minutes
    return _minutes_and(minutes, int(seconds) if seconds == int(seconds) else seconds)


def call(value_s: float) -> str:
    """A time call, short: 10 -> "ten", 60 -> "one minute", 70 -> "one ten", 65 -> "one oh five".

    Under a minute the seconds alone, on the minute the minutes with their unit, else both
    without units. All whole seconds have different calls.
    """
    minutes, seconds = divmod(max(int(_rounded(value_s, "1")), 0), 60)
    if not minutes:
        return _words(seconds)
    if not seconds:
        return _count(minutes, "minute")
    return f"{_words(minutes)} {'oh ' if seconds < 10 else ''}{_words(seconds)}"


_CALL_WORDS = frozenset(word for second in range(122) for word in call(second).split())


def is_call(text: str) -> bool:
    """Whether `text` can be a time call: nothing but the words of calls."""
    return all(word in _CALL_WORDS for word in text.split())


def plain(value: str | float) -> str:
    """Text as it is, digits as words, other signs as spaces: "CO2 table" -> "CO two table"."""
    if not isinstance(value, str):
        return number(value)
    words = _DIGITS.sub(lambda found: f" {number(float(found.group()))} ", value)
    return _PAUSES.sub(r"\1", " ".join(_SIGNS.sub(" ", words).split()))

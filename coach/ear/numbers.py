"""Spoken numbers: words to a whole number, zero to 999.

Beside the usual form ("a hundred and four") people say counts digit by digit ("one seven"),
doubled ("double two") and by halves ("one twenty"). These readings are our own definition.
"""

from __future__ import annotations

DIGITS = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5,
    "six": 6, "seven": 7, "eight": 8, "nine": 9,
}  # fmt: skip
NOUGHTS = {"zero": 0, "oh": 0, "nought": 0}
TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15,
    "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
TENS = {
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50,
    "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}  # fmt: skip
REPEATS = {"double": 2, "triple": 3}
HUNDREDS = {**DIGITS, "a": 1}


def spoken_number(text: str) -> int | None:
    """The number that `text` says, or None if it is not a well-formed number.

    "twenty one" 21, "two one" 21, "a hundred and four" 104, "one oh four" 104,
    "one twenty" 120, "double two" 22.
    """
    words = text.lower().replace("-", " ").split()
    if len(words) == 1 and words[0] in NOUGHTS:
        return 0
    for reading in (_below_hundred, _with_hundred, _by_halves, _digit_by_digit):
        value = reading(words)
        if value is not None:
            return value
    return None


def _below_hundred(words: list[str]) -> int | None:
    match words:
        case [one] if one in DIGITS or one in TEENS or one in TENS:
            return (DIGITS | TEENS | TENS)[one]
        case [tens, one] if tens in TENS and one in DIGITS:
            return TENS[tens] + DIGITS[one]
    return None


def _with_hundred(words: list[str]) -> int | None:
    if "hundred" not in words:
        return None
    at = words.index("hundred")
    before, after = words[:at], words[at + 1 :]
    if len(before) > 1 or (before and before[0] not in HUNDREDS):
        return None
    hundreds = 100 * (HUNDREDS[before[0]] if before else 1)
    if not after:
        return hundreds
    rest = _below_hundred(after[1:] if after[0] == "and" else after)
    return None if rest is None else hundreds + rest


def _by_halves(words: list[str]) -> int | None:
    """ "one twenty five" is 125; the second half is ten or more."""
    if len(words) < 2 or words[0] not in DIGITS:
        return None
    rest = _below_hundred(words[1:])
    return None if rest is None or rest < 10 else 100 * DIGITS[words[0]] + rest


def _digit_by_digit(words: list[str]) -> int | None:
    digits: list[int] = []
    times = 1
    for word in words:
        if word in REPEATS and times == 1:
            times = REPEATS[word]
        elif word in DIGITS or word in NOUGHTS:
            digits += [(DIGITS | NOUGHTS)[word]] * times
            times = 1
        else:
            return None
    if times != 1 or not 2 <= len(digits) <= 3 or digits[0] == 0:
        return None
    return int("".join(map(str, digits)))

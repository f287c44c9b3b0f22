from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.voice import spoken


@pytest.mark.parametrize(
    ("form", "value", "words"),
    [
        (spoken.number, 0, "zero"),
        (spoken.number, 68, "sixty eight"),
        (spoken.number, 104, "one hundred and four"),
        (spoken.number, 64.0, "sixty four"),
        (spoken.number, 7.5, "seven point five"),
        (spoken.number, -3, "minus three"),
        (spoken.number, 1234, "one thousand two hundred and thirty four"),
        (spoken.ordinal, 1, "first"),
        (spoken.ordinal, 3, "third"),
        (spoken.ordinal, 21, "twenty first"),
        (spoken.digits, 13, "one three"),
        (spoken.digits, 104, "one zero four"),
        (spoken.duration, 45, "forty five seconds"),
        (spoken.duration, 1, "one second"),
        (spoken.duration, 60, "one minute"),
        (spoken.duration, 73.4, "one minute thirteen seconds"),
        (spoken.duration, 61, "one minute one second"),
        (spoken.duration, 120, "two minutes"),
        (spoken.duration, 72.5, "one minute thirteen seconds"),
        (spoken.duration, 59.7, "one minute"),
        (spoken.duration, 0.2, "zero seconds"),
        (spoken.tenths, 73.4, "seventy three point four seconds"),
        (spoken.tenths, 74.0, "seventy four seconds"),
        (spoken.tenths, 1.0, "one second"),
        (spoken.tenths, 12.45, "twelve point five seconds"),
        (spoken.tenths, 99.96, "one minute forty seconds"),
        (spoken.tenths, 133.4, "two minutes thirteen point four seconds"),
        (spoken.call, 10, "ten"),
        (spoken.call, 60, "one minute"),
        (spoken.call, 65, "one oh five"),
        (spoken.call, 70, "one ten"),
        (spoken.call, 90, "one thirty"),
        (spoken.call, 120, "two minutes"),
        (spoken.call, 125, "two oh five"),
        (spoken.call, 310, "five ten"),
        (spoken.plain, "CO2 table", "CO two table"),
        (spoken.plain, "warm-up", "warm up"),
        (spoken.plain, "[Errno 28] /home/mira: no space", "Errno twenty eight home mira: no space"),
        (spoken.plain, 12, "twelve"),
    ],
)
def test_numbers_and_times_as_people_say_them(
    form: Callable[[float | str], str], value: float | str, words: str
) -> None:
    assert form(value) == words


FORMS = (spoken.number, spoken.ordinal, spoken.digits, spoken.duration, spoken.tenths, spoken.call)


@given(st.floats(0, 5000) | st.integers(0, 5000))
def test_there_is_never_a_digit_a_hyphen_or_a_comma(value: float) -> None:
    for form in FORMS:
        assert re.fullmatch(r"[a-z]+( [a-z]+)*", form(value)), form


def test_no_two_time_calls_are_the_same() -> None:
    calls = [spoken.call(second) for second in range(10, 1801)]
    assert len(set(calls)) == len(calls)


def test_a_time_call_has_at_most_four_words() -> None:
    assert max(len(spoken.call(second).split()) for second in range(0, 1801)) <= 4
    assert max(len(spoken.call(second).split()) for second in range(0, 1201, 10)) <= 2


def test_what_is_a_time_call_and_what_is_not() -> None:
    assert all(spoken.is_call(spoken.call(second)) for second in range(1801))
    assert not any(spoken.is_call(text) for text in ("In.", "Are you okay?", "one breath", "Good."))

"""Spoken numbers against two libraries that we did not make.

num2words writes the words (Savoir-faire Linux, PyPI num2words), text2num reads them back
(allo-media, PyPI text2num); they agree on 0 to 240. Digit-by-digit, doubled and halved readings
are our own definition: the table below is it.
"""

from __future__ import annotations

import pytest
from num2words import num2words
from text_to_num import text2num

from coach.border import data_path
from coach.ear.grammar import load_grammar
from coach.ear.numbers import spoken_number

OURS = {
    "two one": 21,
    "one seven": 17,
    "two oh": 20,
    "one oh four": 104,
    "one zero four": 104,
    "one two three": 123,
    "one twenty": 120,
    "one twenty five": 125,
    "one ten": 110,
    "two fifteen": 215,
    "double two": 22,
    "one double two": 122,
    "double two one": 221,
    "three double oh": 300,
    "triple two": 222,
    "hundred": 100,
    "a hundred": 100,
    "a hundred four": 104,
    "oh": 0,
    "zero": 0,
}
ILL_FORMED = [
    "", "and", "a", "hundred hundred", "one hundred and", "twenty ten", "twenty thirty",
    "ten one", "eleven two", "oh one", "zero zero", "double", "one double",
    "double double two", "twenty hundred", "hundred and hundred", "one two three four",
    "one hundred twenty ten", "stop", "twenty one two", "and four", "a four", "one and four",
]  # fmt: skip


@pytest.mark.parametrize("number", range(301))
def test_the_usual_words_give_the_number(number: int) -> None:
    words = num2words(number)
    assert spoken_number(words) == number
    assert spoken_number(words.replace(" and ", " ")) == number
    assert spoken_number(words.replace("one hundred", "a hundred")) == number


@pytest.mark.parametrize("number", range(241))
def test_the_two_libraries_agree_where_they_are_the_oracle(number: int) -> None:
    assert text2num(num2words(number), "en") == number == spoken_number(num2words(number))


@pytest.mark.parametrize(("text", "number"), OURS.items())
def test_our_own_readings(text: str, number: int) -> None:
    assert spoken_number(text) == number


@pytest.mark.parametrize("text", ILL_FORMED)
def test_what_is_no_number_is_none(text: str) -> None:
    assert spoken_number(text) is None


def test_the_grammar_allows_every_number_up_to_three_hundred_and_no_other() -> None:
    grammar = load_grammar(data_path("grammars", "numbers.jsgf"))
    assert {meaning.number for meaning in grammar.meanings.values()} == set(range(301))
    for number in range(301):
        assert grammar.meaning(num2words(number).replace("-", " ")) is not None


def test_digit_by_digit_is_allowed_for_every_two_digits() -> None:
    grammar = load_grammar(data_path("grammars", "numbers.jsgf"))
    for number in range(10, 301):
        words = " ".join(num2words(int(digit)) for digit in str(number))
        meaning = grammar.meaning(words)
        assert meaning is not None, words
        assert meaning.number == number

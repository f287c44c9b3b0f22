"""Two ways of hearing tell one word once."""

from __future__ import annotations

from coach.ear.grammar import Meaning
from coach.ear.told import Told
from coach.ear.understanding import Understood
from coach.ear.word import Word
from coach.practice.words import Command

DONE = Meaning(Command.DONE)
ONE_DONE = Meaning(Command.DONE, participant=1)
STOP = Meaning(Command.STOP)


def found(meaning: Meaning, start_s: float, end_s: float) -> Understood:
    return Understood(meaning, (Word("done", start_s, end_s, 1.0),))


def test_the_same_word_is_new_only_once() -> None:
    told = Told()
    assert told.add(found(DONE, 1.0, 1.4), 1.0)
    assert not told.add(found(DONE, 1.1, 1.5), 1.1)
    assert told.add(found(DONE, 3.0, 3.4), 3.0)


def test_the_end_of_a_phrase_that_was_told_is_not_new() -> None:
    told = Told()
    assert told.add(found(ONE_DONE, 1.0, 1.9), 1.0)
    assert not told.add(found(DONE, 1.6, 1.9), 1.6)
    assert told.add(found(STOP, 1.6, 1.9), 1.6)


def test_a_sound_is_covered_by_what_began_with_it_and_lasted_as_long() -> None:
    told = Told()
    told.add(found(STOP, 1.0, 1.5), 1.0)
    assert told.covers(1.1, 1.6)
    assert not told.covers(1.1, 1.8)
    assert not told.covers(1.3, 1.5)


def test_what_was_told_since_is_known() -> None:
    told = Told()
    told.add(found(STOP, 5.0, 5.4), 5.0)
    assert told.anything_since(5.2)
    assert not told.anything_since(6.0)

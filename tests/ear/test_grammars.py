"""Every phrase has a consumer, every command a phrase, and the model can hear all of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.border import BadInput, data_path
from coach.ear.grammar import Grammar, grammar_path, load_grammar
from coach.ear.model import SpeechModel
from coach.practice.words import Command, Situation

ALWAYS = {
    Command.STOP, Command.STOP_ALL, Command.UNWELL, Command.DIZZY, Command.TINGLING,
    Command.FAINTED,
}  # fmt: skip


def of(situation: str) -> Grammar:
    return load_grammar(grammar_path(situation))


def commands(situation: str) -> set[Command]:
    return {m.command for m in of(situation).meanings.values() if m.command is not None}


def test_every_command_has_a_phrase_somewhere() -> None:
    heard = set().union(*(commands(situation) for situation in Situation))
    assert set(Command) - heard == set()


def test_every_situation_has_a_grammar_and_every_grammar_a_use() -> None:
    files = {path.stem for path in data_path("grammars").glob("*.jsgf")}
    shared = {"common", "numbers", "wishes"}  # imported by others
    assert files == set(Situation) | shared | {"recording"}


@pytest.mark.parametrize("situation", Situation)
def test_one_can_stop_in_every_situation(situation: Situation) -> None:
    assert commands(situation) >= ALWAYS


@pytest.mark.parametrize("situation", [s for s in Situation if s is not Situation.ASLEEP])
def test_stopping_needs_one_word_only(situation: Situation) -> None:
    meaning = of(situation).meaning("stop")
    assert meaning is not None
    assert meaning.command is Command.STOP


def test_asleep_nothing_is_understood_without_the_name() -> None:
    assert all(phrase.startswith("coach") for phrase in of("asleep").meanings)


def test_the_name_can_be_another() -> None:
    phrases = load_grammar(grammar_path("asleep"), "Hello Robin").meanings
    assert "hello robin" in phrases
    assert all(phrase.startswith("hello robin") for phrase in phrases)


def test_only_holds_hear_the_end_of_a_hold() -> None:
    """ "done" is one sound away from "one": it must not be valid where numbers are."""
    having = {situation for situation in Situation if Command.DONE in commands(situation)}
    assert having == {Situation.HOLD, Situation.GROUP_HOLD}


def test_a_correction_is_one_phrase() -> None:
    meaning = of("number").meaning("no  Fifteen")
    assert meaning is not None
    assert (meaning.command, meaning.number) == (Command.NO, 15)


def test_in_a_group_a_number_tells_whose_hold_has_ended() -> None:
    for phrase in ("three done", "number three done", "three up", "participant three is up"):
        meaning = of("group-hold").meaning(phrase)
        assert meaning is not None, phrase
        assert (meaning.command, meaning.participant) == (Command.DONE, 3)


def test_a_bare_start_is_heard_and_means_nothing() -> None:
    """ "start" is two sounds away from "stop"."""
    meaning = of("ready").meaning("start")
    assert meaning is not None
    assert meaning.is_decoy


@pytest.mark.parametrize("situation", Situation)
def test_the_shipped_model_knows_every_word(situation: Situation, model: SpeechModel) -> None:
    assert model.missing(of(situation).words) == []


def test_a_users_own_grammar_may_import_the_shipped_rules(tmp_path: Path) -> None:
    path = tmp_path / "mine.jsgf"
    path.write_text(
        "#JSGF V1.0;\ngrammar mine;\nimport <common.stopping>;\n"
        "public <mine> = <stopping> | up {done};\n"
    )
    meanings = load_grammar(path).meanings
    assert meanings["up"].command is Command.DONE
    assert meanings["stop"].command is Command.STOP


def test_an_unknown_grammar_names_those_there_are() -> None:
    with pytest.raises(BadInput, match=r"nowhere: there is no such grammar \(known: .*hold"):
        grammar_path("nowhere")

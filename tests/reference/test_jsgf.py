"""Our reading of JSGF against the note and against pyjsgf's own matcher.

JSGF: Java Speech Grammar Format, W3C Note, 5 June 2000: self-identifying header (2.2), grammar
name (2.3), imports (2.4), rule precedence (4.6), tags (4.7).
"""

from __future__ import annotations

import random
import re
from pathlib import Path

import jsgf
import pytest

from coach.border import BadInput, data_path
from coach.ear.grammar import load_grammar
from coach.practice.words import Command, Situation

FILES = sorted(data_path("grammars").glob("*.jsgf"))


@pytest.fixture(params=Situation)
def situation(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def in_grammars(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(data_path("grammars"))  # where pyjsgf looks for imports
    return


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_files_carry_the_header_and_the_name_of_the_file(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "#JSGF V1.0;"
    assert f"grammar {path.stem};" in lines


@pytest.mark.usefixtures("in_grammars")
def test_every_phrase_is_matched_by_another_reader_with_the_same_tags(situation: str) -> None:
    ours = load_grammar(Path(f"{situation}.jsgf"))
    theirs = jsgf.parse_grammar_file(f"{situation}.jsgf")
    phrases = sorted(ours.meanings)
    for phrase in random.Random(0).sample(phrases, min(12, len(phrases))):
        rules = theirs.find_matching_rules(phrase)
        assert rules, phrase
        tags = set(rules[0].matched_tags)
        command = ours.meanings[phrase].command
        expected = {str(command)} if command not in (None, Command.NUMBER) else set()
        assert expected <= tags | {"number"}, phrase


@pytest.mark.usefixtures("in_grammars")
@pytest.mark.parametrize("text", ["", "banana", "stop banana", "yes no", "no no stop", "and"])
def test_what_the_other_reader_refuses_we_refuse(situation: str, text: str) -> None:
    theirs = jsgf.parse_grammar_file(f"{situation}.jsgf")
    assert theirs.find_matching_rules(text) == []
    assert load_grammar(Path(f"{situation}.jsgf")).meaning(text) is None


def test_precedence_as_in_the_note(tmp_path: Path) -> None:
    """4.6: a sequence binds closer than an alternative, a tag closest of all."""
    path = tmp_path / "p.jsgf"
    path.write_text(
        "#JSGF V1.0;\ngrammar p;\npublic <p> = go on {go-on} | [please] (stop | halt) {stop};\n"
    )
    meanings = load_grammar(path).meanings
    assert {phrase: m.command for phrase, m in meanings.items()} == {
        "go on": Command.GO_ON,
        "stop": Command.STOP,
        "halt": Command.STOP,
        "please stop": Command.STOP,
        "please halt": Command.STOP,
    }


def test_no_alternative_begins_with_a_group_and_goes_on() -> None:
    """pyjsgf 1.9 reads `(a | b) c | d` as `(a | b) (c | d)`: such lines need outer brackets."""
    for path in FILES:
        for rule in re.findall(r"<[\w-]+> =(.*?);", path.read_text(), re.DOTALL):
            alternatives = _alternatives(rule)
            for text in alternatives if len(alternatives) > 1 else []:
                after = re.sub(r"\{[\w-]+\}", "", text).strip()
                if after.startswith("("):
                    assert _closes_at_the_end(after), f"{path.name}: {text}"


def _alternatives(text: str) -> list[str]:
    """Split at `|` outside of brackets."""
    parts, depth = [""], 0
    for char in text:
        depth += {"(": 1, "[": 1, ")": -1, "]": -1}.get(char, 0)
        if char == "|" and depth == 0:
            parts.append("")
        else:
            parts[-1] += char
    return parts


def _closes_at_the_end(text: str) -> bool:
    depth = 0
    for at, char in enumerate(text):
        depth += {"(": 1, ")": -1}.get(char, 0)
        if depth == 0:
            return at == len(text) - 1
    return False


@pytest.mark.parametrize(
    ("body", "line", "reason"),
    [
        ("grammar x;\npublic <x> = stop {stop};", ":1:", "Expected '#JSGF'"),
        ("#JSGF V1.0;\ngrammar x;\n\npublic <x> = stop | (go {stop};\n", ":4:", "Expected"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = stop {halt-it};\n", "", "no such command"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = <y> {stop};\n", "", "no rule <y>"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = stop;\n", "", "needs one tag"),
        ("#JSGF V1.0;\ngrammar x;\n<x> = stop {stop};\n", "", "no public rule"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = (stop)+;\n", "", "have no end"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = a <x> {stop};\n", "", "never ends"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = go {count};\n", "", "not a number"),
        ("#JSGF V1.0;\ngrammar x;\npublic <x> = no {no} | no {yes};\n", "", "two meanings"),
        ("#JSGF V1.0;\ngrammar x;\nimport <nowhere.*>;\npublic <x> = <y> {no};", "", "nowhere"),
    ],
)
def test_a_broken_grammar_is_one_clear_line(
    tmp_path: Path, body: str, line: str, reason: str
) -> None:
    path = tmp_path / "x.jsgf"
    path.write_text(body)
    with pytest.raises(BadInput) as caught:
        load_grammar(path)
    message = str(caught.value)
    assert "\n" not in message
    assert "x.jsgf" + line in message or "nowhere" in message
    assert reason in message

from __future__ import annotations

from pathlib import Path

import pytest

from coach.border import BadInput
from coach.voice.lines import LineError, Lines, load_lines


@pytest.fixture
def write(tmp_path: Path) -> Path:
    return tmp_path / "en.toml"


def lines(path: Path, text: str) -> Lines:
    path.write_text(text)
    return load_lines(path)


def test_values_are_spoken_in_the_format_of_their_place(write: Path) -> None:
    said = lines(
        write,
        """
        [lines]
        result = "Hold {round:ordinal}: {held:tenths}, or about {held:duration}."
        pulse = "I heard {count:digits}, {count:number}. That is {bpm:number} a minute."
        hello = "Hello {who}. Are you okay?"
        mark = "{elapsed:call}"
        """,
    )
    assert said.text("result", {"round": 3, "held": 73.4}) == (
        "Hold third: seventy three point four seconds, or about one minute thirteen seconds."
    )
    assert said.text("pulse", {"count": 13, "bpm": 52}) == (
        "I heard one three, thirteen. That is fifty two a minute."
    )
    assert said.text("hello", {"who": "Mira"}) == "Hello Mira. Are you okay?"
    assert said.text("mark", {"elapsed": 310}) == "five ten"


def test_names_and_values_can_be_held_against_the_code(write: Path) -> None:
    said = lines(write, '[lines]\na = "{x:number} of {y}, {x:digits}"\nb = "Breathe."')
    assert said.names() == {"a", "b"}
    assert said.values_of("a") == {"x", "y"}
    assert said.values_of("b") == frozenset()


def test_hyphens_are_spaces_and_commas_stay_as_pauses(write: Path) -> None:
    said = lines(write, '[lines]\na = "Your check-in, and the breathe-up: {plan}"')
    assert said.text("a", {"plan": "O2 table"}) == "Your check in, and the breathe up: O two table"


def test_values_without_a_place_are_ignored(write: Path) -> None:
    assert lines(write, '[lines]\na = "Rest."').text("a", {"x": 1}) == "Rest."


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            '[lines]\na = "{x:wrong}"',
            "lines.a: there is no format 'wrong'; there are: call, digits",
        ),
        ('[lines]\na = "{x"', "lines.a: "),
        ('[lines]\na = "{}"', "lines.a: a place is written"),
        ('[lines]\na = "{x.y}"', "lines.a: a place is written"),
        ('[lines]\na = "{x!r}"', "lines.a: a place is written"),
        ('[lines]\na = "wait 10 seconds"', "lines.a: '1' cannot be spoken; write numbers"),
        ('[lines]\na = "50% of it"', "lines.a: '5' cannot be spoken"),
        ('[lines]\na = "in & out"', "lines.a: '&' cannot be spoken"),
        ('[lines]\na = "  "', "lines.a: is empty"),
        ("[lines]\na = 3", "lines.a: "),
        ('[line]\na = "x"', "line"),
        ("[lines", "is not valid TOML"),
    ],
)
def test_a_wrong_file_is_one_line_with_file_key_and_reason(
    write: Path, text: str, wanted: str
) -> None:
    with pytest.raises(BadInput) as refused:
        lines(write, text)
    message = str(refused.value)
    assert message.startswith(str(write))
    assert wanted in message
    assert "\n" not in message


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"no\.toml: there is no such file"):
        load_lines(tmp_path / "no.toml")


def test_asking_for_what_the_file_does_not_have_is_named(write: Path) -> None:
    said = lines(write, '[lines]\na = "{x:number}"')
    with pytest.raises(LineError, match="there is no line 'b'"):
        said.text("b", {})
    with pytest.raises(LineError, match="there is no line 'b'"):
        said.values_of("b")
    with pytest.raises(LineError, match=r"a: nobody gave a value for \{x\}"):
        said.text("a", {"y": 1})
    with pytest.raises(LineError, match=r"a: \{x:number\} needs a number, not 'ten'"):
        said.text("a", {"x": "ten"})

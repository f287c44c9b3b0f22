"""Every line that the core says is written down, can be filled in, and is one we want to hear."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

import coach
from coach.border import data_path
from coach.plans import plan_names
from coach.practice.events import Effect, Say, Sound, Value
from coach.practice.plan import Recovery, Relaxation, Talk, unrolled
from coach.practice.safety import PLACE_QUESTIONS, SAFE_ANSWERS
from coach.practice.words import Situation
from coach.voice.lines import Lines, load_lines
from coach.voice.tones import tone
from tests.practice.plans import shipped
from tests.practice.test_any_order import session

IN_A_HOLD = (Situation.HOLD, Situation.GROUP_HOLD)  # there "help" means that somebody is not well


@pytest.fixture(scope="module")
def lines() -> Lines:
    return load_lines(data_path("config", "lines", "en.toml"))


@pytest.fixture(scope="module")
def effects() -> list[Effect]:
    """All that a few hundred sessions by chance have said and sounded."""
    found: list[Effect] = []
    for seed in range(400):
        one = session(seed)
        handle = one.conductor.handle

        def listening(event: object, handle: object = handle) -> tuple[Effect, ...]:
            done: tuple[Effect, ...] = handle(event)  # type: ignore[operator]
            found.extend(done)
            return done

        one.conductor.handle = listening  # type: ignore[method-assign]
        one.play(150)
    return found


def test_every_line_that_was_said_can_be_spoken(lines: Lines, effects: list[Effect]) -> None:
    """Its name is in the file and every value that it needs was given."""
    said: dict[str, Mapping[str, Value]] = {}
    for effect in effects:
        if isinstance(effect, Say):
            said[effect.line] = effect.values
            assert lines.text(effect.line, effect.values)
    assert len(said) > 90  # chance has been nearly everywhere


def test_every_tone_that_was_sounded_can_be_made(effects: list[Effect]) -> None:
    names = {effect.name for effect in effects if isinstance(effect, Sound)}
    assert names == {
        "hold",
        "count",
        "count-end",
        "breathe-in",
        "breathe-out",
        "alarm",
        "heard",
        "deaf",
    }
    for name in names:
        assert tone(name, 16_000).duration_s > 0


def test_every_line_of_a_shipped_plan_is_written_down_and_needs_no_value(lines: Lines) -> None:
    for name in plan_names():
        for step in unrolled(shipped(name).steps):
            match step:
                case Talk():
                    named = set(step.lines)
                case Relaxation() | Recovery():
                    named = {spoken.line for spoken in step.lines}
                case _:
                    named = {lead_in} if (lead_in := getattr(step, "lead_in", "")) else set()
            for line in named:
                assert lines.values_of(line) == frozenset(), f"{name}: {line}"


# --- nothing dead in the file


def sources() -> Iterator[ast.Module]:
    for path in Path(coach.__file__).parent.rglob("*.py"):
        yield ast.parse(path.read_text(encoding="utf-8"))


def named_in_code() -> tuple[set[str], list[re.Pattern[str]]]:
    """Strings that may be names of lines, and patterns of names that are put together."""
    whole: set[str] = set()
    patterns: list[re.Pattern[str]] = []
    for module in sources():
        for node in ast.walk(module):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                whole.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [
                    re.escape(str(part.value)) if isinstance(part, ast.Constant) else "[a-z_0-9]+"
                    for part in node.values
                ]
                if isinstance(node.values[0], ast.Constant) and "_" in str(node.values[0].value):
                    patterns.append(re.compile("".join(parts)))
    return whole, patterns


def test_no_line_is_an_orphan(lines: Lines) -> None:
    whole, patterns = named_in_code()
    plans = "\n".join(
        data_path("config", "plans", f"{name}.toml").read_text(encoding="utf-8")
        for name in plan_names()
    )
    orphans = {
        name
        for name in lines.names()
        if not name.startswith(("rev_", "next_", "check_"))  # the report's and the room's
        and name not in whole
        and f'"{name}"' not in plans
        and not any(pattern.fullmatch(name) for pattern in patterns)
    }
    assert orphans == set()


def test_there_is_one_question_line_for_every_question(lines: Lines) -> None:
    asked = {name for name in lines.names() if name.startswith("clear_")}
    questions = {f"clear_{q.replace('-', '_')}" for q in SAFE_ANSWERS}
    questions |= {f"clear_{q}_group" for q in PLACE_QUESTIONS}
    around = {"clear_list_intro", "clear_list", "clear_one_answers"}
    assert asked == questions | around | {"clear_sure", "clear_sure_number"}


def test_there_is_help_for_every_situation_in_which_help_can_be_asked(lines: Lines) -> None:
    helps = {name for name in lines.names() if name.startswith("help_")}
    wanted = {f"help_{s.value.replace('-', '_')}" for s in Situation if s not in IN_A_HOLD}
    assert helps == wanted


# --- wording

URGING = (
    r"push|harder|hold on|hang on|keep going|don't give up|do not give up|come on|fight|stronger"
    r"|beat your|go further|a little longer|one more second|almost there|you can do|try to hold"
    r"|hurry|quick|must|failed|failure|bad|only \w+ seconds more|record|best yet|well done"
)


def spoken(lines: Lines, *, but: tuple[str, ...] = ()) -> list[tuple[str, str]]:
    """Every line as text, with places left open."""
    values = dict.fromkeys(
        {value for name in lines.names() for value in lines.values_of(name)}, 20.0
    )
    return [(n, lines.text(n, values)) for n in sorted(lines.names()) if not n.startswith(but)]


def test_no_line_urges_anybody_to_push_on(lines: Lines) -> None:
    for name, text in spoken(lines):
        assert not re.search(rf"\b({URGING})\b", text.lower()), f"{name}: {text}"


def test_lines_are_calm(lines: Lines) -> None:
    for name, text in spoken(lines):
        assert "!" not in text, name
        assert text == text.strip(), name
        assert not re.search(r"\b[A-Z]{3,}\b", text), name


def test_lines_are_short(lines: Lines) -> None:
    """What has to be heard lying down comes in sentences of at most 25 words, and few of them."""
    listing = ("clear_list", "help_")  # names of conditions, of words that can be said
    for name, text in spoken(lines, but=("rev_", "next_", "check_talk", *listing)):
        sentences = [part for part in re.split(r"[.?!:]", text) if part.strip()]
        assert max(len(part.split()) for part in sentences) <= 25, f"{name}: {text}"
        assert len(sentences) <= 4, f"{name}: {text}"


def test_what_is_said_in_and_right_after_a_hold_is_shortest(lines: Lines) -> None:
    texts = dict(spoken(lines))
    for name in ("hold_ended", "hold_cap", "check_in", "recovery_start", "pulse_ask"):
        assert len(texts[name].split()) <= 12, name
    for elapsed_s in range(10, 480, 5):
        assert len(lines.text("time_call", {"elapsed": float(elapsed_s)}).split()) <= 3


def test_the_cautions_are_spoken(lines: Lines) -> None:
    """Dry land, never alone in water, no fast breathing, stop at dizziness, a doctor first."""
    texts = dict(spoken(lines))
    welcome = " ".join(texts[n] for n in texts if n.startswith("safety_")).lower()
    for caution in ("never in water", "alone", "fast breathing", "stop", "head feels light"):
        assert caution in welcome, caution
    assert "doctor" in texts["refused_health"]
    assert "doctor" in texts["fainted_doctor"]
    for advice in ("call", "airway", "breathing", "help"):
        assert advice in texts["no_answer_end"]

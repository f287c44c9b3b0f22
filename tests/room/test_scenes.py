"""Every shipped scene, word for word: its script carries the lesson to the end it is meant to have.

The whole house runs but for recogniser and synthesiser: here the ear gets each utterance as it
is written in the scene and asks the real grammars what it means. So a failure means that a scene,
a grammar, a line or the core is wrong, not that somebody misheard. Heard with the real ear,
scenes are in tests/test_lesson.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pytest

from coach.border import data_path
from coach.ear.grammar import grammar_path, load_grammar
from coach.loop import Loop
from coach.plans import load_plan, refuse_unsafe
from coach.ports import Block, Clip, EarEvent
from coach.practice.conductor import Conductor
from coach.practice.events import Heard, Knocked, Knocks, Unclear
from coach.practice.kept import CheckIn, Kept, Note, Pulse
from coach.practice.safety import Limits, Person
from coach.room.people import Done, SceneLog
from coach.room.scene import Scene, load_scene
from coach.room.simulated import SimulatedRoom
from coach.room.truth import Row, truth
from coach.voice.lines import load_lines

T = TypeVar("T")

FOLDER = data_path("config", "scenes")
SCENES = [
    str(path.relative_to(FOLDER).with_suffix(""))
    for path in sorted(FOLDER.rglob("*.toml"))
    if path.parent.name != "plans" and load_scene(path).plan  # one plan, one session
]
SURE_AFTER_S = 0.3  # from the end of a word


class Hum:
    """A voice that hums about as long as speech would take."""

    name = "hum"

    def speak(self, text: str, rate_hz: int, speed: float = 1.0) -> Clip:
        t = np.arange(round((0.3 + len(text) / 15) * rate_hz)) / rate_hz
        return Clip(text, (0.1 * np.cos(2 * np.pi * 200 * t)).astype(np.float32), rate_hz)


class WordForWord:
    """An ear that reads the scene's script and understands it by the real grammars."""

    def __init__(self, log: SceneLog) -> None:
        self._log = log
        self._read = 0
        self._situation = "anytime"
        self._knocks = Knocks.OFF
        self.commands: list[str] = []

    def attend(self, situation: str, knocks: Knocks) -> None:
        self._situation, self._knocks = situation, knocks

    def feed(self, block: Block) -> list[EarEvent]:
        now_s = block.start_s + len(block.microphone) / 16_000
        events: list[EarEvent] = []
        acts = sorted(self._log.acts, key=lambda done: done.end_s)
        while self._read < len(acts) and acts[self._read].end_s + SURE_AFTER_S <= now_s:
            events += self._understood(acts[self._read], now_s)
            self._read += 1
        return events

    def _understood(self, done: Done, now_s: float) -> list[EarEvent]:
        if done.act.knock:
            heard = self._knocks is not Knocks.OFF
            return [Knocked(now_s, done.onset_s, done.act.knock)] if heard else []
        meaning = load_grammar(grammar_path(self._situation)).meaning(done.text.replace(",", ""))
        if meaning is None:
            return [Unclear(now_s, done.onset_s, done.end_s)]
        self.commands.append(str(meaning.command))
        return [
            Heard(
                now_s,
                done.onset_s,
                done.end_s,
                meaning.command,
                meaning.number,
                meaning.participant,
                done.text,
            )
        ]


class Ledger:
    """A store that only lists."""

    def __init__(self) -> None:
        self.kept: list[Kept] = []

    def keep(self, kept: Kept) -> None:
        self.kept.append(kept)

    def said(self, start_s: float, end_s: float, line: str, text: str, who: str = "coach") -> None:
        """Not looked at here."""

    def finish(self, ended_s: float, code: int, reason: str) -> Mapping[str, Any]:
        return {}


class Session:
    """One run of a scene."""

    def __init__(self, name: str) -> None:
        self.scene: Scene = load_scene(FOLDER / f"{name}.toml")
        plan = load_plan(Path(self.scene.plan))
        people = [
            Person(p.number, p.name, p.best_s, p.cleared)
            for p in self.scene.participants
            if p.number
        ]
        refuse_unsafe(plan, self.scene.plan, people, Limits(), alone=self.scene.alone)
        self.room = SimulatedRoom(self.scene, lambda _: Hum())
        self.ear = WordForWord(self.room.log)
        self.store = Ledger()
        lines = load_lines(data_path("config", "lines", "en.toml"))
        conductor = Conductor(plan, people, Limits(), alone=self.scene.alone)
        loop = Loop(self.room, Hum(), lines, self.ear, self.store, conductor)
        self.code = loop.run()
        self.reason = loop.reason
        self.rows: list[Row] = truth(self.room.log, self.store.kept)

    def kept(self, kind: type[T]) -> list[T]:
        return [value for value in self.store.kept if isinstance(value, kind)]


@cache
def run(name: str) -> Session:
    return Session(name)


@pytest.mark.parametrize("name", SCENES)
def test_the_scene_ends_as_it_says_and_what_is_kept_is_true(name: str) -> None:
    session = run(name)
    assert session.code == session.scene.exit_code
    assert session.room.now_s() < session.scene.limit_s
    for row in session.rows:
        assert row["error"] is not None, row
        assert abs(row["error"]) <= 0.001, row


@pytest.mark.parametrize("name", SCENES)
def test_nothing_in_the_script_is_left_out_unless_the_session_ends_early(name: str) -> None:
    session = run(name)
    if session.code == 0:
        done = {done.act for done in session.room.log.acts}
        once = {
            act
            for person in session.scene.participants
            for act in person.acts
            if (act.texts or act.knock) and act.nth == 1
        }
        assert once <= done


def test_a_scene_run_twice_keeps_the_same() -> None:
    assert Session("thirty").store.kept == run("thirty").store.kept


def test_the_misheard_count_of_the_demo_is_corrected_by_voice() -> None:
    before = run("demo").kept(Pulse)[0]
    assert (before.first_heard, before.beats, before.corrected) == (22, 21, True)


def test_late_answers_are_asked_for_again_and_all_count() -> None:
    session = run("late-answers")
    assert session.kept(CheckIn)[0].asked > 1
    assert session.kept(CheckIn)[0].answer == "okay"
    asked = [m.name for m in session.room.log.moments if m.name == "clearing:heart"]
    assert len(asked) == 3


def test_no_answer_after_a_hold_is_kept_as_such() -> None:
    session = run("never-answers")
    assert [(check.answer, check.reply_after_s) for check in session.kept(CheckIn)] == [
        ("none", None)
    ]
    assert {"alarm", "contact"} <= {note.what for note in session.kept(Note)}


def test_calls_go_on_for_as_long_as_the_hold() -> None:
    calls = [row for row in run("long-hold").rows if row["what"].startswith("call")]
    assert len(calls) == 30
    assert calls[-1]["what"] == "call main 300 s"


def test_thirty_is_counted_again_over_a_longer_window() -> None:
    assert [pulse.beats for pulse in run("thirty").kept(Pulse)][:2] == [30, 59]


@pytest.mark.parametrize("name", ["talks-along", "friend-talks"])
def test_talk_about_other_things_is_no_command(name: str) -> None:
    session = run(name)
    talk = [done for done in session.room.log.acts if done.act.every_s]
    assert len(talk) > 5
    answers = [done for done in session.room.log.acts if done.act.texts and not done.act.every_s]
    assert len(session.ear.commands) <= len(answers)

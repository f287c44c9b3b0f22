"""A room that is lost and comes back, a disk that fails, a program that is ended."""

from __future__ import annotations

import pytest

from coach.practice import plan as steps
from coach.practice.conductor import Conductor
from coach.practice.events import (
    Begin,
    CueDone,
    Finish,
    Heard,
    Hush,
    Interrupted,
    KeepFailed,
    Rank,
    RoomBack,
    RoomLost,
    Say,
    Unclear,
)
from coach.practice.kept import Note
from coach.practice.phases import Because, Phase
from coach.practice.safety import Limits, Person
from tests.practice.plans import count, one_hold, plan
from tests.practice.rehearsal import Rehearsal, back, cooperative, heard, interrupted, lost
from tests.practice.test_steering import LESSON, PHASES, WILLING

WAITING = ["speaking", "relaxing", "asking", "ready", "counting", "taking", "read back"]
ON_BY_THE_CLOCK = ["holding", "watched", "checking"]


def broken(phase: str, after_s: float = 20.0) -> Rehearsal:
    """The room is lost once in that phase and comes back."""
    line, delay_s = PHASES[phase]
    first = Rehearsal(LESSON, {line: [(delay_s, lost())]}, always=WILLING, limit_s=900.0).run()
    lost_s = next(k.at_s for k in first.kept if isinstance(k, Note) and k.what == "room lost")
    session = Rehearsal(LESSON, {line: [(delay_s, lost())]}, always=WILLING)
    return session.at(lost_s + after_s, back()).run()


@pytest.mark.parametrize("phase", PHASES)
def test_a_room_that_comes_back_costs_nothing_but_time(phase: str) -> None:
    session = broken(phase, after_s=5.0)
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (0, "done")
    assert session.ends == {("one", 1): 120.0 if phase == "holding" else 40.0}
    assert session.beats == {("before", 1): 20}
    assert session.well == {("one", 1): "okay"}
    assert session.notes == ["room lost", "room back"]
    assert "room_back" in session.lines


@pytest.mark.parametrize("phase", PHASES)
def test_a_lost_room_is_told_by_a_tone_made_without_the_voice(phase: str) -> None:
    assert broken(phase).lines.count("deaf") == 1


@pytest.mark.parametrize("phase", WAITING)
def test_what_can_wait_waits(phase: str) -> None:
    session = broken(phase, after_s=50.0)
    usual = Rehearsal(LESSON, always=WILLING).run()
    assert session.now_s - usual.now_s >= 45.0


@pytest.mark.parametrize("phase", WAITING)
def test_nothing_is_said_into_a_lost_room(phase: str) -> None:
    session = broken(phase, after_s=50.0)
    notes = {k.what: k.at_s for k in session.kept if isinstance(k, Note)}
    said = [n for t, n in session.said if notes["room lost"] < t < notes["room back"]]
    assert said in ([], ["deaf"])  # a tone, for whoever can still hear it


@pytest.mark.parametrize("phase", ON_BY_THE_CLOCK)
def test_hold_watch_and_check_in_go_on_by_the_clock(phase: str) -> None:
    line, delay_s = PHASES[phase]
    always = {k: v for k, v in WILLING.items() if not k.startswith(("check-in", "hold:"))}
    session = Rehearsal(LESSON, {line: [(delay_s, lost())]}, always=always).run()
    assert session.escalations == ["alarm", "contact"]
    assert session.finish is not None
    assert session.finish.reason == "no answer"


def test_after_the_check_in_a_lost_room_is_waited_for() -> None:
    """Nobody is asked for a pulse that can not be heard; nor does the session run away."""
    lesson = plan(*one_hold().steps, count())
    always = WILLING | {"hold:one": (15.0, lost()), "check_in": (-0.5, heard("okay"))}
    session = Rehearsal(lesson, always=always, limit_s=900.0).run()
    assert session.finish is None
    assert session.conductor.phase is Phase.LOST
    assert "pulse_find" not in session.lines
    again = Rehearsal(lesson, always=always).at(400.0, back()).run()
    assert again.finish is not None
    assert again.finish.code == 0
    assert again.beats == {("before", 1): 20}


def test_a_room_lost_in_the_last_words_does_not_hold_them_up() -> None:
    session = Rehearsal(
        LESSON, {"welcome": [(-0.5, heard("stop"))], "stopped": [(-0.5, lost())]}
    ).run()
    assert session.finish is not None
    assert session.finish.reason == "stopped"


def test_a_room_lost_in_a_pause_leaves_it_a_pause() -> None:
    turns = {"settle": [(-0.5, heard("pause"))]}
    session = Rehearsal(LESSON, turns, always=WILLING)
    session.at(20.0, lost()).at(25.0, lost("loudspeaker")).at(40.0, back())
    session.at(50.0, heard("go-on")).run()
    assert session.finish is not None
    assert session.finish.code == 0
    assert session.notes == ["paused", "room lost", "room lost", "room back", "went on"]
    assert session.time_of("settle", 1) >= 50.0


@pytest.mark.parametrize(
    "word", ["pause", "skip", "repeat", "yes", "start", "add-thirty", "louder"]
)
def test_words_into_a_half_lost_room_do_nothing(word: str) -> None:
    session = Rehearsal(LESSON, {"welcome": [(-0.5, lost("loudspeaker"))]}, limit_s=60.0)
    session.at(10.0, heard(word)).run()
    assert session.conductor.phase is Phase.LOST
    assert session.notes == ["room lost"]


@pytest.mark.parametrize(("word", "reason"), [("stop", "stopped"), ("dizzy", "dizzy")])
def test_stop_and_not_well_count_even_there(word: str, reason: str) -> None:
    always = {"check-in:session afterwards": (1.0, heard("okay"))}
    session = Rehearsal(LESSON, {"welcome": [(-0.5, lost("loudspeaker"))]}, always=always)
    session.at(10.0, heard(word)).run()
    assert session.finish is not None
    assert session.finish.reason == reason


def test_a_room_that_was_never_lost_may_be_back() -> None:
    session = Rehearsal(LESSON, {"welcome": [(-0.5, back())]}, always=WILLING).run()
    assert session.finish is not None
    assert session.finish.code == 0


# --- the disk


def test_what_cannot_be_kept_ends_the_session_and_says_why() -> None:
    session = Rehearsal(LESSON, always=WILLING, full=frozenset({"answer:heart:1"})).run()
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "cannot keep")
    assert session.lines[-1] == "cannot_keep"
    assert session.values_of("cannot_keep") == [{"reason": "no space left"}]


def test_nothing_is_called_kept_that_is_not() -> None:
    """The line that says so follows the value; when that fails it is never spoken."""
    session = Rehearsal(LESSON, always=WILLING, full=frozenset({"pulse:before:1"})).run()
    assert "kept" not in session.lines
    hold = Rehearsal(LESSON, always=WILLING, full=frozenset({"hold:one:1"})).run()
    assert "hold_result" not in hold.lines


def test_a_disk_that_fails_in_a_hold_says_so_above_the_calls() -> None:
    session = Rehearsal(one_hold(), always=WILLING, full=frozenset({"hold:one:1"})).run()
    failed = [e for _, e in session.effects if isinstance(e, Say) and e.line == "cannot_keep"]
    assert failed[0].rank is Rank.SAFETY
    assert any(isinstance(e, Hush) for _, e in session.effects)
    assert session.calls == []


def test_a_disk_that_fails_with_the_very_last_value_still_ends_the_session() -> None:
    """An end by Ctrl-C keeps the hold as interrupted; when that fails, `Finish` must still come."""
    conductor = Conductor(one_hold(), [Person(1)], Limits())
    conductor.handle(Begin(0.0))
    effects = conductor.handle(Interrupted(1.0))
    assert isinstance(effects[-1], Finish)
    assert conductor.handle(KeepFailed(1.0, "no space left")) == (Finish(1, "cannot keep"),)
    assert conductor.handle(Interrupted(2.0)) == ()


# --- the end from outside


@pytest.mark.parametrize("phase", PHASES)
def test_an_interrupted_session_ends_at_once_in_every_phase(phase: str) -> None:
    line, delay_s = PHASES[phase]
    session = Rehearsal(LESSON, {line: [(delay_s, interrupted())]}, always=WILLING).run()
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "interrupted")


def test_an_interrupted_hold_is_kept_as_such() -> None:
    session = Rehearsal(one_hold(), {"hold:one": [(15.0, interrupted())]}, always=WILLING).run()
    (hold,) = session.holds
    assert (hold.end_s, hold.ended_by) == (None, "interrupted")


def test_what_was_kept_before_stays() -> None:
    session = Rehearsal(LESSON, {"check_in": [(0.2, interrupted())]}, always=WILLING).run()
    assert session.ends == {("one", 1): 40.0}
    assert session.beats == {("before", 1): 20}


# --- the edges of a session


def test_before_the_beginning_nothing_happens_and_after_the_end_nothing_more() -> None:
    conductor = Conductor(LESSON, [Person(1)], Limits())
    for early in (
        Heard(0.0, 0.0, 0.0, "stop"),
        Unclear(0.0, 0.0, 0.0),
        RoomLost(0.0, "microphone"),
        RoomBack(0.0),
        CueDone(0.0, 1, 0.0),
    ):
        assert conductor.handle(early) == ()
    assert conductor.phase is Phase.IDLE
    assert conductor.handle(Begin(0.0))
    assert conductor.handle(Begin(1.0)) == ()
    conductor.handle(Interrupted(2.0))
    assert conductor.handle(Heard(3.0, 3.0, 3.0, "start")) == ()


def test_interrupted_before_the_beginning_is_an_end_too() -> None:
    conductor = Conductor(LESSON, [Person(1)], Limits())
    assert conductor.handle(Interrupted(0.0)) == (Finish(1, "interrupted"),)


def test_cues_begin_where_the_room_says() -> None:
    conductor = Conductor(LESSON, [Person(1)], Limits(), first_cue=500)
    said = [e for e in conductor.handle(Begin(0.0)) if isinstance(e, Say)]
    assert said[0].cue > 500


def test_time_does_not_run_backwards() -> None:
    calm = plan(steps.Relaxation("relaxation", "calm", 20.0, (steps.Spoken(5.0, "relax_face"),)))
    conductor = Conductor(calm, [Person(1)], Limits())
    conductor.handle(Begin(100.0))
    conductor.handle(Unclear(50.0, 50.0, 50.0))
    assert conductor.stage.now_s == 100.0


def test_a_way_that_is_not_in_the_table_is_a_fault_of_ours() -> None:
    conductor = Conductor(LESSON, [Person(1)], Limits())
    with pytest.raises(AssertionError, match="is not in the table"):
        conductor._move(Because.PAUSE, Phase.PAUSED)


def test_willing_people_are_willing() -> None:
    assert set(cooperative(["one"], {"before": 20})) == set(WILLING)


def test_nothing_was_asked_yet_when_a_waiting_question_is_given_up() -> None:
    """The room is lost while the last check-in goes on; the pulse that follows is never begun."""
    lesson = plan(*one_hold().steps, steps.Clearing("clearing", ("well",)))
    always = WILLING | {"hold:one": (15.0, lost()), "check_in": (-0.5, heard("okay"))}
    session = Rehearsal(lesson, always=always).at(500.0, interrupted()).run()
    assert session.finish is not None
    assert session.finish.reason == "interrupted"
    assert "clear_well" not in session.lines

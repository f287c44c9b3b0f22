"""After a hold: watched, asked, asked again louder, alarm, contact; and what is kept of it."""

from __future__ import annotations

from typing import Any

import pytest

from coach.practice.events import Hush, Rank, Say, Sound
from coach.practice.plan import Talk
from coach.practice.safety import UNWELL_ANSWERS, Limits, Person
from tests.practice.plans import CLEARING, RECOVERY, count, hold, one_hold, plan
from tests.practice.rehearsal import Rehearsal, back, cooperative, heard, lost, unclear

ONE = one_hold()
WILLING = cooperative(["one"])
UNANSWERED = {k: v for k, v in WILLING.items() if not k.startswith("check-in")}


def silent(**other: Any) -> Rehearsal:
    return Rehearsal(ONE, always=UNANSWERED | other).run()


def answered(after_s: float, command: str = "okay", **given: Any) -> Rehearsal:
    """The answer begins to sound so long after the end of the first question."""
    turns = {"check-in:one": [(after_s, heard(command))]}
    return Rehearsal(ONE, turns, always=UNANSWERED, **given).run()


def test_okay_is_kept_with_the_time_it_took() -> None:
    session = answered(2.0)
    (one,) = session.check_ins
    assert (one.answer, one.asked, one.participant, one.label) == ("okay", 1, 1, "one")
    assert one.reply_after_s == pytest.approx(2.0)
    assert session.lines[-1] == "check_in_thanks"
    assert session.escalations == []


def test_yes_is_an_answer_too() -> None:
    assert answered(2.0, "yes").well == {("one", 1): "okay"}


def test_an_answer_while_the_question_is_still_sounding_counts() -> None:
    session = answered(-0.9)
    assert session.well == {("one", 1): "okay"}
    assert session.check_ins[0].reply_after_s is None  # nothing to count from yet


def test_the_watch_before_the_question_is_as_long_as_the_limit_says() -> None:
    session = answered(2.0, limits=Limits(watch_s=45.0))
    end_s = session.holds[0].end_s
    assert end_s is not None
    assert session.time_of("check_in") - end_s >= 45.0


def test_it_is_asked_again_louder_in_the_middle_of_the_window() -> None:
    session = answered(9.5)
    asked = [(t, s) for t, s in session.spoken if isinstance(s, Say) and s.line == "check_in"]
    assert len(asked) == 2
    assert asked[1][0] - (asked[0][0] + 1.0) == pytest.approx(7.5)
    assert asked[1][1].gain_db > asked[0][1].gain_db
    assert session.check_ins[0].asked == 2
    assert session.check_ins[0].reply_after_s == pytest.approx(9.5)
    assert session.finish is not None
    assert session.finish.code == 0


def test_silence_is_escalated_step_by_step() -> None:
    session = silent()
    first_s = session.time_of("check_in") + 1.0
    alarms = [t for t, name in session.said if name == "alarm"]
    assert alarms[0] - first_s == pytest.approx(16.0)  # the window, and a second for the ear
    assert alarms[1] - alarms[0] == pytest.approx(10.0)
    assert session.escalations == ["alarm", "contact"]
    contact_s = next(t for t, e in session.effects if getattr(e, "reason", "") == "contact")
    assert contact_s - alarms[0] == pytest.approx(10.0)
    assert session.lines.count("check_in_alarm") == session.lines.count("alarm")


def test_the_alarm_is_louder_than_speech_and_above_everything() -> None:
    session = silent()
    alarm = next(s for _, s in session.spoken if isinstance(s, Sound) and s.name == "alarm")
    assert alarm.gain_db >= 12.0
    assert alarm.rank is Rank.SAFETY


def test_after_a_minute_of_alarm_the_session_ends_and_says_what_to_do() -> None:
    session = silent()
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "no answer")
    assert session.lines[-1] == "no_answer_end"
    alarms = [t for t, name in session.said if name == "alarm"]
    assert session.time_of("no_answer_end") - alarms[0] >= 60.0
    (one,) = session.check_ins
    assert (one.answer, one.reply_after_s, one.source.by) == ("none", None, "nobody")
    assert {"alarm", "contact"} <= set(session.notes)


@pytest.mark.parametrize("alarm", [1, 3, 5])
def test_a_late_answer_stops_the_alarm_and_ends_the_session(alarm: int) -> None:
    turns = {"check_in_alarm": [(99.0, heard("pause"))] * (alarm - 1) + [(1.0, heard("okay"))]}
    session = Rehearsal(ONE, turns, always=UNANSWERED).run()
    assert session.lines.count("alarm") == alarm
    assert session.well == {("one", 1): "okay"}
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "late answer")
    assert session.lines[-1] == "late_answer_end"
    assert any(isinstance(e, Hush) and e.rank is Rank.SAFETY for _, e in session.effects)
    assert "answered late" in session.notes


def test_what_is_unclear_is_asked_again_at_once_and_the_window_goes_on() -> None:
    session = Rehearsal(ONE, always=UNANSWERED | {"check-in:one": (3.0, unclear())}).run()
    assert session.lines.count("check_in") > 2
    assert "pardon" not in session.lines  # a second answer must still fit into the window
    alarm_s = session.time_of("alarm")
    assert alarm_s - (session.time_of("check_in") + 1.0) == pytest.approx(16.0)


@pytest.mark.parametrize("word", ["pause", "skip", "repeat", "how-long", "go-on", "louder", "help"])
def test_no_word_but_an_answer_holds_the_alarm_up(word: str) -> None:
    session = Rehearsal(ONE, always=UNANSWERED | {"check-in:one": (3.0, heard(word))}).run()
    alarm_s = session.time_of("alarm")
    assert alarm_s - (session.time_of("check_in") + 1.0) == pytest.approx(16.0)
    assert session.escalations == ["alarm", "contact"]


def test_the_recovery_is_neither_skipped_nor_paused() -> None:
    for word in ("skip", "pause"):
        session = Rehearsal(ONE, always=WILLING | {"recovery:one": (2.0, heard(word))}).run()
        assert "cannot_skip" in session.lines
        assert "paused" not in session.notes
        watched_s = session.time_of("check_in") - session.time_of("recovery_start")
        assert watched_s == pytest.approx(29.0, abs=1.1)


def test_the_check_in_comes_by_the_clock_even_when_the_room_is_lost() -> None:
    session = Rehearsal(ONE, always=UNANSWERED | {"recovery:one": (5.0, lost())}).run()
    assert session.escalations == ["alarm", "contact"]
    assert session.finish is not None
    assert session.finish.reason == "no answer"


def test_a_room_that_is_lost_in_the_check_in_does_not_stop_the_clock() -> None:
    always = UNANSWERED | {"check-in:one": (1.0, lost()), "check_in_alarm": (2.0, back())}
    session = Rehearsal(ONE, always=always).run()
    assert session.escalations == ["alarm", "contact"]


# --- not well


@pytest.mark.parametrize("word", [*UNWELL_ANSWERS, "no"])
def test_who_is_not_well_is_told_what_to_do_watched_and_asked_again(word: str) -> None:
    always = UNANSWERED | {
        "check-in:one": (1.0, heard(word)),
        "check-in:one afterwards": (1.0, heard("okay")),
    }
    session = Rehearsal(plan(*ONE.steps, count()), always=always).run()
    answer = "unwell" if word == "no" else word
    assert session.well == {("one", 1): answer, ("one afterwards", 1): "okay"}
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, answer)
    assert ("fainted_doctor" in session.lines) == (word == "fainted")
    assert session.time_of("check_in", 1) - session.time_of("unwell_stop") >= 30.0
    assert session.lines[-1] == "unwell_end"
    assert "pulse_find" not in session.lines  # nothing of the lesson follows
    assert answer in session.notes


def test_who_is_not_well_and_then_silent_is_escalated() -> None:
    session = Rehearsal(ONE, always=UNANSWERED | {"check-in:one": (1.0, heard("dizzy"))}).run()
    assert session.escalations == ["alarm", "contact"]
    assert session.well == {("one", 1): "dizzy", ("one afterwards", 1): "none"}


def test_who_says_it_twice_is_kept_twice() -> None:
    turns = {"unwell_help": [(0.2, heard("fainted"))]}
    always = UNANSWERED | {
        "check-in:one": (1.0, heard("dizzy")),
        "check-in:one afterwards": (1.0, heard("okay")),
    }
    session = Rehearsal(ONE, turns, always=always).run()
    said = [c.answer for c in session.check_ins]
    assert said == ["dizzy", "fainted", "okay"]
    assert session.finish is not None
    assert session.finish.reason == "fainted"


@pytest.mark.parametrize("line", ["welcome", "settle", "recovery_start", "check_in_thanks"])
def test_it_may_be_said_at_any_time(line: str) -> None:
    lesson = plan(Talk("talk", ("welcome", "settle")), *ONE.steps, count())
    always = WILLING | {
        line: (0.1, heard("tingling")),
        "check-in:one afterwards": (1.0, heard("okay")),
        "check-in:session afterwards": (1.0, heard("okay")),
    }
    session = Rehearsal(lesson, always=always).run()
    assert session.finish is not None
    assert session.finish.reason == "tingling"
    assert "pulse_ask" not in session.lines
    answers = [c.answer for c in session.check_ins]
    assert answers[-2:] == ["tingling", "okay"]


def test_a_word_in_a_hold_ends_it_there() -> None:
    always = WILLING | {
        "hold:one": (25.0, heard("dizzy")),
        "check-in:one afterwards": (1.0, heard("okay")),
    }
    session = Rehearsal(ONE, always=always).run()
    assert session.ends == {("one", 1): 25.0}
    assert session.holds[0].ended_by == "stop"
    assert session.well[("one", 1)] == "dizzy"
    assert session.lines.index("hold_ended") < session.lines.index("unwell_stop")
    assert "recovery_start" not in session.lines


def test_before_the_mark_it_ends_the_session_without_a_hold() -> None:
    lesson = plan(CLEARING, hold(lead_in="hold_lead_in"), RECOVERY)
    session = Rehearsal(lesson, always=WILLING | {"hold_lead_in": (0.5, heard("dizzy"))}).run()
    assert session.holds == []
    assert "hold" not in session.lines


# --- a group

GROUP = [Person(1), Person(2), Person(3)]


def group(**other: Any) -> Rehearsal:
    always = cooperative(["one"])
    for number in (1, 2, 3):
        always |= {
            f"clearing:any-of-these:{number}": (0.5, heard("no")),
            f"check-in:one:{number}": (1.0, heard("okay")),
            f"check-in:one afterwards:{number}": (1.0, heard("okay")),
        }
    always |= {"hold:one": (40.0, heard("stop-all"))}
    always = {k: v for k, v in (always | other).items() if v is not None}
    return Rehearsal(ONE, people=GROUP, alone=False, always=always).run()


def test_the_check_in_covers_each_person() -> None:
    session = group()
    assert [v["participant"] for v in session.values_of("check_in_number")] == [1, 2, 3]
    assert session.well == {("one", 1): "okay", ("one", 2): "okay", ("one", 3): "okay"}


def test_an_answer_for_somebody_else_is_not_taken() -> None:
    session = group(**{"check-in:one:1": (1.0, heard("okay", who=2))})
    assert session.well[("one", 1)] == "none"


def test_who_answers_late_in_a_group_sits_out_and_the_others_go_on() -> None:
    session = group(**{"check-in:one:1": (30.0, heard("okay"))})
    assert session.well == {("one", 1): "okay", ("one", 2): "okay", ("one", 3): "okay"}
    assert session.values_of("sits_out_late") == [{"participant": 1}]
    assert {"alarm", "answered late", "sits out"} <= set(session.notes)
    assert session.finish is not None
    assert session.finish.reason == "done"


def test_who_does_not_answer_in_a_group_is_named_in_the_alarm() -> None:
    session = group(**{"check-in:one:2": None})
    assert session.values_of("check_in_alarm")[0] == {"participant": 2}
    assert session.well == {("one", 1): "okay", ("one", 2): "none"}


def test_at_the_end_the_others_are_told_who_it_is_and_to_look_at_each_other() -> None:
    session = group(**{"check-in:one:2": None})
    assert session.lines[-3:] == ["no_answer_number", "no_answer_end", "no_answer_others"]
    assert session.values_of("no_answer_number") == [{"participant": 2}]


def test_when_nobody_knows_who_is_not_well_all_are_asked() -> None:
    session = group(**{"hold:one": (20.0, heard("unwell"))})
    assert set(session.ends.values()) == {None}  # who was up before, nobody can say now
    afterwards = {who: a for (label, who), a in session.well.items() if label == "one afterwards"}
    assert afterwards == {1: "okay", 2: "okay", 3: "okay"}
    assert ("one", 1) not in session.well  # nobody is made the one who said it


def test_who_gives_a_number_is_asked_first() -> None:
    session = group(**{"hold:one": (20.0, heard("dizzy", who=3))})
    assert session.well[("one", 3)] == "dizzy"
    asked = [v["participant"] for v in session.values_of("check_in_number")]
    assert asked == [3, 1, 2]

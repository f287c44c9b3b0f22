"""The questions before a hold: no hold without every safe answer, and no answer is a no."""

from __future__ import annotations

import pytest

from coach.practice.kept import NOBODY, Answer
from coach.practice.safety import HEALTH_QUESTIONS, PLACE_QUESTIONS, SAFE_ANSWERS, Person
from tests.practice.plans import CLEARING, RECOVERY, UNCHANGED, hold, plan
from tests.practice.rehearsal import Rehearsal, Reply, cooperative, heard, unclear

ONE = plan(CLEARING, hold(), RECOVERY)
AGAIN = plan(UNCHANGED, hold(), RECOVERY)
UNSAFE = {"yes": "no", "no": "yes"}


def asked(session: Rehearsal) -> list[str]:
    return [line for line in session.lines if line.startswith("clear_")]


def test_every_question_is_asked_once_and_answered_by_voice() -> None:
    session = Rehearsal(ONE, always=cooperative(["one"])).run()
    names = [f"clear_{q}" for q in (*PLACE_QUESTIONS, *HEALTH_QUESTIONS)]
    assert asked(session) == names
    assert session.answers[("heart", 1)] == "no"
    assert session.answers[("dry", 0)] == "yes"
    assert len(session.holds) == 1


@pytest.mark.parametrize("question", [*PLACE_QUESTIONS, *HEALTH_QUESTIONS])
def test_an_unsafe_answer_that_is_confirmed_ends_the_session(question: str) -> None:
    wrong = [(0.5, heard(UNSAFE[SAFE_ANSWERS[question]])), (0.5, heard("yes"))]
    session = Rehearsal(ONE, {f"clearing:{question}": wrong}, always=cooperative(["one"])).run()
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "not cleared")
    assert "hold" not in session.lines
    assert not session.holds
    who = 0 if question in PLACE_QUESTIONS else 1
    assert session.answers[(question, who)] == UNSAFE[SAFE_ANSWERS[question]]
    topic = "place" if question in PLACE_QUESTIONS else "health"
    assert session.lines[-2:] == [f"refused_{topic}", "refused_rest"]


@pytest.mark.parametrize("question", ["near", "lungs"])
def test_a_misheard_answer_is_asked_back_and_mended(question: str) -> None:
    wrong = UNSAFE[SAFE_ANSWERS[question]]
    turns = [(0.5, heard(wrong)), (0.5, heard("no")), (0.5, heard(SAFE_ANSWERS[question]))]
    session = Rehearsal(ONE, {f"clearing:{question}": turns}, always=cooperative(["one"])).run()
    assert session.finish is not None
    assert session.finish.code == 0
    assert session.values_of("clear_sure")[0]["answer"] == wrong
    assert session.lines.count(f"clear_{question}") == 2
    assert len(session.holds) == 1


def test_an_unsafe_answer_that_nobody_confirms_is_not_cleared() -> None:
    turns = [(0.5, heard("yes"))]
    always = {k: v for k, v in cooperative(["one"]).items() if k != "clearing:heart"}
    session = Rehearsal(ONE, {"clearing:heart": turns}, always=always).run()
    assert session.answers[("heart", 1)] == "none"
    assert session.lines[-2] == "refused_unanswered"
    assert not session.holds


@pytest.mark.parametrize("question", [*PLACE_QUESTIONS, *HEALTH_QUESTIONS])
def test_a_question_without_an_answer_is_asked_three_times_and_not_cleared(question: str) -> None:
    always = {k: v for k, v in cooperative(["one"]).items() if k != f"clearing:{question}"}
    session = Rehearsal(ONE, always=always).run()
    assert asked(session).count(f"clear_{question}") == 3
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "not cleared")
    assert "hold" not in session.lines
    kept = next(k for k in session.kept if isinstance(k, Answer) and k.question == question)
    assert (kept.answer, kept.source) == ("none", NOBODY)


def test_it_is_asked_a_little_louder_each_time() -> None:
    session = Rehearsal(ONE).run()
    gains = [s.gain_db for _, s in session.spoken if getattr(s, "line", "") == "clear_dry"]
    assert gains == [0.0, 4.0, 8.0]
    between = session.time_of("clear_dry", 1) - session.time_of("clear_dry", 0)
    assert between >= 1.0 + 5.0  # a reply window under a second would cut people off


def test_talk_that_is_no_answer_is_asked_back_twice_and_never_taken() -> None:
    always = {"clearing:dry": (0.5, unclear())}
    session = Rehearsal(ONE, always=always).run()
    assert session.lines.count("pardon") == 2
    assert session.answers == {("dry", 0): "none"}
    assert "hold" not in session.lines


@pytest.mark.parametrize("word", ["skip", "go-on", "okay", "done", "start", "add-thirty", "easier"])
def test_no_other_word_answers_or_skips_a_question(word: str) -> None:
    always = {k: v for k, v in cooperative(["one"]).items() if k != "clearing:heart"}
    session = Rehearsal(ONE, always=always | {"clear_heart": (0.5, heard(word))}).run()
    assert "hold" not in session.lines
    assert session.answers[("heart", 1)] == "none"


def test_a_number_is_no_answer() -> None:
    always = cooperative(["one"]) | {"clearing:dry": (0.5, heard(number=4))}
    assert Rehearsal(ONE, always=always).run().answers == {("dry", 0): "none"}


# --- people who were cleared before


def test_who_was_cleared_before_is_asked_whether_it_is_still_so() -> None:
    people = [Person(1, cleared=True)]
    session = Rehearsal(AGAIN, people=people, always=cooperative(["one"])).run()
    names = [*PLACE_QUESTIONS, "unchanged", "well"]
    assert asked(session) == [f"clear_{q}" for q in names]
    assert len(session.holds) == 1


def test_who_was_never_cleared_hears_the_whole_list_instead() -> None:
    session = Rehearsal(AGAIN, people=[Person(1)], always=cooperative(["one"])).run()
    names = [*PLACE_QUESTIONS, *HEALTH_QUESTIONS, "well"]
    assert asked(session) == [f"clear_{q}" for q in names]
    assert "clear_unchanged" not in session.lines


@pytest.mark.parametrize("question", ["unchanged", "well"])
def test_a_change_or_a_bad_day_ends_it(question: str) -> None:
    turns = [(0.5, heard("no")), (0.5, heard("yes"))]
    replies = {f"clearing:{question}": turns}
    people = [Person(1, cleared=True)]
    session = Rehearsal(AGAIN, replies, people=people, always=cooperative(["one"])).run()
    assert "hold" not in session.lines
    assert session.lines[-2] == "refused_health"


# --- a group

GROUP = [Person(1), Person(2), Person(3)]


def roll(**answers: str) -> dict[str, list[tuple[float, Reply]]]:
    return {
        f"clearing:any-of-these:{n.removeprefix('p')}": [(0.5, heard(a)), (0.5, heard("yes"))]
        for n, a in answers.items()
    }


def group(**answers: str) -> Rehearsal:
    always = cooperative(["one"])
    for number in (1, 2, 3):
        always |= {f"check-in:one:{number}": (1.0, heard("okay"))}
    replies = roll(**answers)
    return Rehearsal(ONE, replies, people=GROUP, alone=False, always=always).run()


def test_a_group_hears_the_list_once_and_each_is_asked() -> None:
    session = group(p1="no", p2="no", p3="no")
    place = ["clear_dry_group", "clear_posture_group", "clear_near_group"]
    roll = ["clear_any_of_these"] * 3
    assert asked(session) == ["clear_one_answers", *place, "clear_list_intro", "clear_list", *roll]
    assert {h.participant for h in session.holds} == {1, 2, 3}


def test_who_is_not_cleared_sits_out_and_is_not_led_into_a_hold() -> None:
    session = group(p1="no", p2="yes", p3="no")
    assert {h.participant for h in session.holds} == {1, 3}
    assert session.values_of("sits_out") == [{"participant": 2}]
    assert "sits out" in session.notes
    assert session.answers[("any-of-these", 2)] == "yes"
    assert ("one", 2) not in session.well


def test_who_does_not_answer_sits_out_too() -> None:
    session = group(p1="no", p3="no")
    assert {h.participant for h in session.holds} == {1, 3}
    assert session.answers[("any-of-these", 2)] == "none"


def test_when_all_sit_out_there_is_no_hold() -> None:
    session = group(p1="yes", p2="yes", p3="yes")
    assert "hold" not in session.lines
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "not cleared")
    assert session.lines[-2:] == ["refused_health", "refused_rest"]


def test_a_place_that_is_not_safe_ends_it_for_all() -> None:
    replies = {"clearing:dry": [(0.5, heard("no")), (0.5, heard("yes"))]}
    session = Rehearsal(ONE, replies, people=GROUP, alone=False).run()
    assert session.lines[-2:] == ["refused_place", "refused_rest"]
    assert "sits out" not in session.notes


def test_the_list_of_conditions_cannot_be_skipped() -> None:
    always = cooperative(["one"]) | {"clear_list_intro": (0.1, heard("skip"))}
    session = Rehearsal(ONE, roll(p1="no"), people=GROUP, alone=False, always=always).run()
    assert "cannot_skip" in session.lines
    assert session.lines.index("clear_list") < session.lines.index("clear_any_of_these")


def test_a_refusal_cannot_be_skipped_into_the_hold_that_would_have_followed() -> None:
    """The step behind the questions is a hold; "skip" in the last words must not reach it."""
    direct = plan(CLEARING, hold(wait_for_start=False, lead_in=""), RECOVERY)
    always = cooperative(["one"]) | {
        "clearing:surgery": (0.5, heard("yes")),
        "refused_health": (0.0, heard("skip")),
    }
    session = Rehearsal(direct, always=always).run()
    assert "hold" not in session.lines
    assert session.finish is not None
    assert session.finish.reason == "not cleared"


def test_repeat_puts_the_question_again() -> None:
    turns = [(0.5, heard("repeat")), (0.5, heard("yes"))]
    session = Rehearsal(ONE, {"clearing:dry": turns}, always=cooperative(["one"])).run()
    assert asked(session)[:3] == ["clear_dry", "clear_dry", "clear_posture"]


def test_after_a_pause_the_question_is_put_again() -> None:
    turns = [(0.5, heard("pause")), (0.5, heard("no"))]
    always = cooperative(["one"]) | {"paused": (20.0, heard("go-on"))}
    session = Rehearsal(ONE, {"clearing:lungs": turns}, always=always).run()
    assert session.lines.count("clear_lungs") == 2
    assert session.time_of("clear_lungs", 1) - session.time_of("clear_lungs", 0) > 20
    assert {"paused", "went on"} <= set(session.notes)


def test_a_yes_in_a_pause_goes_nowhere() -> None:
    """People talk in a pause; only "go on" ends it."""
    turns = [(0.5, heard("pause"))]
    always = {k: v for k, v in cooperative(["one"]).items() if k != "clearing:dry"}
    always |= {"paused": (5.0, heard("yes"))}
    session = Rehearsal(ONE, {"clearing:dry": turns}, always=always, limit_s=600.0).run()
    assert session.finish is None
    assert session.answers == {}
    assert session.lines.count("clear_dry") == 1

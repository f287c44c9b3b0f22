"""Rests: never under the floor, whatever the plan or a voice says; the mark on their end."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.practice import plan as steps
from coach.practice.events import Heard
from coach.practice.safety import Limits, Person
from tests.practice.plans import CLEARING, RECOVERY, hold, plan, shipped
from tests.practice.rehearsal import Rehearsal, cooperative, heard

DIRECT: dict[str, Any] = {"wait_for_start": False, "lead_in": ""}


def two_holds(*between: steps.Step, limits: Limits | None = None, **always: Any) -> Rehearsal:
    lesson = plan(
        CLEARING, hold("one", **DIRECT), RECOVERY, *between, hold("two", **DIRECT), RECOVERY
    )
    replies = cooperative(["one", "two"]) | always
    return Rehearsal(lesson, always=replies, limits=limits or Limits()).run()


def breathed_s(session: Rehearsal) -> float:
    first, second = session.holds
    assert first.end_s is not None
    return second.start_s - first.end_s


def test_a_plan_without_a_rest_still_has_one() -> None:
    session = two_holds()
    assert breathed_s(session) == pytest.approx(60.0, abs=1e-6)
    assert "rest_start" in session.lines


def test_what_lies_between_counts() -> None:
    session = two_holds(steps.Relaxation("relaxation", "calm", 90.0))
    assert "rest_start" not in session.lines
    assert breathed_s(session) > 90.0


def test_a_stretch_that_is_skipped_does_not_shorten_the_rest_under_the_floor() -> None:
    calm = steps.Relaxation("relaxation", "calm", 90.0, (steps.Spoken(1.0, "relax_face"),))
    session = two_holds(calm, relax_face=(0.1, heard("skip")))
    assert breathed_s(session) == pytest.approx(60.0, abs=1e-6)


def test_the_floor_in_force_is_the_stricter_one() -> None:
    assert breathed_s(two_holds(limits=Limits(rest_floor_s=100.0))) == pytest.approx(
        100.0, abs=1e-6
    )


@pytest.mark.parametrize("length_s", [60.0, 90.0, 121.5, 180.0])
def test_a_rest_from_the_end_of_the_hold_is_exact(length_s: float) -> None:
    session = two_holds(steps.Rest("rest", length_s, counted_from="hold end"))
    assert breathed_s(session) == pytest.approx(length_s, abs=1e-6)


def test_a_rest_from_now_comes_on_top() -> None:
    session = two_holds(steps.Rest("rest", 60.0))
    assert breathed_s(session) > 90.0


@pytest.mark.parametrize(("times", "length_s"), [(2.0, 80.0), (3.0, 120.0), (0.5, 60.0)])
def test_a_rest_can_hang_on_the_last_hold(times: float, length_s: float) -> None:
    rest = steps.Rest("rest", 0.0, times_last_hold=times, counted_from="hold end")
    assert breathed_s(two_holds(rest)) == pytest.approx(length_s, abs=1e-6)


def test_before_any_hold_a_rest_has_its_own_length() -> None:
    lesson = plan(CLEARING, steps.Rest("rest", 75.0, times_last_hold=2.0), hold(**DIRECT), RECOVERY)
    session = Rehearsal(lesson, always=cooperative(["one"])).run()
    assert session.time_of("hold") - session.time_of("rest_start") == pytest.approx(75.0, abs=1.1)


def test_what_is_left_is_said_at_a_minute_and_half_a_minute() -> None:
    session = two_holds(steps.Rest("rest", 120.0))
    said = session.values_of("rest_left")
    assert [v["left"] for v in said] == [60, 30]
    for which, left_s in enumerate((60.0, 30.0)):
        before_s = session.time_of("hold", 1) - session.time_of("rest_left", which)
        assert before_s == pytest.approx(left_s + 1.0)


def test_a_short_rest_is_not_talked_through() -> None:
    session = two_holds(steps.Rest("rest", 60.0, counted_from="hold end"))
    assert "rest_left" not in session.lines
    assert "rest_ending" in session.lines


def test_a_rest_that_no_hold_follows_at_once_says_nothing_of_one() -> None:
    lesson = plan(CLEARING, steps.Rest("rest", 60.0), hold("one"), RECOVERY)
    session = Rehearsal(lesson, always=cooperative(["one"])).run()
    assert "rest_ending" not in session.lines
    assert session.time_of("ready") - session.time_of("rest_start") == pytest.approx(60.0, abs=2.1)


def test_in_a_group_the_rest_counts_from_the_last_one_up() -> None:
    people = [Person(1, cleared=True), Person(2, cleared=True)]
    always = cooperative([])
    for number in (1, 2):
        always[f"clearing:any-of-these:{number}"] = (0.5, heard("no"))
        for round_ in (1, 2, 3):
            always[f"check-in:round {round_}:{number}"] = (1.0, heard("okay"))
            always[f"whose:one:120:{number}"] = (0.5, heard("yes"))

    def fresh() -> Rehearsal:
        return Rehearsal(shipped("three-holds"), people=people, alone=False, always=always)

    mark_s = fresh().run().time_of("hold")
    session = fresh()
    session.at(mark_s + 50.0, heard("done", who=2)).at(mark_s + 70.0, heard("done", who=1)).run()
    firsts = [h for h in session.holds if h.label == "round 1"]
    assert {h.participant: h.duration_s for h in firsts} == {
        1: pytest.approx(70.0),
        2: pytest.approx(50.0),
    }
    second_s = session.time_of("hold", 1)
    assert second_s - (mark_s + 70.0) == pytest.approx(120.0, abs=1e-6)


def test_an_end_that_nobody_knows_counts_from_when_the_hold_was_over() -> None:
    people = [Person(1, cleared=True), Person(2, cleared=True)]
    always = cooperative([])
    for number in (1, 2):
        always[f"clearing:any-of-these:{number}"] = (0.5, heard("no"))
        for round_ in (1, 2, 3):
            always[f"check-in:round {round_}:{number}"] = (1.0, heard("okay"))
    session = Rehearsal(shipped("three-holds"), people=people, alone=False, always=always).run()
    assert all(h.end_s is None for h in session.holds)
    marks = [t for t, name in session.said if name == "hold"]
    for one_s, next_s in pairwise(marks):
        assert next_s - (one_s + 120.0) >= 60.0


@settings(max_examples=60, deadline=None)
@given(
    words=st.lists(
        st.tuples(
            st.floats(5.0, 400.0),
            st.sampled_from(["skip", "pause", "go-on", "repeat", "add-thirty", "again", "easier"]),
        ),
        max_size=12,
    ),
    floor_s=st.sampled_from([60.0, 75.0, 120.0]),
)
def test_no_words_at_any_time_shorten_a_rest_under_the_floor(
    words: list[tuple[float, str]], floor_s: float
) -> None:
    people = [Person(1, cleared=True)]
    labels = ["round 1", "round 2", "round 3"]
    session = Rehearsal(
        shipped("three-holds"),
        people=people,
        limits=Limits(rest_floor_s=floor_s),
        always=cooperative(labels) | {"paused": (3.0, heard("go-on"))},
    )
    for at_s, word in words:
        session.at(at_s, lambda t, word=word: Heard(t, t, t, word))  # type: ignore[misc]
    session.run()
    ends = [(h.start_s, h.end_s) for h in session.holds]
    for (_, end_s), (start_s, _) in pairwise(ends):
        assert end_s is not None
        assert start_s - end_s >= floor_s - 1e-6

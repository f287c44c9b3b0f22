"""Plans: what may stand in one, and the one clear line about what may not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from coach.border import BadInput
from coach.plans import find_plan, limits_of, load_plan, plan_names, refuse_unsafe
from coach.practice import plan as steps
from coach.practice.guard import objections
from coach.practice.plan import Plan, Rounds, unrolled
from coach.practice.safety import (
    HARD_HOLD_CAP_S,
    HEALTH_QUESTIONS,
    PLACE_QUESTIONS,
    Limits,
    Person,
    hold_limit_s,
)
from coach.settings import SafetySettings
from tests.practice.plans import CLEARING, RECOVERY, UNCHANGED, count, hold, plan, shipped
from tests.practice.rehearsal import Rehearsal, cooperative

UNENDED = {k: v for k, v in cooperative(["one"]).items() if k != "hold:one"}
BAD_STEPS: list[tuple[type[Any], dict[str, Any], str]] = [
    (steps.Talk, {"lines": ()}, "lines must name at least one line"),
    (steps.Talk, {"lines": ("welcome",), "pause_s": -1.0}, "pause_s must be between 0 and 60"),
    (steps.Talk, {"lines": ("welcome",), "pause_s": 61.0}, "pause_s must be between 0 and 60"),
    (
        steps.Clearing,
        {"questions": ("dry", "heigth")},
        "questions: 'heigth' is unknown; known:",
    ),
    (steps.PulseCount, {"label": "a", "place": "noon"}, "place must be one of before, relaxed"),
    (
        steps.PulseCount,
        {"label": "a", "place": "before", "window_s": 20.0},
        "window_s must be 15, 30 or 60",
    ),
    (
        steps.Relaxation,
        {"label": "a", "duration_s": 5.0},
        "duration_s must be between 10 and 3600",
    ),
    (
        steps.Relaxation,
        {"label": "a", "duration_s": 60.0, "lines": (steps.Spoken(60.0, "settle"),)},
        "every at_s must lie within duration_s",
    ),
    (
        steps.Relaxation,
        {
            "label": "a",
            "duration_s": 60.0,
            "lines": (steps.Spoken(20.0, "settle"), steps.Spoken(10.0, "settle")),
        },
        "lines must stand in the order of their times",
    ),
    (steps.BreatheUp, {"label": "a", "duration_s": 5.0}, "duration_s must be between 10 and 300"),
    (steps.BreatheUp, {"label": "a", "duration_s": 60.0, "in_s": 1.0}, "in_s must be at least 2"),
    (
        steps.BreatheUp,
        {"label": "a", "duration_s": 60.0, "in_s": 6.0, "out_s": 4.0},
        "out_s must not be shorter than in_s",
    ),
    (
        steps.BreatheUp,
        {"label": "a", "duration_s": 60.0, "full_breaths": -1},
        "full_breaths must not be negative",
    ),
    (steps.Hold, {"label": "a", "hold": "max", "cap_s": 60.0}, "hold must be one of baseline"),
    (
        steps.Hold,
        {"label": "a", "hold": "main", "cap_s": 481.0},
        "cap_s must be between 10 and 480 seconds",
    ),
    (
        steps.Hold,
        {"label": "a", "hold": "main", "cap_s": 60.0, "call_every_s": 4.0},
        "call_every_s must be between 5 and 60",
    ),
    (
        steps.Hold,
        {"label": "a", "hold": "main", "cap_s": 60.0, "call_every_s": 7.5},
        "call_every_s must be whole seconds",
    ),
    (
        steps.Hold,
        {"label": "a", "hold": "main", "cap_s": 60.0, "target_s": 61.0},
        "target_s must lie between 5 and cap_s",
    ),
    (steps.Recovery, {"watch_s": 601.0}, "watch_s must be at most 600"),
    (
        steps.Recovery,
        {"watch_s": 30.0, "lines": (steps.Spoken(30.0, "settle"),)},
        "every at_s must lie within watch_s",
    ),
    (steps.Rest, {"duration_s": -1.0}, "duration_s must be between 0 and 1800"),
    (steps.Rest, {"times_last_hold": 0.0}, "times_last_hold must be between 0 and 10"),
    (steps.Rest, {"times_last_hold": 11.0}, "times_last_hold must be between 0 and 10"),
    (steps.Table, {"table": "co2", "call_every_s": 61.0}, "call_every_s must be between 5 and 60"),
    (steps.Table, {"table": "co2", "call_every_s": 7.5}, "call_every_s must be whole seconds"),
    (Rounds, {"times": 0, "steps": (RECOVERY,)}, "times must be between 1 and 12"),
    (Rounds, {"times": 13, "steps": (RECOVERY,)}, "times must be between 1 and 12"),
    (Rounds, {"times": 2, "steps": ()}, "steps must not be empty"),
]


@pytest.mark.parametrize(("kind", "given", "reason"), BAD_STEPS)
def test_a_bad_value_is_named_with_what_is_allowed(
    kind: type[Any], given: dict[str, Any], reason: str
) -> None:
    with pytest.raises(ValueError, match=r"must|unknown") as raised:
        kind("step", **given)
    assert str(raised.value).startswith(reason)
    assert "\n" not in str(raised.value)


def test_an_empty_plan_is_no_plan() -> None:
    with pytest.raises(ValueError, match="steps must not be empty"):
        plan()


@pytest.mark.parametrize("missing", [*PLACE_QUESTIONS, *HEALTH_QUESTIONS])
def test_a_hold_needs_every_question_before_it(missing: str) -> None:
    asked = tuple(q for q in (*PLACE_QUESTIONS, *HEALTH_QUESTIONS) if q != missing)
    with pytest.raises(ValueError, match=f"step 2: a hold needs the clearing questions {missing}"):
        plan(steps.Clearing("clearing", asked), hold(), RECOVERY)


def test_questions_after_a_hold_are_too_late() -> None:
    with pytest.raises(ValueError, match="step 1: a hold needs the clearing questions dry"):
        plan(hold(), RECOVERY, CLEARING)


def test_the_question_whether_it_is_still_so_stands_for_the_list() -> None:
    assert plan(UNCHANGED, hold(), RECOVERY)


def test_a_table_needs_the_questions_too() -> None:
    with pytest.raises(ValueError, match="step 1: a table needs the clearing questions"):
        plan(steps.Table("table", "co2"))


@pytest.mark.parametrize("after", [(), (count(),), (steps.Talk("talk", ("settle",)), RECOVERY)])
def test_a_hold_is_followed_by_a_recovery_and_by_nothing_else(after: tuple[Any, ...]) -> None:
    with pytest.raises(ValueError, match="step 2: a hold must be followed by a recovery step"):
        plan(CLEARING, hold(), *after)


def test_a_label_is_used_once() -> None:
    with pytest.raises(ValueError, match="step 4: label 'one' is used twice"):
        plan(CLEARING, hold(), RECOVERY, hold(), RECOVERY)
    with pytest.raises(ValueError, match="step 2: label 'before' is used twice"):
        plan(count(), count())
    assert plan(CLEARING, hold("same"), RECOVERY, count("same"))  # a hold and a count may share it


def test_a_plan_has_one_table_at_most() -> None:
    table = steps.Table("table", "co2")
    with pytest.raises(ValueError, match="2 tables; one a day is the most"):
        plan(CLEARING, table, Rounds("rounds", 1, (table,)))


def test_rounds_number_their_labels() -> None:
    inner = (
        steps.Rest("rest"),
        hold("round {round}"),
        RECOVERY,
        count("count {round}"),
        steps.Relaxation("relaxation", "calm {round}", 60.0),
        steps.BreatheUp("breathe-up", "breaths {round}", 60.0),
    )
    flat = plan(CLEARING, Rounds("rounds", 2, inner)).steps
    labels = [getattr(step, "label", "") for step in unrolled(flat)]
    assert [label for label in labels if label] == [
        *("round 1", "count 1", "calm 1", "breaths 1"),
        *("round 2", "count 2", "calm 2", "breaths 2"),
    ]


def test_rounds_without_a_number_in_the_label_are_refused() -> None:
    with pytest.raises(ValueError, match="label 'one' is used twice"):
        plan(CLEARING, Rounds("rounds", 2, (hold(), RECOVERY)))


def test_the_pace_of_a_breathe_up() -> None:
    assert steps.BreatheUp("breathe-up", "a", 60.0).breaths_per_minute == 6.0


# --- what a plan may not ask of these people today


def against(lesson: Plan, *people: Person, limits: Limits | None = None, alone: bool = True) -> str:
    found = objections(lesson, people or (Person(1),), limits or Limits(), alone=alone)
    return " | ".join(found)


def breaths(**given: Any) -> steps.BreatheUp:
    return steps.BreatheUp("breathe-up", "a", 60.0, **given)


@pytest.mark.parametrize(
    ("lesson", "people", "alone", "reason"),
    [
        (
            plan(CLEARING, hold(cap_s=200.0), RECOVERY),
            [Person(1)],
            True,
            "step 2 (hold): cap_s: 200; participant 1 is not led past 150 s",
        ),
        (
            plan(CLEARING, hold(cap_s=200.0), RECOVERY),
            [Person(1, best_s=300.0), Person(2, best_s=180.0)],
            True,
            "step 2 (hold): cap_s: 200; participant 2 is not led past 162 s alone",
        ),
        (
            plan(CLEARING, hold(hold="o2"), RECOVERY),
            [Person(1, best_s=300.0)],
            False,
            "step 2 (hold): hold: 'o2' holds come from a table step, which computes them",
        ),
        (
            plan(CLEARING, hold(), RECOVERY),
            [Person(1), Person(2, fainted_today=True)],
            False,
            "step 2 (hold): no hold on a day on which somebody fainted; see a doctor first",
        ),
        (
            plan(CLEARING, steps.Table("table", "co2")),
            [Person(1), Person(2)],
            False,
            "step 2 (table): a table is computed from one person's best and not run in a group",
        ),
        (
            plan(CLEARING, steps.Table("table", "o2")),
            [Person(1, best_s=200.0)],
            True,
            "step 2 (table): no O2 table alone; have an instructor or buddy beside you",
        ),
        (
            plan(CLEARING, steps.Table("table", "co2")),
            [Person(1, best_s=200.0, tables_today=1)],
            True,
            "step 2 (table): at most 1 table a day",
        ),
        (
            plan(breaths(in_s=2.0, out_s=4.0)),
            [Person(1)],
            True,
            "step 1 (breathe-up): in_s and out_s: 10.0 breaths a minute; at most 8 are allowed",
        ),
        (
            plan(breaths(full_breaths=3)),
            [Person(1)],
            True,
            "step 1 (breathe-up): full_breaths: 3; at most 2 before a hold",
        ),
        (
            plan(CLEARING, hold(), steps.Recovery("recovery", watch_s=20.0)),
            [Person(1)],
            True,
            "step 3 (recovery): watch_s: 20; breathing is watched for 30 s at least",
        ),
        (
            plan(steps.Rest("rest", 30.0)),
            [Person(1)],
            True,
            "step 1 (rest): duration_s: 30; a rest lasts 60 s at least",
        ),
    ],
)
def test_what_breaks_a_limit_is_refused_with_step_key_and_reason(
    lesson: Plan, people: list[Person], alone: bool, reason: str
) -> None:
    assert against(lesson, *people, alone=alone) == reason


def test_full_breaths_are_counted_over_the_steps_up_to_a_hold() -> None:
    two, one = breaths(full_breaths=2), breaths(full_breaths=1)
    assert "full_breaths: 3" in against(plan(two, one))
    lesson = plan(CLEARING, two, hold("one"), RECOVERY, two, hold("two"), RECOVERY)
    assert against(lesson) == ""


def test_every_objection_is_told_not_only_the_first() -> None:
    lesson = plan(steps.Rest("rest", 1.0), breaths(full_breaths=4))
    assert against(lesson).count("|") == 1


def test_a_first_lesson_can_be_repeated_alone_by_whoever_has_a_best() -> None:
    """A cap for newcomers is no reason to refuse: nine tenths of the best hold when it plays."""
    lesson = plan(CLEARING, hold(cap_s=150.0), RECOVERY)
    for best_s in (40.0, 73.4, 120.0, 160.0):
        known = Person(1, best_s=best_s)
        assert against(lesson, known) == ""
        assert against(shipped("first-lesson"), known) == ""
        session = Rehearsal(lesson, people=[known], always=UNENDED).run()
        limit_s = hold_limit_s(known, Limits(), alone=True)
        assert session.ends == {("one", 1): pytest.approx(min(150.0, limit_s))}


def test_beside_an_instructor_a_known_person_may_reach_the_best() -> None:
    lesson = plan(CLEARING, hold(cap_s=180.0), RECOVERY)
    known = Person(1, best_s=180.0)
    assert against(lesson, known, alone=False) == ""
    assert "not led past 162 s alone" in against(lesson, known)


def test_a_rest_that_hangs_on_the_last_hold_is_held_to_the_floor_when_it_is_played() -> None:
    assert against(plan(steps.Rest("rest", 0.0, times_last_hold=2.0))) == ""


@pytest.mark.parametrize("name", plan_names())
def test_the_shipped_plans_suit_newcomers_or_people_with_a_best(name: str) -> None:
    known = Person(1, best_s=180.0, cleared=True)
    alone = name != "o2-table"
    assert against(shipped(name), known, alone=alone) == "" or against(shipped(name)) == ""


# --- limits


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ({"hold_cap_s": 181.0}, "hold_cap_s is 181; it may be made stricter, at most 180"),
        ({"rest_floor_s": 59.0}, "rest_floor_s is 59; it may be made longer, at least 60"),
        ({"rest_floor_s": 4000.0}, "rest_floor_s is 4000; it may be made longer, at least 60"),
        ({"watch_s": 29.0}, "watch_s is 29; it may be made longer, at least 30"),
        ({"check_in_s": 16.0}, "check_in_s is 16; it may be made stricter, at most 15"),
        ({"check_in_s": 4.0}, "check_in_s under 5 leaves nobody time to answer"),
        ({"hold_cap_s": 9.0}, "hold_cap_s under 10 leaves no hold"),
        ({"full_breaths": 3}, "full_breaths is 3; it may be made stricter, at most 2"),
        ({"full_breaths": -1}, "full_breaths is -1; it may be made stricter, at most 2"),
        ({"breaths_per_minute": 8.5}, "breaths_per_minute is 8.5; it may be made stricter"),
        ({"tables_per_day": 2}, "tables_per_day is 2; it may be made stricter, at most 1"),
    ],
)
def test_limits_can_be_made_stricter_not_looser(given: dict[str, Any], name: str) -> None:
    with pytest.raises(ValueError, match=r"is|under") as raised:
        Limits(**given)
    assert str(raised.value).startswith(name)


def test_stricter_limits_are_taken() -> None:
    strict = Limits(60.0, 120.0, 60.0, 10.0, 0, 6.0, 0)
    assert against(plan(breaths(full_breaths=1)), limits=strict).startswith("step 1")
    assert "watched for 60 s" in against(plan(CLEARING, hold(cap_s=60.0), RECOVERY), limits=strict)


def test_how_long_somebody_is_led_into_a_hold() -> None:
    limits = Limits()
    assert hold_limit_s(Person(1), limits, alone=True) == 150.0
    assert hold_limit_s(Person(1, best_s=300.0), limits, alone=True) == 270.0
    assert hold_limit_s(Person(1, best_s=300.0), limits, alone=False) == 300.0
    assert hold_limit_s(Person(1, best_s=900.0), limits, alone=False) == HARD_HOLD_CAP_S


# --- files


def written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('name = "x"\ntitle = "X"\n[[steps]]\nstep = "sing"\n', "steps.1"),
        ('name = "x"\ntitle = "X"\n[[steps]]\nstep = "talk"\nlines = []\n', "lines must name"),
        (
            'name = "x"\ntitle = "X"\n[[steps]]\nstep = "talk"\nlines = ["a"]\nvolume = 3\n',
            "volume",
        ),
        ('name = "x"\ntitle = "X"\n[[steps]]\nstep = "rounds"\ntimes = 0\nsteps = []\n', "times"),
        ('name = "x"\ntitle = "X"\nsteps = []\n', "steps must not be empty"),
        ('name = "x"\n', "title"),
        ("name = \n", "line 1"),
    ],
)
def test_a_file_that_is_wrong_is_named_with_its_key(tmp_path: Path, text: str, said: str) -> None:
    path = written(tmp_path / "mine.toml", text)
    with pytest.raises(BadInput) as raised:
        load_plan(path)
    message = str(raised.value)
    assert str(path) in message
    assert said in message
    assert "\n" not in message


def test_an_unknown_plan_is_told_with_the_known_ones() -> None:
    with pytest.raises(BadInput, match=r"there is no such plan; known plans: .*first-lesson"):
        find_plan("seventh-lesson")


def test_a_plan_that_breaks_a_limit_is_refused_with_its_file() -> None:
    lesson = plan(steps.Rest("rest", 1.0))
    with pytest.raises(BadInput, match=r"mine.toml: step 1"):
        refuse_unsafe(lesson, "mine.toml", [Person(1)], Limits(), alone=True)
    refuse_unsafe(shipped("first-lesson"), "file", [Person(1)], Limits(), alone=True)


def test_settings_become_limits_or_one_line() -> None:
    assert limits_of(SafetySettings()) == Limits()
    with pytest.raises(BadInput, match=r"coach.toml: safety.watch_s is 5"):
        limits_of(SafetySettings(watch_s=5.0))


def test_a_plan_with_other_times_needs_no_code(tmp_path: Path) -> None:
    """An instructor's own plan: rest as long as twice the last hold, in rounds."""
    text = """
name = "own"
title = "Our own"
[[steps]]
step = "clearing"
questions = ["dry", "posture", "near", "heart", "seizures", "fainting", "pregnancy", "lungs", "surgery"]
[[steps]]
step = "rounds"
times = 2
[[steps.steps]]
step = "rest"
duration_s = 90.0
times_last_hold = 2.0
counted_from = "hold end"
[[steps.steps]]
step = "hold"
label = "round {round}"
hold = "relaxed"
cap_s = 50.0
lead_in = ""
wait_for_start = false
[[steps.steps]]
step = "recovery"
watch_s = 35.0
"""  # noqa: E501 - one line of a file
    own = load_plan(written(tmp_path / "own.toml", text))
    always = {k: v for k, v in cooperative(["round 1", "round 2"]).items() if "hold:" not in k}
    session = Rehearsal(own, always=always).run()
    first, second = session.holds
    assert first.end_s is not None
    assert second.start_s - first.end_s == pytest.approx(100.0, abs=1e-6)
    assert session.values_of("rest_start")[0]["length"] == 90.0


@pytest.mark.parametrize("name", plan_names())
def test_every_shipped_plan_ends_by_voice_alone(name: str) -> None:
    """Nobody is there: each ends by itself, and says so."""
    session = Rehearsal(shipped(name), people=[Person(1, best_s=180.0, cleared=True)]).run()
    assert session.finish is not None
    assert session.holds == []
    assert session.now_s < 3600

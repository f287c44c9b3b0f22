from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.practice.progress import Point
from coach.practice.proposal import (
    BREAK_DAYS,
    HOLD_DAYS_A_WEEK,
    TABLES,
    Now,
    Practice,
    level_s,
    propose,
    raised_by_bpm,
)

TODAY = date(2026, 11, 25)
NOW = Now(TODAY, limit_s=150.0, best_s=120.0)
EPOCH = date(1970, 1, 1)


def practice(days_ago: int, plan: str = "three-holds", seconds: float | None = 70.0) -> Practice:
    return Practice(TODAY - timedelta(days=days_ago), plan, True, seconds, seconds)


BASE = (practice(9, "first-lesson"), practice(7), practice(5, "comfort-hold"), practice(3))


def reason(past: tuple[Practice, ...], now: Now = NOW) -> str:
    return propose(past, now).lines[0][0]


def test_the_first_lesson_comes_first() -> None:
    proposal = propose((), NOW)
    assert (proposal.plan, proposal.on) == ("first-lesson", TODAY)
    only_pulse = Practice(TODAY, "morning-pulse", False)
    assert propose((only_pulse,), NOW).plan == "first-lesson"


def test_after_a_faint_nothing_is_proposed_but_a_doctor() -> None:
    fainted = replace(practice(3), trouble="fainted")
    proposal = propose((*BASE, fainted), NOW)
    assert proposal.plan is None
    assert proposal.lines[0][0] == "next_doctor"
    pulse_since = Practice(TODAY, "morning-pulse", False)
    assert propose((fainted, pulse_since), NOW).plan is None
    assert propose((Practice(TODAY, "relaxation", False, trouble="fainted"),), NOW).plan is None


@pytest.mark.parametrize("trouble", ["dizzy", "tingling", "unwell", "none"])
def test_after_trouble_comes_relaxation_on_another_day_then_a_comfort_hold(trouble: str) -> None:
    troubled = replace(practice(0), trouble=trouble)
    proposal = propose((*BASE, troubled), NOW)
    assert proposal.plan == "relaxation"
    assert proposal.on == TODAY + timedelta(days=1)
    assert [line for line, _ in proposal.lines] == ["next_trouble", "next_tomorrow"]
    pulse_since = Practice(TODAY, "morning-pulse", False)
    assert propose((*BASE, troubled, pulse_since), NOW).plan == "relaxation"
    calm = Practice(TODAY, "relaxation", False)
    assert propose((*BASE, troubled, calm), NOW).plan == "comfort-hold"


def test_after_bad_sleep_there_is_only_relaxation() -> None:
    proposal = propose(BASE, replace(NOW, slept_badly=True))
    assert (proposal.plan, proposal.on) == ("relaxation", TODAY)
    assert proposal.lines[0][0] == "next_slept"


def mornings(*rates: float, last: date = TODAY) -> tuple[Point, ...]:
    first = (last - EPOCH).days - len(rates) + 1
    return tuple(Point(first + n + 0.3, rate) for n, rate in enumerate(rates))


def test_a_raised_morning_pulse_lowers_the_day() -> None:
    now = replace(NOW, mornings=mornings(56, 58, 57, 56, 58, 57, 68))
    proposal = propose(BASE, now)
    assert proposal.plan == "relaxation"
    assert proposal.lines == (("next_pulse", {"difference": 11}),)


@pytest.mark.parametrize(
    "rates",
    [
        (57, 68),  # too few before it to know what is usual
        (56, 58, 57, 56, 58, 57, 60),  # three beats are not raised
        (50, 64, 52, 66, 51, 65, 68),  # within what is usual for this person
        (68, 67, 66, 68, 67, 66, 50),  # lower
    ],
)
def test_a_morning_pulse_that_is_not_raised_changes_nothing(rates: tuple[float, ...]) -> None:
    assert raised_by_bpm(replace(NOW, mornings=mornings(*rates))) is None


def test_the_morning_pulse_of_another_day_changes_nothing() -> None:
    old = mornings(56, 58, 57, 56, 58, 57, 68, last=TODAY - timedelta(days=1))
    assert raised_by_bpm(replace(NOW, mornings=old)) is None
    assert raised_by_bpm(NOW) is None


def test_after_a_break_it_begins_easier() -> None:
    past = tuple(practice(days) for days in (40, 30, BREAK_DAYS + 1))
    proposal = propose(past, NOW)
    assert proposal.plan == "three-holds"
    assert proposal.target_s == 55.0  # 0.8 of 70, down to whole five seconds
    assert proposal.lines == (("next_break", {"target": 55.0, "days": 15}),)
    assert reason(tuple(practice(days) for days in (40, 30, BREAK_DAYS))) != "next_break"


def test_kinds_take_turns() -> None:
    assert propose(BASE, NOW).plan == "comfort-hold"
    past = (*BASE, practice(1, "comfort-hold"))
    assert propose(past, NOW).plan == "co2-table"
    past = (*BASE, practice(2, "co2-table"))
    assert propose(past, NOW).plan == "three-holds"
    assert propose((practice(2, "my-own-plan"),), NOW).plan == "three-holds"


def test_no_table_before_a_base_or_without_a_best_of_a_minute() -> None:
    young = (practice(4, "first-lesson"), practice(2, "comfort-hold"))
    assert propose(young, NOW).plan == "three-holds"
    past = (*BASE, practice(1, "comfort-hold"))
    assert propose(past, replace(NOW, best_s=59.0)).plan == "three-holds"
    assert propose(past, replace(NOW, best_s=None)).plan == "three-holds"


def test_an_o2_table_needs_company_and_milder_tables_before() -> None:
    mild = tuple(practice(days, "co2-table") for days in (23, 19, 15))
    past = (*BASE[:1], *mild, practice(2, "comfort-hold"))
    assert propose(past, replace(NOW, alone=False)).plan == "o2-table"
    assert propose(past, NOW).plan == "co2-table"
    few = (*mild[:2], practice(9), practice(2, "comfort-hold"))
    assert propose(few, replace(NOW, alone=False)).plan == "co2-table"
    after_one = (*mild, practice(8, "o2-table"), practice(2, "comfort-hold"))
    assert propose(after_one, replace(NOW, alone=False)).plan == "co2-table"
    unwell = (*mild[:2], replace(mild[2], trouble="dizzy"), practice(2, "comfort-hold"))
    assert propose(unwell, replace(NOW, alone=False)).plan == "co2-table"


def test_one_session_of_holds_a_day_and_a_day_of_rest_after_a_table() -> None:
    proposal = propose((*BASE, practice(0, "comfort-hold")), NOW)
    assert proposal.on == TODAY + timedelta(days=1)
    assert proposal.lines[1] == ("next_tomorrow", {})
    proposal = propose((*BASE, practice(0, "co2-table")), NOW)
    assert proposal.on == TODAY + timedelta(days=2)
    assert proposal.lines[1] == ("next_in_days", {"days": 2})


def test_four_days_of_holds_a_week_are_the_most() -> None:
    past = tuple(practice(days) for days in (6, 5, 3, 1))
    assert propose(past, NOW).on == TODAY + timedelta(days=1)


def test_targets_grow_by_small_steps() -> None:
    past = tuple(practice(days, seconds=100.0) for days in (11, 9, 7))
    proposal = propose((*past, practice(2, "co2-table", None)), NOW)
    assert proposal.plan == "three-holds"
    assert proposal.target_s == 100.0  # 103, down to whole five seconds


def test_a_jump_of_a_week_is_asked_about_and_not_followed() -> None:
    slow = tuple(practice(days, seconds=80.0) for days in (20, 17, 14))
    fast = tuple(practice(days, seconds=100.0) for days in (5, 4, 3))
    proposal = propose((*slow, *fast, practice(2, "co2-table", None)), NOW)
    assert proposal.target_s == 85.0  # 88, down to whole five seconds
    assert ("next_jump", {"percent": 29}) in proposal.lines


def test_without_relaxed_holds_the_longest_gives_the_level() -> None:
    only_main = replace(practice(2, "first-lesson"), relaxed_s=None, longest_s=100.0)
    assert level_s((only_main,)) == 60.0
    assert level_s((replace(only_main, longest_s=None),)) is None
    assert reason((replace(only_main, longest_s=None),)) == "next_easy"


def test_what_is_declined_is_not_proposed_again() -> None:
    tried = set()
    now = NOW
    for _ in range(4):
        plan = propose(BASE, now).plan
        assert plan is not None
        assert plan not in tried
        tried.add(plan)
        now = replace(now, declined=frozenset(tried))
    assert tried == {"comfort-hold", "co2-table", "three-holds", "relaxation"}
    assert propose((), replace(NOW, declined=frozenset({"first-lesson"}))).plan == "relaxation"


practices = st.builds(  # a length without a hold is no history
    lambda **given: Practice(
        **given | ({} if given["held"] else {"relaxed_s": None, "longest_s": None})
    ),
    on=st.integers(0, 60).map(lambda days: TODAY - timedelta(days=days)),
    plan=st.sampled_from(
        ["first-lesson", "three-holds", "comfort-hold", *TABLES, "relaxation", "morning-pulse"]
    ),
    held=st.booleans(),
    relaxed_s=st.none() | st.floats(5, 400),
    longest_s=st.none() | st.floats(5, 400),
    trouble=st.sampled_from(["", "", "", "dizzy", "tingling", "unwell", "none", "fainted"]),
)


@given(
    past=st.lists(practices, max_size=25).map(lambda p: tuple(sorted(p, key=lambda q: q.on))),
    limit_s=st.floats(10, 480),
    alone=st.booleans(),
    best_s=st.none() | st.floats(10, 480),
    declined=st.frozensets(st.sampled_from(["three-holds", "comfort-hold", "co2-table"])),
)
def test_no_history_leads_past_a_limit(
    past: tuple[Practice, ...],
    limit_s: float,
    alone: bool,
    best_s: float | None,
    declined: frozenset[str],
) -> None:
    now = Now(TODAY, limit_s, best_s, alone, declined=declined)
    proposal = propose(past, now)
    assert proposal.on >= TODAY
    assert proposal.lines
    assert proposal.plan not in declined
    if alone:
        assert proposal.plan != "o2-table"
    if proposal.plan in TABLES:
        assert best_s is not None
        assert best_s >= 60
    if proposal.target_s is not None:
        assert 5 <= proposal.target_s <= limit_s
        week_ago = level_s(past, TODAY - timedelta(days=6))
        if week_ago is not None:
            assert proposal.target_s <= max(5.0, week_ago * 1.10)
    held = {p.on for p in past if p.held}
    if proposal.plan not in (None, "relaxation", "first-lesson"):
        week = [day for day in held if 0 <= (proposal.on - day).days < 7]
        assert proposal.on not in held
        assert len(week) < HOLD_DAYS_A_WEEK

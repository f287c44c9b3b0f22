"""What to practise next: rules, each with its source, tried in order. The first that fits wins;
without one, relaxed holds, comfort holds and tables take turns.

A proposal is an offer of small steps. It lies inside the limits of practice.safety, which hold
whatever is proposed, and it can be declined. Nothing here is medical advice.

Sources:
- four days of holds a week: the programme of Bezruk et al. Sports 2024;12(6):140 (eight weeks,
  four a week); here it is the most, not the aim
- rest after a table, one session of holds a day, relaxation after bad sleep, a raised morning
  pulse or a hold that somebody did not come out of well, an easier return after a break, the
  size of the steps: common practice, no source
- a doctor after a faint: common practice, no source
- no O2 table alone: practice.safety
- more than ten per cent in a week is asked about: common practice, no source
- no acute:chronic workload ratio: Lolli et al. Br J Sports Med 2019;53:921
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import floor
from statistics import median

from coach.practice.events import NOTHING, Value
from coach.practice.progress import Point, newest
from coach.practice.safety import UNWELL_ANSWERS
from coach.practice.tables import SHORTEST_BEST_S

HOLD_DAYS_A_WEEK = 4
TABLES = ("co2-table", "o2-table")
BREAK_DAYS = 14  # after so many days without a hold the next ones are easier
BREAK_SHARE = 0.8
BASE_SESSIONS = 3  # sessions of holds before tables are proposed
STEP = 0.03  # how much longer than usual a target is
WEEKLY_STEP = 0.10  # more than this in a week is asked about, and not proposed
FIRST_SHARE = 0.6  # of the best, while there are no relaxed holds to go by
LATEST = 3  # like sessions whose median is the level
CO2_BEFORE_O2 = 3  # tables of the milder kind, all well
RAISED_BPM = 5.0  # a morning pulse so far above the usual is raised, if it is also unusual
ROUND_S = 5.0
NO_ANSWER = "none"

Line = tuple[str, Mapping[str, Value]]


@dataclass(frozen=True, slots=True)
class Practice:
    """A session of the past. `relaxed_s` is its first relaxed hold, `longest_s` its longest.

    `trouble` is "fainted", "dizzy", "tingling", "unwell", "none" (no answer after a hold) or
    empty; `held` tells whether there was any hold.
    """

    on: date
    plan: str
    held: bool
    relaxed_s: float | None = None
    longest_s: float | None = None
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Now:
    """What is known today. `limit_s` is the longest hold that safety allows this person."""

    today: date
    limit_s: float
    best_s: float | None = None
    alone: bool = True
    slept_badly: bool = False
    mornings: tuple[Point, ...] = ()  # morning pulses; `day` counts days since 1970-01-01
    declined: frozenset[str] = frozenset()  # plans that were declined just now


@dataclass(frozen=True, slots=True)
class Proposal:
    """What, when and why. `plan` is None where nothing should be practised.

    `lines` are to be spoken: what and why in one sentence, when, and a question where a step
    would be large.
    """

    plan: str | None
    on: date
    target_s: float | None
    lines: tuple[Line, ...]


Rule = Callable[[tuple[Practice, ...], Now], Proposal | None]


def propose(past: tuple[Practice, ...], now: Now) -> Proposal:
    """The next session; `past` in the order of time."""
    for rule in RULES:
        found = rule(past, now)
        if found is not None:
            return found
    return _by_turns(past, now)


# --- rules, gravest first ---------------------------------------------------------------


def _after_a_faint(past: tuple[Practice, ...], now: Now) -> Proposal | None:
    told = _telling(past)
    if told and told[-1].trouble == "fainted":
        return Proposal(None, now.today, None, (("next_doctor", NOTHING),))
    return None


def _newcomer(past: tuple[Practice, ...], now: Now) -> Proposal | None:
    if any(practice.held for practice in past):
        return None
    return _unless_declined("first-lesson", "next_first", now)


def _after_trouble(past: tuple[Practice, ...], now: Now) -> Proposal | None:
    """Relaxation comes between a hold that somebody did not come out of well and the next."""
    last = _telling(past)[-1]
    calm_since = any(p.plan == "relaxation" for p in past[past.index(last) + 1 :])
    if last.trouble not in (*UNWELL_ANSWERS, NO_ANSWER) or calm_since:
        return None
    on = max(now.today, last.on + timedelta(days=1))
    return _dated(Proposal("relaxation", on, None, (("next_trouble", NOTHING),)), now)


def _tired(_: tuple[Practice, ...], now: Now) -> Proposal | None:
    if now.slept_badly:
        return Proposal("relaxation", now.today, None, (("next_slept", NOTHING),))
    above = raised_by_bpm(now)
    if above is not None:
        reason: Line = ("next_pulse", {"difference": round(above)})
        return Proposal("relaxation", now.today, None, (reason,))
    return None


def _after_a_break(past: tuple[Practice, ...], now: Now) -> Proposal | None:
    last = _held(past)[-1].on
    days = (now.today - last).days
    level = level_s(past)
    if days <= BREAK_DAYS or level is None:
        return None
    target_s = _rounded(min(level * BREAK_SHARE, now.limit_s))
    values = {"target": target_s, "days": days}
    return _unless_declined("three-holds", "next_break", now, target_s, values)


def _by_turns(past: tuple[Practice, ...], now: Now) -> Proposal:
    """Relaxed holds, a comfort hold and, after a base of practice, a table take turns."""
    order = _order(past, now)
    plan = next((plan for plan in order if plan not in now.declined), "relaxation")
    on = free_day(_held(past), now.today, plan)
    if plan != "three-holds":
        reason: Line = (LINES[plan], NOTHING)
        return _dated(Proposal(plan, on, None, (reason,)), now)
    return _dated(replace(_relaxed_holds(past, now), on=on), now)


RULES: tuple[Rule, ...] = (
    _after_a_faint,
    _newcomer,
    _after_trouble,
    _tired,
    _after_a_break,
)
LINES = {
    "comfort-hold": "next_comfort",
    "co2-table": "next_co2",
    "o2-table": "next_o2",
    "relaxation": "next_relaxation",
}


# --- what the rules are made of --------------------------------------------------------


def raised_by_bpm(now: Now) -> float | None:
    """How far this morning's pulse lies above the usual one; None unless it is raised."""
    epoch_day = (now.today - date(1970, 1, 1)).days
    if not now.mornings or floor(max(p.day for p in now.mornings)) != epoch_day:
        return None
    change = newest(now.mornings)
    if change is None or change.within is not False or change.difference < RAISED_BPM:
        return None
    return change.difference


def level_s(past: tuple[Practice, ...], before: date | None = None) -> float | None:
    """What is usual: the median of the last three relaxed holds, one a session.

    Without any, a share of the longest hold. None without holds.
    """
    seen = [p for p in past if before is None or p.on < before]
    relaxed = [p.relaxed_s for p in seen if p.relaxed_s is not None]
    if relaxed:
        return median(relaxed[-LATEST:])
    longest = max((p.longest_s for p in seen if p.longest_s is not None), default=None)
    return None if longest is None else longest * FIRST_SHARE


def free_day(held: list[Practice], today: date, plan: str) -> date:
    """The first day from today on that leaves enough rest for `plan`."""
    on = today
    while plan != "relaxation" and not _rested(held, on):
        on += timedelta(days=1)
    return on


def _rested(held: list[Practice], on: date) -> bool:
    days = {practice.on for practice in held}
    week = {day for day in days if timedelta(0) <= on - day < timedelta(days=7)}
    table_before = any(p.plan in TABLES and on - p.on == timedelta(days=1) for p in held)
    return on not in days and len(week) < HOLD_DAYS_A_WEEK and not table_before


def _telling(past: tuple[Practice, ...]) -> list[Practice]:
    """The sessions that tell how somebody takes holds."""
    return [practice for practice in past if practice.held or practice.trouble]


def _held(past: tuple[Practice, ...]) -> list[Practice]:
    return [practice for practice in past if practice.held]


def _order(past: tuple[Practice, ...], now: Now) -> list[str]:
    """The plans by turns, beginning with the one whose turn it is."""
    held = _held(past)
    if held[-1].trouble:
        return ["comfort-hold", "three-holds"]
    table = _table(held, now)
    turns = ["three-holds", "comfort-hold", *([table] if table else [])]
    last = "co2-table" if held[-1].plan in TABLES else held[-1].plan
    known = ["three-holds", "comfort-hold", "co2-table"]
    first = (known.index(last) + 1) % len(turns) if last in known else 0
    return turns[first:] + turns[:first]


def _table(held: list[Practice], now: Now) -> str | None:
    if len(held) < BASE_SESSIONS or (now.best_s or 0) < SHORTEST_BEST_S:
        return None
    done = [practice for practice in held if practice.plan in TABLES]
    mild = [practice for practice in done if practice.plan == "co2-table"]
    well = all(not practice.trouble for practice in done[-CO2_BEFORE_O2:])
    strong_last = bool(done) and done[-1].plan == "o2-table"
    if not now.alone and len(mild) >= CO2_BEFORE_O2 and well and not strong_last:
        return "o2-table"
    return "co2-table"


def _relaxed_holds(past: tuple[Practice, ...], now: Now) -> Proposal:
    """Three relaxed holds, a small step above the usual; never a large one above last week's."""
    level = level_s(past)
    if level is None:
        return Proposal("three-holds", now.today, None, (("next_easy", NOTHING),))
    wanted_s = level * (1 + STEP)
    week_ago = level_s(past, now.today - timedelta(days=6))
    bound_s = now.limit_s if week_ago is None else week_ago * (1 + WEEKLY_STEP)
    target_s = _rounded(min(wanted_s, bound_s, now.limit_s))
    lines: tuple[Line, ...] = (("next_relaxed", {"target": target_s}),)
    if week_ago is not None and wanted_s > bound_s:
        percent = round(100 * (wanted_s / week_ago - 1))
        lines += (("next_jump", {"percent": percent}),)
    return Proposal("three-holds", now.today, target_s, lines)


def _rounded(seconds: float) -> float:
    return max(ROUND_S, floor(seconds / ROUND_S) * ROUND_S)


def _unless_declined(
    plan: str,
    line: str,
    now: Now,
    target_s: float | None = None,
    values: Mapping[str, Value] = NOTHING,
) -> Proposal:
    if plan in now.declined:
        return Proposal("relaxation", now.today, None, (("next_relaxation", NOTHING),))
    return Proposal(plan, now.today, target_s, ((line, values),))


def _dated(proposal: Proposal, now: Now) -> Proposal:
    """The proposal with a line that says when, unless it is for today."""
    days = (proposal.on - now.today).days
    if days == 0:
        return proposal
    when: Line = ("next_tomorrow", NOTHING) if days == 1 else ("next_in_days", {"days": days})
    first, *rest = proposal.lines
    return replace(proposal, lines=(first, when, *rest))

"""What in a plan a limit forbids, for these people on this day. Nothing lifts it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coach.practice.plan import (
    BreatheUp,
    Hold,
    PlainStep,
    Plan,
    Recovery,
    Rest,
    Table,
    unrolled,
)
from coach.practice.safety import Limits, Person, hold_limit_s

TABLE_HOLDS = ("co2", "o2")


def objections(
    plan: Plan, people: Sequence[Person], limits: Limits, *, alone: bool
) -> Iterator[str]:
    """One line for each step that breaks a limit: which step, which key, why, what is allowed."""
    full_breaths = 0  # since the last hold: limits hold across steps
    for number, step in enumerate(unrolled(plan.steps), 1):
        reason = _objection(step, people, limits, alone=alone)
        if isinstance(step, BreatheUp):
            full_breaths += step.full_breaths
            reason = reason or _breaths(full_breaths, limits)
        elif isinstance(step, Hold):
            full_breaths = 0
        if reason:
            yield f"step {number} ({step.step}): {reason}"


def _objection(
    step: PlainStep, people: Sequence[Person], limits: Limits, *, alone: bool
) -> str | None:
    match step:
        case Hold() | Table() if any(person.fainted_today for person in people):
            return "no hold on a day on which somebody fainted; see a doctor first"
        case Hold():
            return _hold(step, people, limits, alone=alone)
        case Table():
            return _table(step, people, limits, alone=alone)
        case BreatheUp() if step.breaths_per_minute > limits.breaths_per_minute:
            pace = step.breaths_per_minute
            return (
                f"in_s and out_s: {pace:.1f} breaths a minute; at most {_most(limits)} are allowed"
            )
        case Recovery() if step.watch_s < limits.watch_s:
            return (
                f"watch_s: {step.watch_s:g}; breathing is watched for {limits.watch_s:g} s at least"
            )
        case Rest() if step.times_last_hold is None and step.duration_s < limits.rest_floor_s:
            return (
                f"duration_s: {step.duration_s:g}; a rest lasts {limits.rest_floor_s:g} s at least"
            )
    return None


def _breaths(full_breaths: int, limits: Limits) -> str | None:
    if full_breaths > limits.full_breaths:
        return f"full_breaths: {full_breaths}; at most {limits.full_breaths} before a hold"
    return None


def _most(limits: Limits) -> str:
    return f"{limits.breaths_per_minute:g}"


def _hold(step: Hold, people: Sequence[Person], limits: Limits, *, alone: bool) -> str | None:
    if step.hold in TABLE_HOLDS:
        return f"hold: {step.hold!r} holds come from a table step, which computes them"
    for person in people:  # whoever is led less far than a newcomer is led less far when it plays
        most_s = max(hold_limit_s(person, limits, alone=alone), limits.hold_cap_s)
        if step.cap_s > most_s:
            return (
                f"cap_s: {step.cap_s:g}; participant {person.number} is not led past {most_s:g} s"
                f"{' alone' if alone and person.best_s else ''}"
            )
    return None


def _table(step: Table, people: Sequence[Person], limits: Limits, *, alone: bool) -> str | None:
    if len(people) > 1:
        return "a table is computed from one person's best and not run in a group"
    if step.table == "o2" and alone:
        return "no O2 table alone; have an instructor or buddy beside you"
    if any(person.tables_today >= limits.tables_per_day for person in people):
        return f"at most {limits.tables_per_day} table a day"
    return None

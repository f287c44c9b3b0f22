"""The spoken review: what is said of kept sessions when somebody asks.

One to six sentences. Everybody is compared with themselves only, like with like: the first
hold of a kind in each session (repeated holds of one session lengthen by themselves), pulses of
the same place. Nothing here reads files or knows words; config/lines has them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, timedelta
from enum import StrEnum
from statistics import fmean

from coach.border import BadInput
from coach.practice.progress import (
    Point,
    levelled_off,
    means_alike,
    within,
)
from coach.practice.summary import Said
from coach.practice.words import Command
from coach.records.document import Summary, who
from coach.records.people import bests, own
from coach.records.series import day_of, hold_points, pulse_points
from coach.report.sentences import (
    FREE_KINDS,
    TABLE_KINDS,
    TREND_DAYS,
    USUAL_DAYS,
    against_usual,
    hold_trend,
    holds_of,
    pulse_against_usual,
    pulse_at,
    pulse_before_after,
    pulse_trend,
    recent,
    warnings,
    when,
)

MOST_SENTENCES = 6


class Question(StrEnum):
    """What can be asked; the values are the commands of the ear where there is one."""

    LAST = Command.HOW_WAS_IT.value
    MONTH = Command.BEST_MONTH.value
    WEEK = Command.COMPARE_WEEK.value
    PULSE = Command.MY_PULSE.value
    SPAN = "span"


def review(
    rows: Sequence[Summary], question: Question, today: date, person: str | None = None
) -> list[Said]:
    """The answer, at most MOST_SENTENCES lines of one sentence each.

    `rows` are summaries, oldest first; for SPAN those of the span. `person` is a name as
    records.document.who gives it; None is whoever was there last, and a group if it was one.
    """
    rows = practised(rows)
    name = person or (last_alone(rows) if rows else None)
    if name is None and rows:
        return list(_group(rows[-1], today))[:MOST_SENTENCES]
    if name is None or not own(rows, name):
        return [("rev_none", {})]
    answer: Callable[[Sequence[Summary], str, date], Iterator[Said]] = {
        Question.LAST: _last,
        Question.MONTH: _month,
        Question.WEEK: _week,
        Question.PULSE: _pulse,
        Question.SPAN: _span,
    }[question]
    return list(answer(rows, name, today))[:MOST_SENTENCES]


def practised(rows: Sequence[Summary]) -> list[Summary]:
    """The sessions of people; demonstrations only where there is nothing else."""
    return [row for row in rows if not row["invented"]] or list(rows)


def last_alone(rows: Sequence[Summary]) -> str | None:
    """Who did the last session; None if it was a group."""
    people = rows[-1]["participants"]
    return who(people[0]) if len(people) == 1 else None


def person_named(rows: Sequence[Summary], text: str) -> str:
    """The person that `text` (a name or a number) means. Raises BadInput if there is none."""
    known = sorted({who(person) for row in rows for person in row["participants"]})
    if text in known:
        return text
    if text.isdigit():
        for row in reversed(rows):
            for person in row["participants"]:
                if person["number"] == int(text):
                    return who(person)
    raise BadInput(f"{text}: nobody of that name or number here; known: {', '.join(known)}")


def last_session(rows: Sequence[Summary], person: str | None) -> str | None:
    """The id of the newest session, of `person` if one is named; None without any."""
    rows = practised(rows)
    mine = [row for row, _ in own(rows, person)] if person else rows
    return mine[-1]["id"] if mine else None


# --- one session ------------------------------------------------------------------------


def _last(rows: Sequence[Summary], name: str, today: date) -> Iterator[Said]:
    row, number = own(rows, name)[-1]
    yield when("rev_last", date_of(row), today)
    alarms = warnings(row, number)
    yield from alarms
    if not holds_of(row, number) and not any(p["participant"] == number for p in row["pulses"]):
        yield ("rev_nothing", {})
        return
    kinds = [kind for kind in FREE_KINDS if _of_kind(row, number, kind)]
    for place, kind in enumerate(kinds):
        yield from _held(row, number, kind)
        if place == 0 and not alarms:  # nobody is told of records after a bad moment
            yield from _compared(rows, name, kind, row)
    yield from _tables(row, number)
    yield from pulse_before_after(row, number)
    morning = pulse_at(row, number, "morning")
    if morning is not None:
        yield ("rev_morning", {"bpm": round(morning)})
        yield from pulse_against_usual(pulse_points(rows, name, "morning"))


def _of_kind(row: Summary, number: int, kind: str) -> list[float]:
    """Lengths of the holds of a kind in a session, in order, in seconds."""
    return [
        hold["duration_s"]
        for hold in holds_of(row, number)
        if hold["kind"] == kind and hold["duration_s"] is not None
    ]


def _held(row: Summary, number: int, kind: str) -> Iterator[Said]:
    lengths = _of_kind(row, number, kind)
    if len(lengths) == 1:
        yield (f"rev_hold_{kind}", {"held": lengths[0]})
        return
    values = {"count": len(lengths), "first": lengths[0], "longest": max(lengths)}
    yield ("rev_repeated", values)
    level = levelled_off(lengths)
    if level is not None and level > 1:
        yield ("rev_levelled", {"number": level})


def _compared(rows: Sequence[Summary], name: str, kind: str, row: Summary) -> Iterator[Said]:
    points = hold_points(rows, name, kind)
    if points and points[-1].day == day_of(row["started"]):
        yield from against_usual(points)
        yield from hold_trend(recent(points, TREND_DAYS), even_none=False)


def _tables(row: Summary, number: int) -> Iterator[Said]:
    for kind in TABLE_KINDS:
        lengths = _of_kind(row, number, kind)
        if lengths:
            yield (f"rev_table_{kind}", {"count": len(lengths), "longest": max(lengths)})


def _group(row: Summary, today: date) -> Iterator[Said]:
    """A group in the order of its numbers: no places, no comparison of one with another."""
    yield when("rev_last", date_of(row), today)
    people = sorted(person["number"] for person in row["participants"])
    yield ("rev_group", {"people": len(people), "holds": len(row["holds"])})
    for number in people:
        if warnings(row, number):
            yield ("rev_group_unwell", {"participant": number})
    if len(people) > MOST_SENTENCES - 2:
        yield ("rev_group_report", {})
        return
    for number in people:
        lengths = [h["duration_s"] for h in holds_of(row, number) if h["duration_s"] is not None]
        if lengths:
            yield ("rev_group_one", {"participant": number, "held": max(lengths)})


# --- spans ------------------------------------------------------------------------------


def _month(rows: Sequence[Summary], name: str, today: date) -> Iterator[Said]:
    first = today.replace(day=1)
    month = between(rows, first, today)
    mine = own(month, name)
    yield ("rev_month", {"count": len(mine)})
    best, ever = bests(month, name), bests(rows, name)
    kinds = [kind for kind in FREE_KINDS if kind in best]
    for place, kind in enumerate(kinds):
        yield (f"rev_best_{kind}", {"held": best[kind]})
        if place == 0 and best[kind] >= ever[kind] and len(own(rows, name)) > len(mine):
            yield ("rev_longest", {})
    if kinds:
        yield from hold_trend(hold_points(month, name, kinds[0]), even_none=True)


def _week(rows: Sequence[Summary], name: str, today: date) -> Iterator[Said]:
    """Calendar weeks, from Monday, as people mean them."""
    monday = today - timedelta(days=today.weekday())
    this = between(rows, monday, today)
    last = between(rows, monday - timedelta(days=7), monday - timedelta(days=1))
    yield ("rev_week", {"this": len(own(this, name)), "last": len(own(last, name))})
    compared = False
    for kind in FREE_KINDS:
        now = [point.value for point in hold_points(this, name, kind)]
        then = [point.value for point in hold_points(last, name, kind)]
        if now and then and not compared:
            compared = True
            yield (f"rev_week_{kind}", {"this": fmean(now), "last": fmean(then)})
            yield _difference(now, then, hold_points(rows, name, kind), day_of(str(monday)))
    if not compared:
        yield ("rev_week_unlike", {})


def _difference(
    now: Sequence[float], then: Sequence[float], points: Sequence[Point], monday: float
) -> Said:
    """Whether two means differ by more than typical errors of one person let them differ."""
    earlier = [point.value for point in within(points, monday - USUAL_DAYS, monday)]
    alike = means_alike(now, then, earlier)
    if alike is None:
        return ("rev_week_few", {})
    return ("rev_week_usual" if alike else "rev_week_differs", {})


def _span(rows: Sequence[Summary], name: str, _: date) -> Iterator[Said]:
    mine = own(rows, name)
    yield ("rev_span", {"count": len(mine)})
    alarms = [row for row, number in mine if warnings(row, number)]
    if alarms:
        yield ("rev_span_unwell", {"count": len(alarms)})
    best = bests(rows, name)
    kinds = [kind for kind in FREE_KINDS if kind in best]
    for kind in kinds[:2]:
        yield (f"rev_best_{kind}", {"held": best[kind]})
    if kinds:
        yield from hold_trend(hold_points(rows, name, kinds[0]), even_none=True)
    yield from pulse_trend(pulse_points(rows, name, "morning"))


def _pulse(rows: Sequence[Summary], name: str, today: date) -> Iterator[Said]:
    """The morning pulse first: it is counted over a minute and always in the same place."""
    spoken = False
    mornings = pulse_points(rows, name, "morning")
    if mornings:
        spoken = True
        day = date(1970, 1, 1) + timedelta(days=int(mornings[-1].day))
        yield when("rev_morning_last", day, today)
        yield ("rev_morning", {"bpm": round(mornings[-1].value)})
        yield from pulse_against_usual(mornings)
        yield from pulse_trend(recent(mornings, TREND_DAYS))
    for row, number in reversed(own(rows, name)):
        said = pulse_before_after(row, number)
        if said:
            yield from said
            spoken = True
            break
    if not spoken:
        yield ("rev_pulse_none", {})


# --- helpers ----------------------------------------------------------------------------


def date_of(row: Summary) -> date:
    """The local day on which a session started."""
    return datetime.fromisoformat(row["started"]).date()


def between(rows: Sequence[Summary], first: date, last: date) -> list[Summary]:
    """The sessions from `first` to `last`, both included."""
    return [row for row in rows if first <= date_of(row) <= last]

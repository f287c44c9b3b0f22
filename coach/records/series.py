"""From summaries to rows of like results, as practice.progress takes them.

One point a session: repeated holds of one session lengthen by themselves and are not compared
with each other as progress.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from statistics import fmean
from typing import Any

from coach.practice.progress import Point
from coach.practice.proposal import NO_ANSWER, Practice
from coach.practice.safety import UNWELL_ANSWERS
from coach.records.document import Summary
from coach.records.people import counts, own

EPOCH = date(1970, 1, 1).toordinal()


def day_of(started: str) -> float:
    """An ISO 8601 time as days since 1970 in its own zone: whole days begin at local midnight."""
    local = datetime.fromisoformat(started)
    seconds = local.hour * 3600 + local.minute * 60 + local.second
    return local.toordinal() - EPOCH + seconds / 86_400


def hold_points(rows: Iterable[Summary], name: str, kind: str) -> list[Point]:
    """The first hold of that kind in each session of somebody, in seconds.

    Left out: holds without a length, stopped by somebody, or not followed by an okay.
    """
    points = []
    for row, number in own(rows, name):
        holds = [h for h in row["holds"] if h["participant"] == number and h["kind"] == kind]
        if holds and counts(holds[0]) and holds[0]["ended_by"] != "stop":
            points.append(Point(day_of(row["started"]), holds[0]["duration_s"]))
    return points


def pulse_points(rows: Iterable[Summary], name: str, place: str) -> list[Point]:
    """The pulse at that place of each session of somebody, the mean if counted more than once."""
    points = []
    for row, number in own(rows, name):
        rates = [
            pulse["bpm"]
            for pulse in row["pulses"]
            if pulse["participant"] == number
            and pulse["place"] == place
            and pulse["bpm"] is not None
        ]
        if rates:
            points.append(Point(day_of(row["started"]), fmean(rates)))
    return points


def contraction_points(rows: Iterable[Summary], name: str, kind: str) -> list[Point]:
    """When the first contraction of the first hold of that kind came, in seconds into the hold."""
    points = []
    for row, number in own(rows, name):
        holds = [h for h in row["holds"] if h["participant"] == number and h["kind"] == kind]
        if holds and holds[0]["first_contraction_s"] is not None:
            points.append(Point(day_of(row["started"]), holds[0]["first_contraction_s"]))
    return points


def practices(rows: Iterable[Summary], name: str) -> tuple[Practice, ...]:
    """The sessions of somebody as practice.proposal takes them."""
    return tuple(_practice(row, number) for row, number in own(rows, name))


def _practice(row: Summary, number: int) -> Practice:
    holds = [hold for hold in row["holds"] if hold["participant"] == number]
    good = [hold for hold in holds if counts(hold)]
    relaxed = [hold for hold in holds if hold["kind"] == "relaxed"][:1]
    return Practice(
        on=datetime.fromisoformat(row["started"]).date(),
        plan=row["plan"],
        held=bool(holds),
        relaxed_s=next((hold["duration_s"] for hold in relaxed if counts(hold)), None),
        longest_s=max((hold["duration_s"] for hold in good), default=None),
        trouble=_trouble(holds, [n["what"] for n in row["notes"] if n["participant"] == number]),
    )


def _trouble(holds: list[dict[str, Any]], notes: list[str]) -> str:
    """The gravest thing that was said, or that no answer came after a hold."""
    said = {*(hold["check_in"] for hold in holds), *notes}
    if "alarm" in said:
        said.add(NO_ANSWER)
    return next((what for what in ("fainted", *UNWELL_ANSWERS, NO_ANSWER) if what in said), "")

"""From summaries to rows of like results, as practice.progress takes them.

One point a session: repeated holds of one session lengthen by themselves and are not compared
with each other as progress.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from statistics import fmean

from coach.practice.progress import Point
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

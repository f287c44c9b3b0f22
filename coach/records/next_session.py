"""The proposal of practice.proposal, made from what is kept of somebody."""

from __future__ import annotations

from datetime import date

from coach.practice.proposal import Now, Proposal, propose
from coach.practice.safety import Limits, hold_limit_s
from coach.records.library import Library
from coach.records.people import People
from coach.records.series import practices, pulse_points

MORNINGS = 30  # the latest counts are enough to know what is usual


def next_session(
    library: Library,
    number: int,
    name: str | None,
    today: date,
    limits: Limits,
    *,
    alone: bool = True,
    slept_badly: bool = False,
    declined: frozenset[str] = frozenset(),
    invented: bool = False,
) -> Proposal:
    """What the participant may practise next; `declined` holds plans they did not want.

    Invented sessions count only in an invented one (`invented`).
    """
    people = People(library)
    who = people.find(number, name).who
    rows = [row for row in library.summaries(until=today) if invented or not row["invented"]]
    (person,) = people.for_session([(number, name)], today, invented=invented)
    now = Now(
        today=today,
        limit_s=hold_limit_s(person, limits, alone=alone),
        best_s=person.best_s,
        alone=alone,
        slept_badly=slept_badly,
        mornings=tuple(pulse_points(rows, who, "morning")[-MORNINGS:]),
        declined=declined,
    )
    return propose(practices(rows, who), now)

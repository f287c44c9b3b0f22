"""Who practises here: names, clearing answers with their date, preferences, bests.

People are known by name, without one by their number (records.document.who). Bests are taken
from the sessions themselves, so a correction or a deletion changes them too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from tinydb import where

from coach.border import BadInput
from coach.durable import Damaged, database
from coach.practice.safety import HEALTH_QUESTIONS, SAFE_ANSWERS, UNCHANGED_QUESTION, Person
from coach.records.document import Document, Summary, who
from coach.records.library import Library
from coach.settings import SPEEDS

TABLE = "people"
CLEARING_LASTS = timedelta(days=365)  # then the health questions are asked anew; common practice
TABLE_KINDS = ("co2", "o2")
MEASURED = ("word", "knock", "contraction", "cap", "stop", "hand")  # ends that give a length


@dataclass(frozen=True, slots=True)
class Preferences:
    """How somebody wants the coach to be; None is the setting of the configuration."""

    speed: float | None = None
    quiet: bool | None = None
    knocks: bool | None = None


YES_NO = {"yes": True, "no": False}


def wishes(changes: Iterable[str]) -> dict[str, bool | float]:
    """Fields of Preferences from FIELD=VALUE: speed=0.9, quiet=yes, knocks=no. Raises BadInput."""
    found: dict[str, bool | float] = {}
    for change in changes:
        name, _, value = change.partition("=")
        if name in ("quiet", "knocks") and value in YES_NO:
            found[name] = YES_NO[value]
        elif name == "speed" and _is_speed(value):
            found[name] = float(value)
        else:
            raise BadInput(
                f"{change}: write speed={SPEEDS[0]} to {SPEEDS[1]}, quiet=yes or no, "
                "knocks=yes or no"
            )
    return found


def _is_speed(text: str) -> bool:
    try:
        return SPEEDS[0] <= float(text) <= SPEEDS[1]
    except ValueError:
        return False


@dataclass(frozen=True, slots=True)
class Participant:
    """Somebody who practised here. `cleared` has (answer, ISO date) by health question."""

    number: int
    name: str | None = None
    cleared: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    preferences: Preferences = Preferences()

    @property
    def who(self) -> str:
        """How they are known across sessions."""
        return who({"name": self.name, "number": self.number})

    def is_cleared(self, today: date) -> bool:
        """Whether every health question was answered safely within the last year."""
        oldest = (today - CLEARING_LASTS).isoformat()
        return all(
            self.cleared.get(question, ("none", ""))[0] == SAFE_ANSWERS[question]
            and self.cleared[question][1] >= oldest
            for question in HEALTH_QUESTIONS
        )


class People:
    """The people of a library. Changes are made under its lock."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self.path = library.folder / "people.json"

    def all(self) -> list[Participant]:
        """Everybody, by number, then name."""
        self._library.mend(self.path)
        with suppress(Damaged), database(self.path) as tiny:
            found = [_participant(row) for row in tiny.table(TABLE)]
            return sorted(found, key=lambda one: (one.number, one.name or ""))
        return []

    def find(self, number: int, name: str | None = None) -> Participant:
        """The participant of that name; without one whoever has that number; else somebody new.

        A number that several names share (two classes on one machine) stands for none of them.
        """
        everybody = self.all()
        wanted = Participant(number, name)
        found = next((one for one in everybody if one.who == wanted.who), None)
        if found is None and name is None:
            numbered = [one for one in everybody if one.number == number]
            found = numbered[0] if len(numbered) == 1 else None
        return found or wanted

    def save(self, *people: Participant) -> None:
        """Keep what is known of them. Raises BadInput, OSError."""
        with self._library.locked():
            self._library.mend(self.path)
            with database(self.path) as tiny:
                for one in people:
                    row = {"who": one.who, **asdict(one)}
                    tiny.table(TABLE).upsert(row, where("who") == one.who)

    def like(self, one: Participant, **likes: Any) -> Participant:
        """Keep how somebody wants the coach to be, by field of Preferences. Raises OSError."""
        after = replace(one, preferences=replace(one.preferences, **likes))
        if after != one:
            self.save(after)
        return after

    def forget(self, name: str) -> bool:
        """Remove somebody; whether they were known. Raises BadInput, OSError."""
        with self._library.locked():
            if all(one.who != name for one in self.all()):
                return False
            with database(self.path) as tiny:
                tiny.table(TABLE).remove(where("who") == name)
            return True

    def learn(self, made: Document) -> None:
        """Take over the health answers of a session. Raises BadInput, OSError."""
        known = {one.who: one for one in self.all()}
        people = [Participant(p["number"], p["name"]) for p in made["participants"]]
        after = [_learned(known.get(one.who, one), made) for one in people]
        changed = [one for one in after if known.get(one.who) != one]
        if changed:
            self.save(*changed)

    def for_session(
        self, group: Iterable[tuple[int, str | None]], today: date, *, invented: bool = False
    ) -> tuple[Person, ...]:
        """What the limits of a session need to know of the people in it.

        Nobody's limits come from an invented session, except in one (`invented`).
        """
        rows = [row for row in self._library.summaries() if invented or not row["invented"]]
        return tuple(
            _person(self.find(number, name), number, rows, today) for number, name in group
        )


def _participant(row: Mapping[str, Any]) -> Participant:
    cleared = {question: (answer, on) for question, (answer, on) in row["cleared"].items()}
    return Participant(row["number"], row["name"], cleared, Preferences(**row["preferences"]))


def _learned(one: Participant, made: Document) -> Participant:
    on = made["started"][:10]
    number = next(p["number"] for p in made["participants"] if who(p) == one.who)
    answers = {a["question"]: a["answer"] for a in made["answers"] if a["participant"] == number}
    health = {
        question: (answer, on)
        for question, answer in answers.items()
        if question in HEALTH_QUESTIONS and on >= one.cleared.get(question, ("", ""))[1]
    }
    cleared = {**one.cleared, **health}
    if answers.get(UNCHANGED_QUESTION, "yes") != "yes" or _fainted(made, number):
        cleared = health if not _fainted(made, number) else {}
    return Participant(one.number, one.name, cleared, one.preferences)


def _fainted(made: Document, number: int) -> bool:
    check_ins = made["check_ins"]
    said = any(c["participant"] == number and c["answer"] == "fainted" for c in check_ins)
    return said or any(n["participant"] == number and n["what"] == "fainted" for n in made["notes"])


def own(rows: Iterable[Summary], name: str) -> list[tuple[Summary, int]]:
    """The sessions of somebody, each with their number in it."""
    return [
        (row, person["number"])
        for row in rows
        for person in row["participants"]
        if who(person) == name
    ]


def bests(rows: Iterable[Summary], name: str) -> dict[str, float]:
    """Longest hold in seconds by kind, of those that somebody came out of well."""
    found: dict[str, float] = {}
    for row, number in own(rows, name):
        for hold in row["holds"]:
            if hold["participant"] == number and counts(hold):
                found[hold["kind"]] = max(found.get(hold["kind"], 0.0), hold["duration_s"])
    return found


def counts(hold: Mapping[str, Any]) -> bool:
    """Whether a hold has a length and nothing wrong was said after it."""
    measured = hold["duration_s"] is not None and hold["ended_by"] in MEASURED
    return measured and hold["check_in"] in ("okay", None)


def _person(one: Participant, number: int, rows: Sequence[Summary], today: date) -> Person:
    mine = own(rows, one.who)
    best = bests(rows, one.who)
    today_rows = [(row, n) for row, n in mine if row["started"][:10] == today.isoformat()]
    tables = [row for row, n in today_rows if _holds_of(row, n, TABLE_KINDS)]
    fainted = any(
        any(h["participant"] == n and h["check_in"] == "fainted" for h in row["holds"])
        or any(x["participant"] == n and x["what"] == "fainted" for x in row["notes"])
        for row, n in today_rows
    )
    return Person(
        number=number,
        name=one.name or "",
        best_s=max(best.values(), default=None),
        cleared=one.is_cleared(today),
        tables_today=len(tables),
        fainted_today=fainted,
    )


def _holds_of(row: Summary, number: int, kinds: Sequence[str]) -> bool:
    return any(h["participant"] == number and h["kind"] in kinds for h in row["holds"])

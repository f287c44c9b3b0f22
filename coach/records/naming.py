"""Giving somebody a name, or another one: in every session of theirs, too."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from coach.border import BadInput
from coach.records.document import Document, who
from coach.records.library import Library
from coach.records.people import People


def rename(library: Library, old: str, name: str) -> int:
    """Call the person known as `old` by `name`; returns how many sessions tell of them.

    Raises BadInput for an empty name, one that is taken, or nobody known as `old`; OSError.
    """
    name = " ".join(name.split())
    if not name or name.startswith("participant "):
        raise BadInput(f"{name!r}: a name is needed, and not one that stands for a number")
    with library.locked():
        rows = library.summaries()
        everybody = {who(person) for row in rows for person in row["participants"]}
        people = People(library)
        known = {one.who: one for one in people.all()}
        if name in everybody or name in known:
            raise BadInput(f"{name}: somebody here has that name already")
        if old not in everybody and old not in known:
            raise BadInput(f"{old}: nobody of that name here; `coach records list` shows them")
        theirs = [
            made for made in library.documents() if old in [who(p) for p in made["participants"]]
        ]
        for made in theirs:
            library.put(_renamed(made, old, name))
        if old in known:
            people.save(replace(known[old], name=name))
            people.forget(old)
    return len(theirs)


def _renamed(made: Document, old: str, name: str) -> Document:
    def named(person: dict[str, Any]) -> dict[str, Any]:
        return {**person, "name": name} if who(person) == old else person

    def heard(cue: dict[str, Any]) -> dict[str, Any]:
        return {**cue, "who": name} if cue["who"] == old else cue

    return {
        **made,
        "participants": [named(person) for person in made["participants"]],
        "timeline": [heard(cue) for cue in made["timeline"]],
    }

"""Deleting a person's data completely: sessions, backups, journals, damaged files, people."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from coach.durable import backup_of, remove, write_whole
from coach.records.document import LISTS, Document, who
from coach.records.library import Library
from coach.records.people import People


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was deleted."""

    sessions: int  # sessions that were theirs alone
    shared: int  # sessions of a group, from which their part was taken
    damaged_files: int


def forget(library: Library, name: str) -> Forgotten:
    """Delete everything of the person known as `name`. Raises BadInput, OSError.

    Damaged files may hold data of anybody and cannot be read, so they all go. From the sessions
    of a group the whole timeline goes: the coach's sentences may name the person.
    """
    alone = shared = 0
    with library.locked():
        for made in list(library.documents()):
            theirs = [p for p in made["participants"] if who(p) == name]
            if not theirs:
                continue
            if len(made["participants"]) == len(theirs):
                library.drop(made)
                alone += 1
            else:
                library.put(without(made, [p["number"] for p in theirs]))
                shared += 1
        damaged = list(library.aside())
        for path in (*damaged, *library.folder.rglob(".*.new")):  # the latter: half-written files
            remove(path)
        for path in library.day_paths():
            _renew_backup(path)
        People(library).forget(name)
    return Forgotten(alone, shared, len(damaged))


def _renew_backup(path: Path) -> None:
    """A coach that died between a file and its backup may have left an older backup."""
    content = path.read_bytes()
    if backup_of(path).read_bytes() != content:
        write_whole(backup_of(path), content)


def without(made: Document, numbers: list[int]) -> Document:
    """A group's document without some of its participants."""
    left = dict(made)
    left["participants"] = [p for p in made["participants"] if p["number"] not in numbers]
    keys = set()
    for name in LISTS.values():
        left[name] = [value for value in made[name] if value["participant"] not in numbers]
        keys |= {value["key"] for value in left[name]}
    history = made["corrections"].items()
    left["corrections"] = {key: values for key, values in history if key in keys}
    left["timeline"] = []
    return left

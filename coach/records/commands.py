"""What `coach records` and `coach export` do: each returns the lines to print."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from coach.border import BadInput
from coach.records.corrections import corrected
from coach.records.document import LISTS, Document, Summary, who
from coach.records.exports import as_csv, as_json, as_vtt
from coach.records.forget import forget
from coach.records.imports import import_json
from coach.records.library import Library
from coach.records.naming import rename
from coach.records.people import People, Preferences, wishes


def list_records(
    library: Library, since: date | None = None, until: date | None = None
) -> list[str]:
    """One line a session, oldest first."""
    rows = library.summaries(since, until)
    return [_line(row) for row in rows] or ["no session is kept here in that time"]


def _line(row: Summary) -> str:
    people = ", ".join(who(person) for person in row["participants"])
    holds = [_seconds(hold["duration_s"]) for hold in row["holds"]]
    mark = " (invented)" if row["invented"] else ""
    return (
        f"{row['id']}  {row['started'][:16].replace('T', ' ')}  {row['plan']}{mark}  {people}  "
        f"holds: {', '.join(holds) or 'none'}  {row['outcome']['reason']}"
    )


def _seconds(duration_s: float | None) -> str:
    if duration_s is None:
        return "unknown"
    minutes, seconds = divmod(round(duration_s, 1), 60)
    return f"{minutes:.0f}:{seconds:04.1f}"


def show_record(library: Library, session: str, as_text: bool = True) -> list[str]:
    """A session: value by value with its key, or the document as JSON. Raises BadInput."""
    made = library.session(session)
    if not as_text:
        return [json.dumps(made, ensure_ascii=False, indent=1)]
    return list(_lines(made))


def _lines(made: Document) -> Iterator[str]:
    yield f"{made['id']}  {made['started']}  {made['plan']}  {made['outcome']['reason']}"
    names = {person["number"]: who(person) for person in made["participants"]}
    for name in LISTS.values():
        for value in made[name]:
            facts = [
                f"{key}={item}"
                for key, item in value.items()
                if key not in ("key", "participant", "source") and item not in (None, "", [])
            ]
            whom = names.get(value["participant"], "everybody")
            yield f"  {value['key']}  {whom}  {name}: {'  '.join(facts)}"
            for earlier in made["corrections"].get(value["key"], []):
                yield f"    before: {_changes(earlier['value'], value)}"


def _changes(earlier: Document, value: Document) -> str:
    changed = [f"{key}={item}" for key, item in earlier.items() if value.get(key) != item]
    return "  ".join(item for item in changed if not item.startswith("source="))


def correct_record(
    library: Library, session: str, key: str, change: str, now: datetime
) -> list[str]:
    """`change` is FIELD=VALUE; the earlier value stays in the record. Raises BadInput, OSError."""
    field, equals, text = change.partition("=")
    if not equals:
        raise BadInput(f"{change}: a correction is FIELD=VALUE, such as duration_s=73.4")
    with library.locked():
        made = corrected(library.session(session), key, field, text, now)
        library.put(made)
        People(library).learn(made)
    return [f"{made['id']}: {key}: {field} is now {text}; the earlier value stays in the record"]


def prefer(library: Library, person: str, changes: Sequence[str]) -> list[str]:
    """How somebody wants the coach to be; `changes` are FIELD=VALUE. Raises BadInput, OSError."""
    with library.locked():
        everybody = reversed(_everybody(library))
        found = next((p for p in everybody if person in (who(p), str(p["number"]))), None)
        if found is None:
            raise BadInput(_nobody(library, person))
        people = People(library)
        one = people.like(people.find(found["number"], found["name"]), **wishes(changes))
    return [f"{one.who}: {_liked(one.preferences)}"]


def _liked(likes: Preferences) -> str:
    """As `prefer` takes it; what is not set is left out."""
    said = {True: "yes", False: "no"}
    chosen = {name: value for name, value in asdict(likes).items() if value is not None}
    words = [f"{name}={said.get(value, value)}" for name, value in chosen.items()]
    return " ".join(words) or "all as configured"


def _everybody(library: Library) -> list[Mapping[str, Any]]:
    """Number and name of whoever is known here."""
    met = [person for row in library.summaries() for person in row["participants"]]
    return [*met, *({"number": one.number, "name": one.name} for one in People(library).all())]


def _nobody(library: Library, name: str) -> str:
    known = sorted({who(person) for person in _everybody(library)})
    return f"{name}: nobody of that name here; known: {', '.join(known) or 'nobody yet'}"


def delete_person(library: Library, name: str) -> list[str]:
    """Delete everything of a person. Raises BadInput if nobody is known by that name, OSError."""
    with library.locked():
        if all(who(person) != name for person in _everybody(library)):
            raise BadInput(_nobody(library, name))
        gone = forget(library, name)
    return [
        f"{name}: {gone.sessions} sessions deleted, taken out of {gone.shared} sessions of a "
        f"group, {gone.damaged_files} damaged files deleted"
    ]


def name_person(library: Library, old: str, name: str) -> list[str]:
    """Give somebody a name, or another one. Raises BadInput, OSError."""
    count = rename(library, old, name)
    return [f"{old} is called {name} now, in {count} sessions"]


def export_records(
    library: Library,
    form: str,
    since: date | None = None,
    until: date | None = None,
    session: str = "last",
) -> str:
    """The text of an export: "json", "csv", or "vtt" of one session. Raises BadInput."""
    if form == "vtt":
        return as_vtt(library.session(session))
    low, high = str(since or ""), str(until or "9999")
    sessions = (made for made in library.documents() if low <= made["started"][:10] <= high)
    if form == "json":
        return as_json(sessions, People(library).all())
    return as_csv(sessions)


def import_records(library: Library, text: str, where: str) -> list[str]:
    """Read back a JSON export. Raises BadInput, OSError."""
    return [f"{where}: {import_json(library, text, where)} sessions are new here"]

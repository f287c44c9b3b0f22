"""Reading back what exports.as_json wrote. Everything is checked before anything is written."""

from __future__ import annotations

import json
from datetime import datetime

from jsonschema import Draft202012Validator

from coach.border import BadInput, parse
from coach.records.document import SCHEMA, Document
from coach.records.library import Library
from coach.records.migrations import migrated
from coach.records.people import Participant, People
from coach.records.schema import session_schema


def import_json(library: Library, text: str, where: str) -> int:
    """Add the sessions and people of an export; returns how many sessions were new.

    A session that is here already and the same is passed over. Raises BadInput (naming
    `where`) for anything that is not such an export or differs from what is kept here, OSError.
    """
    try:
        whole = json.loads(text)
    except ValueError as error:
        raise BadInput(f"{where}: is not JSON ({error})") from None
    if not isinstance(whole, dict) or whole.get("coach") != "records":
        raise BadInput(f"{where}: is not an export of the coach; `coach export --format json` is")
    sessions = [_checked(made, where) for made in whole.get("sessions", [])]
    people: list[Participant] = parse(
        list[Participant], whole.get("people", []), f"{where}: people"
    )
    with library.locked():
        new = [made for made in sessions if not _is_here(library, made, where)]
        for made in new:
            library.put(made)
        if people:
            People(library).save(*people)
    return len(new)


def _checked(made: object, where: str) -> Document:
    if not isinstance(made, dict) or not isinstance(made.get("schema"), int):
        raise BadInput(f"{where}: a session without a schema version")
    name = f"{where}: session {made.get('id')}"
    if made["schema"] != SCHEMA:
        made = migrated(made, name)
    errors = sorted(Draft202012Validator(session_schema()).iter_errors(made), key=lambda e: e.path)
    if errors:
        place = ".".join(str(part) for part in errors[0].path) or "(top)"
        raise BadInput(f"{name}: {place}: {errors[0].message}")
    for key in ("started", "ended"):
        try:
            zone = datetime.fromisoformat(made[key]).tzinfo
        except ValueError:
            zone = None
        if zone is None:
            raise BadInput(f"{name}: {key}: {made[key]!r} is not a time with its zone")
    return made


def _is_here(library: Library, made: Document, where: str) -> bool:
    day = library.day(library.day_path(datetime.fromisoformat(made["started"]).date()))
    kept = next((other for other in day if other["id"] == made["id"]), None)
    if kept is not None and kept != made:
        raise BadInput(f"{where}: session {made['id']} differs from the one kept here; delete one")
    return kept is not None

"""From the lines of a journal to the document of a session, and from that to its summary.

The document is described in session.schema.json. Times in it are room seconds after
`started`; `started` and `ended` are ISO 8601 with the zone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from coach.practice.kept import Answer, CheckIn, Hold, Kept, Note, Pulse
from coach.practice.safety import SAFE_ANSWERS

SCHEMA = 1  # version of the document; see migrations.py

Entry = dict[str, Any]  # one line of a journal: {"begin"|"keep"|"said"|"finish": {...}}
Document = dict[str, Any]
Summary = dict[str, Any]

ROOM_TIMES = ("start_s", "end_s", "at_s", "onset_s", "noticed_s", "ended_s")

LISTS: Mapping[type, str] = {
    Answer: "answers",
    Hold: "holds",
    Pulse: "pulses",
    CheckIn: "check_ins",
    Note: "notes",
}


def begin_entry(session: str, started: datetime, about: Mapping[str, Any]) -> Entry:
    """The first line of a journal. `started` carries its zone."""
    if started.tzinfo is None:
        raise ValueError("the start of a session needs its time zone")
    return {"begin": {"id": session, "started": started.isoformat(), "about": dict(about)}}


def keep_entry(kept: Kept) -> Entry:
    """A kept value as a line of a journal."""
    value = asdict(kept)
    if isinstance(kept, Hold):
        value["contractions_s"] = list(kept.contractions_s)
        value["duration_s"] = None if kept.duration_s is None else round(kept.duration_s, 6)
    return {"keep": {"list": LISTS[type(kept)], "value": value}}


def said_entry(start_s: float, end_s: float, line: str, text: str, who: str) -> Entry:
    """Something said or heard as a line of a journal."""
    return {"said": {"start_s": start_s, "end_s": end_s, "who": who, "line": line, "text": text}}


def finish_entry(ended_s: float, code: int, reason: str) -> Entry:
    """The last line of a journal."""
    return {"finish": {"ended_s": ended_s, "code": code, "reason": reason}}


def document(entries: Iterable[Entry]) -> Document:
    """The document of a session; without a "finish" line its outcome is "interrupted".

    A room that stays open has known other sessions before: `about` says at which room time this
    one began ("began_s"), and the times of the document count from there.
    """
    begin, *rest = entries
    made = _blank(begin["begin"])
    began_s = begin["begin"]["about"].get("began_s", 0.0)
    finish = None
    for entry in rest:
        if "keep" in entry:
            _keep(made, entry["keep"]["list"], _since(began_s, entry["keep"]["value"]))
        elif "said" in entry:
            made["timeline"].append(_since(began_s, entry["said"]))
        elif "finish" in entry:
            finish = _since(began_s, entry["finish"])
    if finish is None:
        finish = {"ended_s": _last_s(made), "code": 1, "reason": "interrupted"}
    made["timeline"].sort(key=lambda cue: cue["start_s"])
    made["duration_s"] = finish["ended_s"]
    ended = datetime.fromisoformat(made["started"]) + timedelta(seconds=finish["ended_s"])
    made["ended"] = ended.isoformat()
    made["outcome"] = {"code": finish["code"], "reason": finish["reason"]}
    return made


def _since(began_s: float, value: dict[str, Any]) -> dict[str, Any]:
    """The same with room times as seconds since the session began."""
    if not began_s:
        return value
    since = {
        key: round(value[key] - began_s, 6)
        for key in ROOM_TIMES
        if isinstance(value.get(key), float | int)
    }
    if isinstance(value.get("source"), dict):
        since["source"] = _since(began_s, value["source"])
    return {**value, **since}


def _blank(begin: Mapping[str, Any]) -> Document:
    about = begin["about"]
    people = about.get("participants") or [{"number": 1}]
    return {
        "schema": SCHEMA,
        "id": begin["id"],
        "started": begin["started"],
        "ended": begin["started"],
        "duration_s": 0.0,
        "plan": about.get("plan", ""),
        "voice": about.get("voice", ""),
        "participants": [
            {"number": person["number"], "name": person.get("name")} for person in people
        ],
        "versions": dict(about.get("versions") or {}),
        "invented": bool(about.get("invented", False)),
        "outcome": {"code": 1, "reason": "interrupted"},
        "answers": [],
        "holds": [],
        "pulses": [],
        "check_ins": [],
        "notes": [],
        "corrections": {},
        "timeline": [],
    }


def _keep(made: Document, name: str, value: dict[str, Any]) -> None:
    values = made[name]
    for place, earlier in enumerate(values):
        if earlier["key"] == value["key"]:
            by = value.get("source", {}).get("by", "voice")
            remember(made, earlier, by, None)
            values[place] = value
            return
    values.append(value)


def remember(made: Document, earlier: dict[str, Any], by: str, at: str | None) -> None:
    """Put a value that is replaced under `corrections`; `at` is None within the session."""
    history = made["corrections"].setdefault(earlier["key"], [])
    history.append({"value": earlier, "replaced_by": by, "replaced_at": at})


def _last_s(made: Document) -> float:
    """The last room time that a session without an end tells of."""
    times: list[float] = [0.0, *(cue["end_s"] for cue in made["timeline"])]
    for name in LISTS.values():
        for value in made[name]:
            source = value.get("source") or {}
            times += [value.get(key) or 0.0 for key in ("start_s", "end_s", "at_s")]
            times += [source.get(key) or 0.0 for key in ("onset_s", "noticed_s")]
    return max(times)


def who(person: Mapping[str, Any]) -> str:
    """How a participant is known across sessions: by name, without one by number."""
    return person["name"] or f"participant {person['number']}"


HOLD_KEYS = ("participant", "kind", "number", "duration_s", "ended_by", "target_s")
PULSE_KEYS = ("participant", "place", "window_s", "bpm")


def summary(made: Document) -> Summary:
    """What reviews over years need of a document, and no more."""
    well = {(value["participant"], value["label"]): value["answer"] for value in made["check_ins"]}
    return {
        "id": made["id"],
        "started": made["started"],
        "duration_s": made["duration_s"],
        "plan": made["plan"],
        "invented": made["invented"],
        "participants": made["participants"],
        "outcome": made["outcome"],
        "holds": [
            {
                **{key: hold[key] for key in HOLD_KEYS},
                "first_contraction_s": min(hold["contractions_s"], default=None),
                "check_in": well.get((hold["participant"], hold["label"])),
            }
            for hold in made["holds"]
        ],
        "pulses": [{key: pulse[key] for key in PULSE_KEYS} for pulse in made["pulses"]],
        "answers": [
            {key: value[key] for key in ("participant", "question", "answer")}
            for value in made["answers"]
            if value["question"] not in SAFE_ANSWERS
        ],
        "notes": [
            {"participant": participant, "what": what}
            for participant, what in sorted(
                {(note["participant"], note["what"]) for note in made["notes"]}, key=str
            )
        ],
    }

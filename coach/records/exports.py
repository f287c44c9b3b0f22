"""Records for other programs: JSON (whole), CSV (one row a hold), WebVTT, iCalendar.

JSON can be read back (imports.py); the others are for looking at.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import date, datetime, time, timedelta
from html import escape
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from icalendar import Alarm, Calendar, Event

from coach.records.document import SCHEMA, Document
from coach.records.people import Participant

COLUMNS = {
    "session": "name of the session",
    "started": "start of the session, ISO 8601 with zone",
    "plan": "name of the plan",
    "participant": "number of the participant in the session",
    "name": "name of the participant, empty if none was given",
    "label": "the step's label in the plan",
    "kind": "baseline, main, relaxed, comfort, co2 or o2; like is compared with like",
    "number": "first, second, ... hold of the session",
    "start_s": "seconds after the start of the session",
    "duration_s": "length of the hold in seconds, empty if its end is unknown",
    "ended_by": "word, knock, contraction, cap, stop, interrupted, unknown or hand",
    "target_s": "what the plan set, seconds, empty if nothing",
    "contractions": "how many contractions were marked",
    "first_contraction_s": "seconds into the hold, empty if none was marked",
    "check_in": "answer after the hold: okay, unwell, dizzy, tingling, fainted, none; or empty",
    "invented": "yes for a demonstration, no for a person's practice",
}
ICAL_WEEK = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def as_json(sessions: Iterable[Document], people: Iterable[Participant]) -> str:
    """Everything, as one JSON object; each session follows session.schema.json."""
    whole: dict[str, Any] = {
        "coach": "records",
        "schema": SCHEMA,
        "people": [asdict(one) for one in people],
        "sessions": list(sessions),
    }
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def as_csv(sessions: Iterable[Document]) -> str:
    """One row a hold under the names of COLUMNS; lines end as RFC 4180 says."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    for made in sessions:
        names = {person["number"]: person["name"] for person in made["participants"]}
        well = {(c["participant"], c["label"]): c["answer"] for c in made["check_ins"]}
        for hold in made["holds"]:
            shared = {key: hold[key] for key in COLUMNS if key in hold}
            row = {
                **shared,
                "session": made["id"],
                "started": made["started"],
                "plan": made["plan"],
                "name": names.get(hold["participant"]),
                "contractions": len(hold["contractions_s"]),
                "first_contraction_s": min(hold["contractions_s"], default=None),
                "check_in": well.get((hold["participant"], hold["label"])),
                "invented": "yes" if made["invented"] else "no",
            }
            writer.writerow(row)
    return out.getvalue()


def as_vtt(made: Document) -> str:
    """What was said and heard, as WebVTT captions on the session's own clock."""
    blocks = [f"WEBVTT - {made['id']}"]
    for cue in sorted(made["timeline"], key=lambda cue: cue["start_s"]):
        start_ms = round(cue["start_s"] * 1000)
        end_ms = max(round(cue["end_s"] * 1000), start_ms + 1)  # a cue has to end after its start
        who = escape(" ".join(cue["who"].split()), quote=False)
        text = escape(" ".join(cue["text"].split()), quote=False)
        blocks.append(f"{_vtt_time(start_ms)} --> {_vtt_time(end_ms)}\n<v {who}>{text}</v>")
    return "\n\n".join(blocks) + "\n"


def _vtt_time(ms: int) -> str:
    seconds, rest = divmod(ms, 1000)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour:02d}:{minute:02d}:{second:02d}.{rest:03d}"


def as_ics(days: Sequence[str], at: time, summary: str, today: date, stamp: datetime) -> str:
    """Practice days as a calendar with one weekly event, from `today` on.

    `days` are iCalendar day codes. The time is local ("floating", RFC 5545 section 3.3.5), as
    the reminders of the coach are, so it stays where it is when the clocks change.
    """
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//coach//practice days//EN")
    if days:
        calendar.add_component(_weekly(days, at, summary, today, stamp))
    content: bytes = calendar.to_ical()
    return content.decode("utf-8")


def _weekly(days: Sequence[str], at: time, summary: str, today: date, stamp: datetime) -> Event:
    wanted = [ICAL_WEEK.index(day) for day in days]
    first = next(
        day for day in (today + timedelta(days=n) for n in range(7)) if day.weekday() in wanted
    )
    event = Event()
    event.add("uid", f"{uuid5(NAMESPACE_URL, f'{summary} {at} {sorted(wanted)}')}")
    event.add("dtstamp", stamp)
    event.add("dtstart", datetime.combine(first, at))
    event.add("duration", timedelta(minutes=30))
    event.add("summary", summary)
    event.add("rrule", {"freq": "weekly", "byday": [ICAL_WEEK[day] for day in sorted(wanted)]})
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary)
    alarm.add("trigger", timedelta(0))
    event.add_component(alarm)
    return event

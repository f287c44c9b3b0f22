"""The part of a report that tells of one session: what was said, held, counted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from coach.records.document import LISTS, Document, who
from coach.report.charts import WIDE, WIDTH, Lane, Words, timeline
from coach.report.parts import UNKNOWN, Figure, Section, Table, clock, length, rate
from coach.report.sentences import UNWELL

TIME_CALL = "time_call"  # name of the line in config/lines
ENDS = {
    "word": "a word",
    "knock": "a knock",
    "contraction": "the first contraction",
    "cap": "the limit of the plan",
    "stop": "stop",
    "interrupted": "an interruption",
    "unknown": UNKNOWN,
    "hand": "put in afterwards",
}
PLACES = {
    "before": "before the relaxation",
    "relaxed": "after the relaxation",
    "after-hold": "after a hold",
    "morning": "morning",
    "practice": "practice",
}


def session_section(made: Document, heading: str = "The session") -> Section:
    """Facts, cautions, timeline and tables of a session."""
    return Section(
        name="session",
        heading=heading,
        facts=list(_facts(made)),
        cautions=list(session_cautions(made)),
        figures=[_timeline(made)],
        tables=[table for table in (_holds(made), _pulses(made)) if table.rows],
        folded=[table for table in (_spoken(made), _corrections(made)) if table.rows],
    )


def of_one(made: Document, name: str) -> Document | None:
    """The session as far as it concerns one person; None if they were not there.

    Of a group only their own values and words are left, and the time calls: what the coach
    said to the others is the others'.
    """
    numbers = [person["number"] for person in made["participants"] if who(person) == name]
    if not numbers or len(made["participants"]) == 1:
        return made if numbers else None
    number = numbers[0]
    own = {
        part: [value for value in made[part] if value["participant"] in (number, None)]
        for part in LISTS.values()
    }
    keys = {value["key"] for values in own.values() for value in values}
    words = [
        cue
        for cue in made["timeline"]
        if cue["line"] == TIME_CALL or cue["who"] == f"participant {number}"
    ]
    return {
        **made,
        **own,
        "participants": [p for p in made["participants"] if p["number"] == number],
        "timeline": words,
        "corrections": {k: was for k, was in made["corrections"].items() if k in keys},
    }


def person_label(person: Mapping[str, Any]) -> str:
    """Number and name, as the group knows somebody."""
    name = person["name"]
    return f"Number {person['number']}, {name}" if name else f"Number {person['number']}"


def day_text(started: str) -> str:
    """A date as people write it: "Wednesday 25 November 2026"."""
    at = datetime.fromisoformat(started)
    return f"{at:%A} {at.day} {at:%B %Y}"


def _facts(made: Document) -> Iterator[tuple[str, str]]:
    yield "Day", f"{day_text(made['started'])}, {made['started'][11:16]}"
    yield "Plan", made["plan"] or UNKNOWN
    yield "Length", clock(made["duration_s"])
    yield "Ended", made["outcome"]["reason"]
    yield "People", "; ".join(person_label(person) for person in made["participants"])


def session_cautions(made: Document) -> Iterator[str]:
    """What a person or an instructor should look at before any number."""
    labels = {person["number"]: person_label(person) for person in made["participants"]}
    for check in made["check_ins"]:
        whose = f"{labels.get(check['participant'], UNKNOWN)}, after “{check['label']}”"
        if check["answer"] in UNWELL:
            yield f"{whose}: answered “{check['answer']}”. A doctor comes before the next hold."
        elif check["answer"] == "none":
            yield f"{whose}: no answer to the check-in."
    for note in made["notes"]:
        if note["what"] in ("alarm", "contact", "room lost"):
            whom = labels.get(note["participant"], "everybody")
            detail = f", {note['detail']}" if note["detail"] else ""
            yield f"At {clock(note['at_s'])}: {note['what']} ({whom}{detail})."
    unknown = [hold["label"] for hold in made["holds"] if hold["duration_s"] is None]
    if unknown:
        yield f"The end of a hold is not known: {', '.join(unknown)}."


# --- timeline ---------------------------------------------------------------------------


def _timeline(made: Document) -> Figure:
    lanes = _lanes(made)
    words = Words(
        "timeline",
        "Timeline of the session",
        f"{len(made['holds'])} holds and {len(made['pulses'])} pulse counts in "
        f"{clock(made['duration_s'])} minutes. The tables below have every number.",
    )
    narrow = Words("timeline-narrow", words.title, words.description)
    return Figure(
        name="timeline",
        title=words.title,
        pictures=[
            timeline(words, lanes, made["duration_s"], WIDE),
            timeline(narrow, lanes, made["duration_s"], WIDTH),
        ],
        reading="Boxes in the lanes of people: holds, with a stroke for each contraction; outlined "
        "boxes: pulse counts. Above them what was said, the time calls, and what was heard. "
        "Times are minutes and seconds from the start.",
        table=_timeline_table(made),
    )


def _lanes(made: Document) -> list[Lane]:
    cues = made["timeline"]
    talk = [
        ("said", cue["start_s"], cue["end_s"])
        for cue in cues
        if cue["who"] == "coach" and cue["line"] != TIME_CALL
    ]
    calls = [("call", cue["start_s"]) for cue in cues if cue["line"] == TIME_CALL]
    heard = [("heard", cue["start_s"]) for cue in cues if cue["who"] != "coach"]
    people = made["participants"]
    own = [_lane(made, person, alone=len(people) == 1) for person in people]
    return [Lane("Said", talk), Lane("Calls", (), calls), Lane("Heard", (), heard), *own]


def _lane(made: Document, person: Mapping[str, Any], *, alone: bool) -> Lane:
    spans: list[tuple[str, float, float]] = []
    moments: list[tuple[str, float]] = []
    for pulse in made["pulses"]:
        if pulse["participant"] == person["number"]:
            spans.append(("count", pulse["start_s"], pulse["start_s"] + pulse["window_s"]))
    for hold in made["holds"]:
        if hold["participant"] == person["number"] and hold["end_s"] is not None:
            spans.append(("hold", hold["start_s"], hold["end_s"]))
            moments += [("contraction", hold["start_s"] + at) for at in hold["contractions_s"]]
    return Lane("Holds" if alone else f"No. {person['number']}", spans, moments)


def _timeline_table(made: Document) -> Table:
    rows = [
        (clock(hold["start_s"]), f"{_label(made, hold)}hold “{hold['label']}”", _until(hold))
        for hold in made["holds"]
    ]
    rows += [
        (
            clock(pulse["start_s"]),
            f"{_label(made, pulse)}pulse count “{pulse['label']}”",
            clock(pulse["start_s"] + pulse["window_s"]),
        )
        for pulse in made["pulses"]
    ]
    rows.sort(key=lambda row: [int(part) for part in row[0].split(":")])
    return Table("Holds and pulse counts by time", ("From", "What", "To"), rows)


def _until(hold: Mapping[str, Any]) -> str:
    return UNKNOWN if hold["end_s"] is None else clock(hold["end_s"])


def _label(made: Document, value: Mapping[str, Any]) -> str:
    return "" if len(made["participants"]) == 1 else f"Number {value['participant']}: "


# --- tables -----------------------------------------------------------------------------


def _holds(made: Document) -> Table:
    well = {(c["participant"], c["label"]): c["answer"] for c in made["check_ins"]}
    rows = []
    for hold in made["holds"]:
        contractions = hold["contractions_s"]
        rows.append(
            (
                f"{_label(made, hold)}{hold['label']}",
                hold["kind"],
                length(hold["duration_s"]),
                ENDS.get(hold["ended_by"], hold["ended_by"]),
                ", ".join(f"{at:.1f}" for at in contractions) or "none marked",
                ", ".join(f"{at:.1f}" for at in _calls(made, hold)) or "none",
                well.get((hold["participant"], hold["label"]), "not asked"),
            )
        )
    heads = ("Hold", "Kind", "Length", "Ended by", "Contractions (s)", "Time calls (s)", "Check-in")
    return Table("Holds; contractions and calls in seconds into the hold", heads, rows)


def _calls(made: Document, hold: Mapping[str, Any]) -> Sequence[float]:
    """When the time was called, in seconds into the hold."""
    end_s = hold["end_s"] if hold["end_s"] is not None else hold["start_s"]
    return [
        cue["start_s"] - hold["start_s"]
        for cue in made["timeline"]
        if cue["line"] == TIME_CALL and hold["start_s"] < cue["start_s"] <= end_s
    ]


def _pulses(made: Document) -> Table:
    rows = [
        (
            f"{_label(made, pulse)}{pulse['label']}",
            PLACES.get(pulse["place"], pulse["place"]),
            f"{pulse['window_s']:.0f} s",
            UNKNOWN if pulse["beats"] is None else str(pulse["beats"]),
            rate(pulse["bpm"]),
            UNKNOWN if pulse["spread_bpm"] is None else f"{pulse['spread_bpm']:.1f}",
            "yes" if pulse["corrected"] else "no",
        )
        for pulse in made["pulses"]
    ]
    heads = ("Count", "Place", "Over", "Beats", "A minute", "Give or take", "Corrected")
    return Table("Pulse counts", heads, rows)


def _spoken(made: Document) -> Table:
    rows = [(clock(cue["start_s"]), cue["who"], cue["text"]) for cue in made["timeline"]]
    return Table("Everything that was said and heard", ("Time", "Who", "Words"), rows)


def _corrections(made: Document) -> Table:
    rows = [
        (key, _changed(was["value"]), was["replaced_by"])
        for key, history in made["corrections"].items()
        for was in history
    ]
    return Table("Values that were corrected", ("Value", "Before", "Corrected by"), rows)


def _changed(value: Mapping[str, Any]) -> str:
    shown = {k: v for k, v in value.items() if k in ("duration_s", "beats", "bpm", "answer")}
    return ", ".join(f"{name} {item}" for name, item in shown.items()) or UNKNOWN

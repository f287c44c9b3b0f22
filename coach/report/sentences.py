"""What single results allow to be said, as line names with values; each line is one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from statistics import fmean
from typing import Any

from coach.practice.progress import (
    LEAST_FOR_TREND,
    Point,
    Verdict,
    is_personal_best,
    newest,
    trend,
    within,
)
from coach.practice.summary import PULSE_ERROR_BPM, Said
from coach.records.document import Summary

FREE_KINDS = ("main", "relaxed", "comfort", "baseline")  # the person decides when these end
TABLE_KINDS = ("co2", "o2")  # the plan decides, so their lengths show no progress
UNWELL = ("unwell", "dizzy", "tingling", "fainted")
YEAR_DAYS = 365.25
USUAL_DAYS = YEAR_DAYS  # what is older says little about what is usual now; ours
TREND_DAYS = 84.0  # twelve weeks: long enough for five sessions, short enough to be one season


def when(line: str, day: date, today: date) -> Said:
    """How long ago, as people say it: `line` with _today, _yesterday, _days, _weeks, ..."""
    days = max((today - day).days, 0)
    if days < 2:
        return (f"{line}_{('today', 'yesterday')[days]}", {})
    if days < 14:
        return (f"{line}_days", {"days": days})
    if days < 61:
        return (f"{line}_weeks", {"weeks": round(days / 7)})
    if days < 2 * YEAR_DAYS:
        return (f"{line}_months", {"months": round(days * 12 / YEAR_DAYS)})
    return (f"{line}_years", {"years": int(days / YEAR_DAYS)})


def warnings(row: Summary, number: int) -> list[Said]:
    """What went wrong in a session; said before any result."""
    said: list[Said] = []
    if ("alarm", number) in {(note["what"], note["participant"]) for note in row["notes"]}:
        said.append(("rev_alarm", {}))
    answers = {hold["check_in"] for hold in holds_of(row, number)}
    if answers & set(UNWELL):
        said.append(("rev_unwell", {}))
    return said


def holds_of(row: Summary, number: int) -> list[Mapping[str, Any]]:
    """The holds of one participant, in order."""
    return [hold for hold in row["holds"] if hold["participant"] == number]


def recent(points: Sequence[Point], days: float) -> list[Point]:
    """The points of the last `days` before the newest one, and that one."""
    last = max((point.day for point in points), default=0.0)
    return within(points, last - days, last + 1.0)


def against_usual(points: Sequence[Point]) -> list[Said]:
    """How the newest hold compares with earlier ones of its kind."""
    row = recent(points, USUAL_DAYS)
    change = newest(row)
    if change is None:
        return [("rev_first", {})]
    if change.usual is None:
        return [("rev_few", {"more": LEAST_FOR_TREND + 1 - len(row)})]
    said: list[Said] = []
    if change.within:
        said.append(("rev_usual", {"before": change.before}))
    else:
        line = "rev_above" if change.difference > 0 else "rev_below"
        said.append((line, {"difference": abs(change.difference)}))
    if is_personal_best(points):
        said.append(("rev_longest", {}))
    return said


def hold_trend(points: Sequence[Point], *, even_none: bool) -> list[Said]:
    """The trend of holds of one kind; without one nothing, or that there is none."""
    found = trend(points)
    if found.verdict is Verdict.TOO_FEW:
        return [("rev_too_few", {"count": found.count})] if even_none else []
    if found.verdict is Verdict.NO_TREND or found.change is None:
        return [("rev_no_trend", {"count": found.count})] if even_none else []
    line = "rev_rising" if found.verdict is Verdict.RISING else "rev_falling"
    return [(line, {"count": found.count, "change": abs(found.change)})]


def pulse_before_after(row: Summary, number: int) -> list[Said]:
    """The counts of one session; a small difference is called what it is."""
    rates = {place: pulse_at(row, number, place) for place in ("before", "relaxed")}
    before, after = rates["before"], rates["relaxed"]
    if before is None or after is None:
        known = before if before is not None else after
        return [] if known is None else [("rev_pulse_one", {"bpm": round(known)})]
    values = {
        "before": round(before),
        "after": round(after),
        "difference": abs(round(after) - round(before)),
    }
    small = abs(after - before) < PULSE_ERROR_BPM
    return [("rev_pulse_same" if small else "rev_pulse_differs", values)]


def pulse_at(row: Summary, number: int, place: str) -> float | None:
    """Mean of the counts at a place in a session, beats per minute."""
    rates = [
        pulse["bpm"]
        for pulse in row["pulses"]
        if (pulse["participant"], pulse["place"]) == (number, place) and pulse["bpm"] is not None
    ]
    return fmean(rates) if rates else None


def pulse_against_usual(points: Sequence[Point]) -> list[Said]:
    """How the newest morning pulse compares; what the counts cannot carry is not claimed."""
    row = recent(points, USUAL_DAYS)
    change = newest(row)
    if change is None or change.usual is None:
        return [("rev_pulse_few", {"more": LEAST_FOR_TREND + 1 - len(row)})]
    if change.within or abs(change.difference) < PULSE_ERROR_BPM:
        return [("rev_pulse_usual", {"before": round(change.before)})]
    line = "rev_pulse_raised" if change.difference > 0 else "rev_pulse_lowered"
    return [(line, {"difference": round(abs(change.difference))})]


def pulse_trend(points: Sequence[Point]) -> list[Said]:
    """The trend of a pulse, only if it is larger than the error of the counts."""
    found = trend(points)
    if found.verdict is Verdict.TOO_FEW or found.change is None:
        return []
    small = abs(found.change) < PULSE_ERROR_BPM
    if small or found.verdict is Verdict.NO_TREND:
        return [("rev_pulse_steady", {"count": found.count})]
    line = "rev_pulse_rising" if found.change > 0 else "rev_pulse_falling"
    return [(line, {"count": found.count, "change": round(abs(found.change))})]

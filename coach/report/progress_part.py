"""The parts of a report that tell of many sessions of one person: like with like."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from statistics import median
from typing import Any

from coach.practice.progress import (
    LEAST_FOR_TREND,
    Change,
    Point,
    Trend,
    Verdict,
    newest,
    trend,
)
from coach.practice.summary import PULSE_ERROR_BPM
from coach.records.document import Summary
from coach.records.people import own
from coach.records.series import contraction_points, day_of, hold_points, pulse_points
from coach.report.charts import MANY, Words, pairs_chart, progress_chart, pulse_chart
from coach.report.parts import Figure, Section, Table, length, rate
from coach.report.scales import EPOCH
from coach.report.sentences import FREE_KINDS, TABLE_KINDS, USUAL_DAYS, holds_of, recent

KIND_TITLES = {
    "baseline": "Holds without preparation",
    "main": "Holds after the relaxation",
    "relaxed": "Relaxed holds",
    "comfort": "Holds to the first urge to breathe",
    "co2": "Carbon dioxide tables",
    "o2": "Oxygen tables",
}
FEW = f"There are fewer than {LEAST_FOR_TREND} days of it: too few to speak of a trend."


def day_label(day: float) -> str:
    """Days since 1970 as an ISO date."""
    return (EPOCH + timedelta(days=int(day))).isoformat()


def progress_section(rows: Sequence[Summary], name: str, prefix: str = "") -> Section:
    """Every kind of hold that somebody did, each for itself."""
    figures = [
        _hold_figure(rows, name, kind, prefix)
        for kind in FREE_KINDS
        if hold_points(rows, name, kind)
    ]
    tables = [table for kind in TABLE_KINDS if (table := _table_practice(rows, name, kind)).rows]
    paragraphs = [
        "Only the first hold of a kind in each session is compared: repeated holds of one day "
        "grow longer by themselves. Left out are holds that were stopped, and holds after which "
        "something was not well."
    ]
    if not figures:
        paragraphs = ["No hold that could be compared is kept yet."]
    return Section(
        f"{prefix}progress", "Holds over time", paragraphs, figures=figures, folded=tables
    )


def pulse_section(rows: Sequence[Summary], name: str, prefix: str = "") -> Section | None:
    """Pulse before and after the relaxation, and the morning pulse; None without counts."""
    figures = [
        figure
        for figure in (_pairs_figure(rows, name, prefix), _morning_figure(rows, name, prefix))
        if figure is not None
    ]
    if not figures:
        return None
    paragraph = (
        "A count over 15 seconds knows the pulse to a few beats a minute; two counts a minute "
        f"apart can differ by {PULSE_ERROR_BPM:.0f} without any cause. Smaller differences are "
        "not called an effect."
    )
    return Section(f"{prefix}pulse", "Pulse", [paragraph], figures=figures)


# --- holds ------------------------------------------------------------------------------


def _hold_figure(rows: Sequence[Summary], name: str, kind: str, prefix: str) -> Figure:
    points = hold_points(rows, name, kind)
    capped_days = {day_of(row["started"]) for row, number in own(rows, name)
                   if _first_ended_by(row, number, kind) == "cap"}  # fmt: skip
    free = [point for point in points if point.day not in capped_days]
    capped = [point for point in points if point.day in capped_days]
    found = trend(points)
    change = newest(recent(points, USUAL_DAYS))
    title = KIND_TITLES[kind]
    text = " ".join([*_span_words(points, length), *_trend_words(points, found, "seconds"),
                     *_newest_words(change, length)])  # fmt: skip
    words = Words(f"{prefix}hold-{kind}", title, text)
    reading = f"{text} {_how_to_read(points, found)}".rstrip()
    if capped:
        reading += " Rings: ended at the limit of the plan, so the person might have held longer."
    return Figure(
        words.name,
        title,
        [progress_chart(words, free, capped, found)] if len(points) > 1 else [],
        reading,
        _hold_table(rows, name, kind, points, capped_days),
    )


def _first_ended_by(row: Summary, number: int, kind: str) -> str:
    ends: list[str] = [h["ended_by"] for h in holds_of(row, number) if h["kind"] == kind]
    return ends[0] if ends else ""


def _hold_table(
    rows: Sequence[Summary],
    name: str,
    kind: str,
    points: Sequence[Point],
    capped_days: set[float],
) -> Table:
    onsets = {point.day: point.value for point in contraction_points(rows, name, kind)}
    lines = [
        (
            day_label(point.day),
            length(point.value),
            length(onsets[point.day]) if point.day in onsets else "none marked",
            "limit" if point.day in capped_days else "the person",
        )
        for point in points
    ]
    heads = ("Day", "Length", "First contraction", "Ended by")
    return Table(f"{KIND_TITLES[kind]}, first of each session", heads, lines)


def _table_practice(rows: Sequence[Summary], name: str, kind: str) -> Table:
    """Tables are set by the plan: they are listed, and no progress is read from them."""
    lines = []
    for row, number in own(rows, name):
        holds = [h for h in holds_of(row, number) if h["kind"] == kind]
        known = [h["duration_s"] for h in holds if h["duration_s"] is not None]
        if known:
            lines.append((row["started"][:10], str(len(holds)), length(max(known))))
    caption = f"{KIND_TITLES[kind]}: the plan sets the lengths, so they show no progress"
    return Table(caption, ("Day", "Holds", "Longest"), lines)


# --- pulse ------------------------------------------------------------------------------


def _pairs_figure(rows: Sequence[Summary], name: str, prefix: str) -> Figure | None:
    before = pulse_points(rows, name, "before")
    after = pulse_points(rows, name, "relaxed")
    if not before and not after:
        return None
    early = {point.day: point.value for point in before}
    late = {point.day: point.value for point in after}
    both = [late[day] - early[day] for day in early if day in late]
    title = "Pulse before and after the relaxation"
    text = f"Sessions with both counts: {len(both)}."
    if both:
        drop = median(both)
        small = " That is within the error of a count." if abs(drop) < PULSE_ERROR_BPM else ""
        text += f" The median difference is {drop:+.0f} beats a minute.{small}"
    words = Words(f"{prefix}pulse-pairs", title, text)
    table = Table(
        title,
        ("Day", "Before", "After", "Difference"),
        [
            (
                day_label(day),
                rate(early.get(day)),
                rate(late.get(day)),
                f"{late[day] - early[day]:+.0f}" if day in early and day in late else "not known",
            )
            for day in sorted({*early, *late})
        ],
    )
    reading = f"{text} Dots: before; rings: after."
    if len(both) > MANY:
        reading += " The lines are the middle of neighbouring sessions, dashed after."
    pictures = [pairs_chart(words, before, after)] if len({*early, *late}) > 1 else []
    return Figure(words.name, title, pictures, reading, table)


def _morning_figure(rows: Sequence[Summary], name: str, prefix: str) -> Figure | None:
    points = pulse_points(rows, name, "morning")
    if not points:
        return None
    found = trend(points)
    change = newest(recent(points, USUAL_DAYS))
    title = "Morning pulse"
    parts = [*_span_words(points, _beats), *_trend_words(points, found, "beats a minute")]
    parts += _newest_words(change, _beats, least=PULSE_ERROR_BPM)
    if found.change is not None and abs(found.change) < PULSE_ERROR_BPM:
        parts.append("The change over the whole time is smaller than the error of a count.")
    words = Words(f"{prefix}pulse-morning", title, " ".join(parts))
    lines = [(day_label(point.day), rate(point.value)) for point in points]
    table = Table("Morning pulse, beats a minute", ("Day", "Beats a minute"), lines)
    pictures = [pulse_chart(words, points, found)] if len(points) > 1 else []
    reading = f"{words.description} {_how_to_read(points, found)}".rstrip()
    return Figure(words.name, title, pictures, reading, table)


def _beats(value: float) -> str:
    return f"{value:.0f} beats a minute"


# --- words ------------------------------------------------------------------------------


def _span_words(points: Sequence[Point], shown: Callable[[Any], str]) -> Iterator[str]:
    values = [point.value for point in points]
    first, last = day_label(points[0].day), day_label(points[-1].day)
    if len(points) == 1:
        yield f"One result, on {first}: {shown(values[0])}."
        return
    yield (
        f"{len(points)} results from {first} to {last}, from {shown(min(values))} to "
        f"{shown(max(values))}, half of them under {shown(median(values))}."
    )


def _trend_words(points: Sequence[Point], found: Trend, unit: str) -> Iterator[str]:
    low, high = found.low_per_week, found.high_per_week
    if found.change is None or low is None or high is None:
        yield FEW
        return
    weeks = (points[-1].day - points[0].day) / 7
    least, most = round(low * weeks) + 0, round(high * weeks) + 0
    bounds = f"between {least:+d} and {most:+d} {unit} with 95 % confidence"
    if found.verdict is Verdict.NO_TREND:
        yield f"No trend: over the whole time {bounds}."
        return
    way = "Rising" if found.verdict is Verdict.RISING else "Falling"
    yield f"{way} over the whole time by {abs(found.change):.0f} {unit}, {bounds}."


def _how_to_read(points: Sequence[Point], found: Trend) -> str:
    if len(points) > MANY:
        return "The line is the middle of neighbouring results, the shaded area half of them."
    if found.per_week is not None:
        return "The shaded area holds the trend with 95 % confidence."
    return ""


def _newest_words(
    change: Change | None, shown: Callable[[Any], str], least: float = 0.0
) -> Iterator[str]:
    if change is None or change.usual is None:
        return
    if change.within or abs(change.difference) < least:
        yield f"The newest, {shown(change.value)}, lies within the usual variation."
        return
    way = "above" if change.difference > 0 else "below"
    yield f"The newest, {shown(change.value)}, lies {way} the usual variation."

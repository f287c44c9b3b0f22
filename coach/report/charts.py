"""Charts as SVG: leather lays them out, the style sheet of the page colours them.

Each picture has a title and a description for people who do not see it; the numbers are in a
table beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median, quantiles
from typing import Any
from xml.etree import ElementTree as ET

import leather  # type: ignore[import-untyped]
from markupsafe import Markup

from coach.practice.progress import Point, Trend, Verdict, thinned
from coach.report.marks import Band, Boxes, Dots, Line, Stems
from coach.report.scales import Scale, Tick, date_scale, rate_scale, seconds_scale

WIDTH, HEIGHT = 400, 240
WIDE = 760
LANE_HEIGHT = 30
EDGE_POINTS = 24  # along each edge of the band of a trend
MANY = 40  # results; beyond, single dots step back behind the middle of neighbouring ones
RUNS = 20  # groups of neighbours that many results are taken together into
leather.theme.margin = 0.02  # of the width
leather.theme.legend_font_char_height = leather.theme.legend_gap = 0  # there is no legend
STYLED = ("fill", "stroke", "stroke-width", "font-family", "font-size", "version", "transform")


@dataclass(frozen=True, slots=True)
class Words:
    """What a picture says to those who do not see it."""

    name: str  # unique in the page
    title: str
    description: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One row of a timeline: spans as boxes, moments as strokes, each with its class."""

    label: str
    spans: Sequence[tuple[str, float, float]] = ()  # class, from, to in seconds
    moments: Sequence[tuple[str, float]] = ()


def progress_chart(
    words: Words, free: Sequence[Point], capped: Sequence[Point], trend: Trend
) -> Markup:
    """Lengths of like holds over days; `capped` ended at the limit of the plan."""
    points = sorted([*free, *capped], key=lambda point: point.day)
    x = date_scale(points[0].day, points[-1].day)
    y = seconds_scale(max(point.value for point in points))
    chart = _chart(x, y)
    few = len(points) <= MANY
    if few:
        _add_bounds(chart, points, trend, y)
    else:
        _add_quartiles(chart, points)
    _add(chart, _places(free), Dots("dots" if few else "dots faint"))
    _add(chart, _places(capped), Dots("rings" if few else "rings faint"))
    _add_middle(chart, points, trend, y)
    return _svg(chart, words, WIDTH, HEIGHT)


def pulse_chart(words: Words, points: Sequence[Point], trend: Trend) -> Markup:
    """One pulse a day, in beats per minute."""
    x = date_scale(min(p.day for p in points), max(p.day for p in points))
    y = rate_scale(min(p.value for p in points), max(p.value for p in points))
    chart = _chart(x, y)
    few = len(points) <= MANY
    if few:
        _add_bounds(chart, points, trend, y)
    else:
        _add_quartiles(chart, points)
    _add(chart, _places(points), Dots("dots pulse" if few else "dots pulse faint"))
    _add_middle(chart, points, trend, y)
    return _svg(chart, words, WIDTH, HEIGHT)


def pairs_chart(words: Words, before: Sequence[Point], after: Sequence[Point]) -> Markup:
    """Pulse before and after in each session, joined by a line where both are known."""
    every = [*before, *after]
    x = date_scale(min(p.day for p in every), max(p.day for p in every))
    y = rate_scale(min(p.value for p in every), max(p.value for p in every))
    chart = _chart(x, y)
    later = {point.day: point.value for point in after}
    joined = [(p.day, p.value, p.day, later[p.day]) for p in before if p.day in later]
    if len(joined) <= MANY:
        _add(chart, joined, Stems("joins"))
        _add(chart, _places(before), Dots("dots pulse"))
        _add(chart, _places(after), Dots("rings pulse"))
    else:
        _add(chart, _places(before), Dots("dots pulse faint"))
        _add(chart, _places(after), Dots("rings pulse faint"))
        _add(chart, _places(thinned(before, RUNS)), Line("middle"))
        _add(chart, _places(thinned(after, RUNS)), Line("middle after"))
    return _svg(chart, words, WIDTH, HEIGHT)


def timeline(words: Words, lanes: Sequence[Lane], duration_s: float, width: int) -> Markup:
    """A session from left to right, one lane below the other."""
    top = len(lanes)
    x = seconds_scale(duration_s, most=5 if width < WIDE else 10)
    marks = [Tick(top - 0.5 - place, lane.label) for place, lane in enumerate(lanes)]
    chart = _chart(x, Scale(0.0, float(top), marks))
    boxes: dict[str, list[tuple[float, ...]]] = {}
    strokes: dict[str, list[tuple[float, ...]]] = {}
    for place, lane in enumerate(lanes):
        low = top - 1 - place
        for kind, start_s, end_s in lane.spans:
            boxes.setdefault(kind, []).append((start_s, low + 0.22, end_s, low + 0.78))
        for kind, at_s in lane.moments:
            strokes.setdefault(kind, []).append((at_s, low + 0.12, at_s, low + 0.88))
    for kind, rows in boxes.items():
        _add(chart, rows, Boxes(kind))
    for kind, rows in strokes.items():
        _add(chart, rows, Stems(kind))
    _add(chart, [(0.0, 0.0)], Line("base"))  # a chart needs a series
    return _svg(chart, words, width, 36 + LANE_HEIGHT * top)


# --- from leather to the page -------------------------------------------------------------


def _chart(x: Scale, y: Scale) -> Any:
    chart = leather.Chart()
    chart.set_x_scale(x)
    chart.set_y_scale(y)
    return chart


def _add(chart: Any, rows: Sequence[tuple[float, ...]], mark: Any) -> None:
    if rows:
        chart.add_series(leather.Series([tuple(map(float, row)) for row in rows]), mark)


def _places(points: Sequence[Point]) -> list[tuple[float, float]]:
    return [(point.day, point.value) for point in points]


def _add_bounds(chart: Any, points: Sequence[Point], trend: Trend, y: Scale) -> None:
    """The area between the bounds of the trend, through the medians."""
    low, high = trend.low_per_week, trend.high_per_week
    if low is None or high is None:
        return
    one, other = _along(points, low, y), _along(points, high, y)
    upper = [(day, max(a, b)) for (day, a), (_, b) in zip(one, other, strict=True)]
    lower = [(day, min(a, b)) for (day, a), (_, b) in zip(one, other, strict=True)]
    _add(chart, [*upper, *reversed(lower)], Band("band"))


def _along(points: Sequence[Point], per_week: float, y: Scale) -> list[tuple[float, float]]:
    """A straight line through the medians, kept inside the chart."""
    middle_day = median(point.day for point in points)
    middle = median(point.value for point in points)
    first, last = min(p.day for p in points), max(p.day for p in points)
    days = [first + (last - first) * n / EDGE_POINTS for n in range(EDGE_POINTS + 1)]
    values = [middle + per_week * (day - middle_day) / 7 for day in days]
    return [(day, min(max(v, y.low), y.high)) for day, v in zip(days, values, strict=True)]


def _add_quartiles(chart: Any, points: Sequence[Point]) -> None:
    """The area of the middle half of neighbouring results."""
    size = -(-len(points) // RUNS)
    runs = [points[start : start + size] for start in range(0, len(points), size)]
    edges = []
    for run in (run for run in runs if len(run) > 1):
        low, _, high = quantiles([point.value for point in run], n=4, method="inclusive")
        edges.append((median(point.day for point in run), low, high))
    lower = [(day, low) for day, low, _ in edges]
    upper = [(day, high) for day, _, high in edges]
    _add(chart, [*upper, *reversed(lower)], Band("band"))


def _add_middle(chart: Any, points: Sequence[Point], trend: Trend, y: Scale) -> None:
    """Of many results the line of the medians, of few the trend if there is one."""
    if len(points) > MANY:
        _add(chart, _places(thinned(points, RUNS)), Line("middle"))
    elif trend.per_week is not None and trend.verdict in (Verdict.RISING, Verdict.FALLING):
        _add(chart, _along(points, trend.per_week, y), Line("middle"))


def _svg(chart: Any, words: Words, width: int, height: int) -> Markup:
    root = ET.Element(
        "svg",
        {
            "viewBox": f"0 0 {width} {height}",
            "role": "img",
            "aria-labelledby": f"{words.name}-title",
            "aria-describedby": f"{words.name}-text",
            "class": "wide" if width == WIDE else "chart",
        },
    )
    ET.SubElement(root, "title", {"id": f"{words.name}-title"}).text = words.title
    ET.SubElement(root, "desc", {"id": f"{words.name}-text"}).text = words.description
    body = chart.to_svg_group(width, height)
    body.remove(body[0])  # leather's background
    root.append(_plain(body))
    # what is text in the tree is escaped by ElementTree
    return Markup(ET.tostring(root, encoding="unicode"))


def _plain(element: ET.Element) -> ET.Element:
    """The element without colours and fonts, which the style sheet gives, and short numbers."""
    for name in STYLED:
        if name != "transform" or not element.get("transform", "").strip():
            element.attrib.pop(name, None)
    for name, value in element.attrib.items():
        if name in ("x", "y", "x1", "x2", "y1", "y2"):
            element.set(name, f"{float(value):.1f}".removesuffix(".0"))
    for child in element:
        _plain(child)
    return element

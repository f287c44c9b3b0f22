"""Scales of charts: where values lie, and ticks at round times, dates and rates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import floor

EPOCH = date(1970, 1, 1)
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)
DAY_STEPS = (1, 2, 7, 14)
SECOND_STEPS = (5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 14400)
RATE_STEPS = (2, 5, 10, 20, 50)


@dataclass(frozen=True, slots=True)
class Tick:
    """A value with its label."""

    value: float
    label: str


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear scale over exactly its bounds; has what leather asks of a scale."""

    low: float
    high: float
    marks: Sequence[Tick]

    def contains(self, value: float) -> bool:
        """Whether `value` lies within the bounds."""
        return self.low <= value <= self.high

    def project(self, value: float, start: float, end: float) -> float:
        """Where `value` lies between the ends of the axis."""
        return start + (end - start) * (value - self.low) / (self.high - self.low)

    def ticks(self) -> list[float]:
        """Values of the ticks."""
        return [mark.value for mark in self.marks]

    def format_tick(self, _value: float, place: int, _count: int) -> str:
        """Label of the tick at `place`."""
        return self.marks[place].label


def _steps(low: float, high: float, steps: Sequence[int], most: int) -> range:
    """Multiples of the smallest step that cover low..high with at most `most` intervals."""
    for step in steps:
        first, last = int(low // step) * step, -int(-high // step) * step
        if (last - first) / step <= most:
            break
    return range(first, max(last, first + step) + step, step)


def seconds_scale(longest_s: float, most: int = 6) -> Scale:
    """From zero to a round time past the longest."""
    ticks = _steps(0, max(longest_s, 10.0), SECOND_STEPS, most)
    marks = [Tick(value, f"{value // 60}:{value % 60:02d}") for value in ticks]
    return Scale(0.0, float(ticks[-1]), marks)


def rate_scale(lowest_bpm: float, highest_bpm: float, most: int = 6) -> Scale:
    """Round rates around the lowest and the highest."""
    ticks = _steps(lowest_bpm - 2, highest_bpm + 2, RATE_STEPS, most)
    return Scale(float(ticks[0]), float(ticks[-1]), [Tick(v, str(v)) for v in ticks])


def date_scale(first_day: float, last_day: float, most: int = 5) -> Scale:
    """Days since 1970, with a little air at both ends and ticks at first days of periods."""
    air = max((last_day - first_day) * 0.03, 0.6)
    low, high = first_day - air, last_day + air
    first = EPOCH + timedelta(days=floor(low) + 1)
    days = _dates(first, EPOCH + timedelta(days=floor(high)), most)
    marks = [Tick((day - EPOCH).days, label) for day, label in days]
    return Scale(low, high, marks)


def _dates(first: date, last: date, most: int) -> list[tuple[date, str]]:
    days = (last - first).days
    for step in DAY_STEPS:
        if days / step < most:
            chosen = [first + timedelta(days=n) for n in range(0, days + 1, step)]
            return [(day, f"{day.day} {day:%b}") for day in chosen]
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    for step in MONTH_STEPS:
        numbers = [n for n in months if n % step == 0]
        starts = [day for n in numbers if first <= (day := date(n // 12, n % 12 + 1, 1)) <= last]
        years = step >= 12  # short labels
        if len(starts) <= (most + 3 if years else most):
            break
    form = "%Y" if years else "%b %Y"
    return [(day, f"{day:{form}}") for day in starts]

"""What a review has to say, computed again from the documents with NumPy and SciPy.

Nothing of coach.practice.progress or coach.records.series is used here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from coach.records.document import Document

Values = NDArray[np.float64]


@dataclass
class Row:
    """Results in order of time: days since 1970 with fraction, and values."""

    days: Values
    values: Values

    def of(self, chosen: NDArray[np.bool_]) -> Row:
        return Row(self.days[chosen], self.values[chosen])


def day_number(made: Document) -> float:
    at = datetime.fromisoformat(made["started"])
    midnight = at.hour / 24 + at.minute / 1440 + at.second / 86400
    return (at.date() - date(1970, 1, 1)).days + midnight


def first_holds(docs: Sequence[Document], kind: str) -> Row:
    """First hold of the kind in every session, if nothing was wrong with it."""
    found = []
    for made in docs:
        holds = [hold for hold in made["holds"] if hold["kind"] == kind]
        if not holds or holds[0]["ended_by"] in ("stop", "unknown", "interrupted"):
            continue
        answers = [c["answer"] for c in made["check_ins"] if c["label"] == holds[0]["label"]]
        if answers == ["okay"]:
            found.append((day_number(made), holds[0]["end_s"] - holds[0]["start_s"]))
    array = np.array(found, dtype=float).reshape(-1, 2)
    return Row(array[:, 0], np.round(array[:, 1], 6))


def pulses(docs: Sequence[Document], place: str) -> Row:
    found = []
    for made in docs:
        beats = [p["beats"] * 60 / p["window_s"] for p in made["pulses"] if p["place"] == place]
        if beats:
            found.append((day_number(made), sum(beats) / len(beats)))
    array = np.array(found, dtype=float).reshape(-1, 2)
    return Row(array[:, 0], array[:, 1])


def p_of_no_trend(values: Values) -> float:
    """Kendall's test: SciPy's exact one, and with ties all orders one by one."""
    n = len(values)
    if len(set(values)) == n:
        return float(stats.kendalltau(np.arange(n), values, method="exact").pvalue)
    orders = np.array(list(permutations(values)))
    pairs = [(i, j) for i in range(n) for j in range(i + 1, n)]
    scores = sum(np.sign(orders[:, j] - orders[:, i]) for i, j in pairs)
    mine = abs(sum(np.sign(values[j] - values[i]) for i, j in pairs))
    return float(np.mean(np.abs(scores) >= mine))


def trend(row: Row) -> tuple[str, float]:
    """ "few", "none", "rising" or "falling", and the change along Sen's slope."""
    if len(row.values) < 5:
        return "few", 0.0
    slope = float(stats.theilslopes(row.values, row.days).slope)
    change = slope * (row.days[-1] - row.days[0])
    if p_of_no_trend(row.values) >= 0.05 or slope == 0:
        return "none", change
    return ("rising" if slope > 0 else "falling"), change


def usual(row: Row) -> tuple[float, float] | None:
    """Median and half-width of what is usual, from up to ten results of the year before."""
    year = row.of(row.days >= row.days[-1] - 365.25)
    earlier = year.values[:-1][-10:]
    if len(earlier) < 5:
        return None
    typical = float(np.std(np.diff(earlier), ddof=1) / np.sqrt(2))
    return float(np.median(earlier)), 2 * typical * float(np.sqrt(1 + 1 / len(earlier)))


def until(docs: Sequence[Document], day: date) -> list[Document]:
    return [made for made in docs if made["started"][:10] <= day.isoformat()]


def from_day(docs: Sequence[Document], day: date) -> list[Document]:
    return [made for made in docs if made["started"][:10] >= day.isoformat()]


def monday(day: date) -> date:
    return day - timedelta(days=day.isocalendar().weekday - 1)

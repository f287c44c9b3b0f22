"""What a row of like results says: trend, usual variation, bests; and what it does not say.

Like is compared with like: the same kind of hold, or the same place of a pulse count. Nothing
here knows where results come from.

Sources: Sen's slope and Kendall's S with its exact distribution: Hollander, Wolfe, Chicken,
Nonparametric Statistical Methods, 3rd ed. 2014; variance with ties: Gilbert, Statistical Methods
for Environmental Pollution Monitoring, 1987, chapter 16 (memory); typical error: Hopkins, Sports
Med 2000;30(1):1-15. Acute:chronic workload ratios are left out on purpose: Lolli et al. Br J
Sports Med 2019;53:921.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from math import comb, copysign, sqrt
from statistics import NormalDist, fmean, median, stdev

LEAST_FOR_TREND = 5  # four points can never reach a two-sided p of 0.05: at best 2/24
SIGNIFICANT = 0.05
EXACT_UP_TO = 40  # values; beyond, the normal approximation is used
THINNED_TO = 120  # points of a trend; longer rows are first taken together by medians
VARIATION = 2.0  # typical errors of a difference that are still usual; about 95 %
LEVEL = 0.02  # holds within two per cent of each other are level; ours


@dataclass(frozen=True, slots=True)
class Point:
    """One result: when, in days on any scale, and how much, in seconds or beats per minute."""

    day: float
    value: float


class Verdict(StrEnum):
    """What a row of results allows to be said."""

    TOO_FEW = "too few"
    NO_TREND = "no trend"
    RISING = "rising"
    FALLING = "falling"


@dataclass(frozen=True, slots=True)
class Trend:
    """A trend over time. Slopes are per week; `low` and `high` bound them with 95 %.

    With fewer than LEAST_FOR_TREND results everything but `count` and `verdict` is None.
    """

    count: int
    verdict: Verdict
    per_week: float | None = None
    low_per_week: float | None = None
    high_per_week: float | None = None
    p: float | None = None
    change: float | None = None  # over the whole span, along the slope


@dataclass(frozen=True, slots=True)
class Change:
    """The newest result against those before it.

    `usual` is the half-width of the usual variation around `before`, the median of the earlier
    ones; None with fewer than LEAST_FOR_TREND of them, and then `within` is None too.
    """

    value: float
    before: float
    difference: float
    usual: float | None
    within: bool | None


@dataclass(frozen=True, slots=True)
class Span:
    """Results of a span of time: how many, median, best (longest, or lowest pulse)."""

    count: int
    middle: float | None
    best: float | None


# --- rank statistics ----------------------------------------------------------------


def kendall_s(values: Sequence[float]) -> int:
    """Kendall's S against the order in time: pairs that rise minus pairs that fall."""
    return sum((later > earlier) - (later < earlier) for earlier, later in combinations(values, 2))


def kendall_variance(values: Sequence[float]) -> float:
    """Variance of S if there is no trend; equal values are allowed for (Gilbert, 16.4)."""
    n = len(values)
    ties = Counter(values).values()
    return (n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in ties)) / 18


def kendall_counts(values: Sequence[float]) -> dict[int, int]:
    """How many orders of `values` have each S; equal values are not told apart.

    The falls in an order of a multiset of n with t1, t2, ... equal values are distributed as
    the Gaussian multinomial coefficient: the product of 1 - q^i for i = 1..n, divided by the
    same product for each t. Both are done as power series up to the highest power there is.
    """
    ties = list(Counter(values).values())
    pairs = comb(len(values), 2) - sum(comb(t, 2) for t in ties)  # pairs of different values
    falls = [1] + [0] * pairs
    for i in range(1, len(values) + 1):
        for power in range(pairs, i - 1, -1):
            falls[power] -= falls[power - i]
    for i in (i for t in ties for i in range(1, t + 1)):
        for power in range(i, pairs + 1):
            falls[power] += falls[power - i]
    return {pairs - 2 * k: count for k, count in enumerate(falls)}


def exact_p(values: Sequence[float]) -> float:
    """Two-sided p of S from its exact distribution: the share of orders at least as far from 0."""
    s = abs(kendall_s(values))
    counts = kendall_counts(values)
    extreme = sum(count for other, count in counts.items() if abs(other) >= s)
    return extreme / sum(counts.values())


def normal_p(values: Sequence[float]) -> float:
    """Two-sided p of S by the normal approximation with continuity correction and ties."""
    return 2 * (1 - NormalDist().cdf(abs(kendall_z(values))))


def kendall_z(values: Sequence[float]) -> float:
    """(S - sign S) / sqrt(Var S), 0 for S = 0."""
    s = kendall_s(values)
    variance = kendall_variance(values)
    return (s - copysign(1, s)) / sqrt(variance) if s and variance > 0 else 0.0


def trend_p(values: Sequence[float]) -> float:
    """Two-sided p of no trend: exact for up to EXACT_UP_TO values, else approximate."""
    return exact_p(values) if len(values) <= EXACT_UP_TO else normal_p(values)


def sen_slopes(points: Sequence[Point]) -> list[float]:
    """All slopes between two points of different days, ascending, per day."""
    return sorted(
        (b.value - a.value) / (b.day - a.day) for a, b in combinations(points, 2) if a.day != b.day
    )


def sen_interval(points: Sequence[Point], share: float = 0.95) -> tuple[float, float]:
    """Bounds of Sen's slope per day by ranks of the slopes (Hollander, Wolfe, section 9.3)."""
    return _interval(points, sen_slopes(points), share)


def _interval(
    points: Sequence[Point], slopes: Sequence[float], share: float
) -> tuple[float, float]:
    z = NormalDist().inv_cdf((1 - share) / 2)
    values = [point.value for point in points]
    days = [point.day for point in points]
    n = len(points)
    variance = kendall_variance(values) + kendall_variance(days) - n * (n - 1) * (2 * n + 5) / 18
    width = z * sqrt(max(variance, 0.0))
    upper = min(round((len(slopes) - width) / 2), len(slopes) - 1)
    lower = max(round((len(slopes) + width) / 2) - 1, 0)
    return slopes[lower], slopes[upper]


# --- what may be said ---------------------------------------------------------------


def thinned(points: Sequence[Point], most: int = THINNED_TO) -> list[Point]:
    """At most `most` points: neighbours are taken together, median day and median value."""
    size = -(-len(points) // most)
    if size <= 1:
        return list(points)
    runs = [points[start : start + size] for start in range(0, len(points), size)]
    return [Point(median(p.day for p in run), median(p.value for p in run)) for run in runs]


def trend(points: Iterable[Point]) -> Trend:
    """The trend of like results, in any order. At least five, on more than one day."""
    row = sorted(points, key=lambda point: point.day)
    used = thinned(row)
    slopes = sen_slopes(used)
    if len(row) < LEAST_FOR_TREND or not slopes:
        return Trend(len(row), Verdict.TOO_FEW)
    slope = median(slopes)
    low, high = _interval(used, slopes, 0.95)
    p = trend_p([point.value for point in used])
    verdict = Verdict.NO_TREND
    if p < SIGNIFICANT and slope != 0:
        verdict = Verdict.RISING if slope > 0 else Verdict.FALLING
    span = row[-1].day - row[0].day
    return Trend(len(row), verdict, 7 * slope, 7 * low, 7 * high, p, slope * span)


def typical_error(first: Sequence[float], second: Sequence[float]) -> float:
    """Within-person error of two trials of several people: SD of the changes / sqrt(2).

    Needs two pairs. Hopkins 2000.
    """
    changes = [b - a for a, b in zip(first, second, strict=True)]
    return stdev(changes) / sqrt(2)


def variation_percent(first: Sequence[float], second: Sequence[float]) -> float:
    """Typical error as a percentage of the mean of all trials."""
    return 100 * typical_error(first, second) / fmean([*first, *second])


def own_typical_error(values: Sequence[float]) -> float:
    """Typical error of one person from session to session, in order: SD of the steps / sqrt(2).

    Steps do not carry a slow trend, so practice does not widen it. Needs three values.
    """
    return typical_error(values[:-1], values[1:])


def newest(points: Iterable[Point], against: int = 10) -> Change | None:
    """The newest result against up to `against` like ones before it; None without any.

    Usual is what lies within VARIATION typical errors of the difference between one result and
    the mean of m: TE * sqrt(1 + 1/m).
    """
    row = sorted(points, key=lambda point: point.day)
    if len(row) < 2:
        return None
    value = row[-1].value
    earlier = [point.value for point in row[-1 - against : -1]]
    before = median(earlier)
    usual = None
    if len(earlier) >= LEAST_FOR_TREND:
        usual = VARIATION * own_typical_error(earlier) * sqrt(1 + 1 / len(earlier))
    within = None if usual is None else abs(value - before) <= usual
    return Change(value, before, value - before, usual, within)


def means_alike(
    now: Sequence[float], then: Sequence[float], earlier: Sequence[float]
) -> bool | None:
    """Whether two means lie within the usual variation of the person, known from `earlier`.

    Usual are VARIATION typical errors of a difference of means: TE * sqrt(1/n + 1/m). None with
    fewer than LEAST_FOR_TREND earlier results.
    """
    if len(earlier) < LEAST_FOR_TREND:
        return None
    usual = VARIATION * own_typical_error(earlier) * sqrt(1 / len(now) + 1 / len(then))
    return abs(fmean(now) - fmean(then)) <= usual


def best(points: Iterable[Point]) -> Point | None:
    """The highest value, the earliest of equals; None without any."""
    return min(points, key=lambda point: (-point.value, point.day), default=None)


def is_personal_best(points: Sequence[Point]) -> bool:
    """Whether the newest of at least two results is higher than all before it."""
    row = sorted(points, key=lambda point: point.day)
    return len(row) > 1 and row[-1].value > max(point.value for point in row[:-1])


def within(points: Iterable[Point], since_day: float, before_day: float) -> list[Point]:
    """The results from `since_day` on and before `before_day`."""
    return [point for point in points if since_day <= point.day < before_day]


def span(points: Iterable[Point], *, lowest: bool = False) -> Span:
    """Count, median and best of results; `lowest` where low is good (a resting pulse)."""
    values = [point.value for point in points]
    if not values:
        return Span(0, None, None)
    return Span(len(values), median(values), min(values) if lowest else max(values))


def levelled_off(durations_s: Sequence[float]) -> int | None:
    """The number of the hold from which on repeated holds of a session grew no more.

    Repeated holds lengthen and level off at about the third (Bakovic et al. J Appl Physiol
    2003;95(4):1460-1466); that is no progress of training. None if they grew to the end, or
    fewer than two followed.
    """
    for number in range(1, len(durations_s) - 1):
        here, later = durations_s[number - 1], durations_s[number:]
        if max(later) <= here * (1 + LEVEL):
            return number
    return None

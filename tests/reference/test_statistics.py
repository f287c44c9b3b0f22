"""The statistics of progress against textbook examples, scipy and pymannkendall."""

from __future__ import annotations

import random
from itertools import permutations
from statistics import fmean, median, stdev

import pymannkendall
import pytest
from scipy import stats

from coach.practice.progress import (
    EXACT_UP_TO,
    Point,
    Verdict,
    exact_p,
    kendall_s,
    kendall_variance,
    kendall_z,
    levelled_off,
    normal_p,
    sen_interval,
    sen_slopes,
    trend,
    typical_error,
    variation_percent,
)


def points(values: list[float]) -> list[Point]:
    return [Point(float(day), value) for day, value in enumerate(values)]


def test_sen_slope_and_exact_kendall_of_hollander_and_wolfe() -> None:
    # Hollander, Wolfe, Chicken. Nonparametric Statistical Methods, 3rd ed. 2014, Example 9.1
    values = [1.26, 1.27, 1.12, 1.16, 1.03]
    assert median(sen_slopes(points(values))) == pytest.approx(-0.05625)
    assert kendall_s(values) == -6
    assert exact_p(values) == pytest.approx(0.2333, abs=5e-5)
    assert trend(points(values)).verdict is Verdict.NO_TREND


def test_mann_kendall_worked_example() -> None:
    # J. Little, College of the Holy Cross, worked example of the Mann-Kendall test
    values = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
    assert kendall_s(values) == 54
    assert kendall_variance(values) == pytest.approx(332.667, abs=5e-4)
    assert kendall_z(values) == pytest.approx(2.9058, abs=5e-5)
    assert normal_p(values) == pytest.approx(0.00366, abs=5e-6)
    assert median(sen_slopes(points(values))) == pytest.approx(0.5667, abs=5e-5)
    assert trend(points(values)).verdict is Verdict.RISING


def test_four_points_are_never_a_trend() -> None:
    # Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, 16.4 (memory)
    assert kendall_s([10, 15, 14, 20]) == 4
    one_sided = exact_p([10, 15, 14, 20]) / 2  # the table of the book is one-sided
    assert one_sided == pytest.approx(0.167, abs=5e-4)
    assert min(exact_p(list(order)) for order in permutations([1, 2, 3, 4])) > 0.083
    assert trend(points([1, 2, 3, 4])).verdict is Verdict.TOO_FEW


def test_typical_error_of_hopkins() -> None:
    # Hopkins. Measures of reliability in sports medicine and science. Sports Med 2000;30(1):1-15
    first, second = [62.0, 78, 81, 55, 66], [67.0, 76, 87, 55, 63]
    changes = [b - a for a, b in zip(first, second, strict=True)]
    assert fmean(changes) == pytest.approx(1.2)
    assert stdev(changes) == pytest.approx(4.09, abs=5e-3)
    assert typical_error(first, second) == pytest.approx(2.89, abs=5e-3)
    assert variation_percent(first, second) == pytest.approx(4.2, abs=0.05)


def test_repeated_holds_level_off_at_the_third() -> None:
    # the pattern of Bakovic et al. J Appl Physiol 2003;95(4):1460-1466
    assert levelled_off([95, 110, 127, 125, 126]) == 3


def random_series(rng: random.Random) -> list[float]:
    size = rng.randint(5, 60)
    slope = rng.uniform(-1, 1)
    places = rng.choice([0, 1, 6])  # whole seconds tie often, microseconds never
    return [round(90 + slope * day + rng.gauss(0, 8), places) for day in range(size)]


def test_a_thousand_random_series_agree_with_scipy_and_pymannkendall() -> None:
    rng = random.Random(20261125)
    exact = tied = 0
    for _ in range(1000):
        values = random_series(rng)
        row = points(values)
        theirs = pymannkendall.original_test(values)
        assert kendall_s(values) == theirs.s
        assert kendall_variance(values) == pytest.approx(theirs.var_s)
        assert normal_p(values) == pytest.approx(theirs.p, abs=1e-9)
        slope = stats.theilslopes(values, range(len(values)), alpha=0.95)
        assert median(sen_slopes(row)) == pytest.approx(slope.slope, abs=1e-12)
        assert sen_interval(row) == pytest.approx((slope.low_slope, slope.high_slope), abs=1e-12)
        if len(set(values)) < len(values):
            tied += 1
        elif len(values) <= EXACT_UP_TO:
            exact += 1
            tau = stats.kendalltau(range(len(values)), values, method="exact")
            assert exact_p(values) == pytest.approx(tau.pvalue, rel=1e-9)
    assert exact > 100, "the draw has to hold rows without ties"
    assert tied > 100, "the draw has to hold rows with ties"


def test_exact_p_with_ties_equals_a_count_of_all_orders() -> None:
    rng = random.Random(7)
    for _ in range(60):
        values = [float(rng.randint(1, 4)) for _ in range(rng.randint(2, 7))]
        s = abs(kendall_s(values))
        orders = [abs(kendall_s(order)) for order in permutations(values)]
        share = sum(other >= s for other in orders) / len(orders)
        assert exact_p(values) == pytest.approx(share)

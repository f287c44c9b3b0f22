from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.practice.progress import (
    Point,
    Span,
    Verdict,
    best,
    is_personal_best,
    kendall_z,
    levelled_off,
    means_alike,
    newest,
    own_typical_error,
    span,
    thinned,
    trend,
    trend_p,
    within,
)

values = st.lists(st.floats(20, 400, allow_nan=False), min_size=1, max_size=30)


def points(row: list[float], every: float = 1.0) -> list[Point]:
    return [Point(number * every, value) for number, value in enumerate(row)]


def test_five_that_rise_are_a_trend_and_four_are_not() -> None:
    assert trend(points([60, 62, 64, 66])).verdict is Verdict.TOO_FEW
    rising = trend(points([60, 62, 64, 66, 68], every=3.5))
    assert rising.verdict is Verdict.RISING
    assert rising.per_week == pytest.approx(4.0)
    assert rising.change == pytest.approx(8.0)
    assert trend(points([68, 66, 64, 62, 60])).verdict is Verdict.FALLING


def test_five_on_one_day_are_not_a_trend() -> None:
    assert trend([Point(1.0, value) for value in (60, 70, 80, 90, 95)]).verdict is Verdict.TOO_FEW


def test_equal_results_are_no_trend() -> None:
    flat = trend(points([60.0] * 8))
    assert flat.verdict is Verdict.NO_TREND
    assert flat.p == 1.0
    assert kendall_z([60.0] * 8) == 0.0


def test_the_order_in_which_results_come_does_not_matter() -> None:
    row = points([60, 75, 62, 66, 80, 81, 70])
    assert trend(row) == trend(reversed(row))
    assert newest(row) == newest(reversed(row))


def test_long_rows_are_taken_together_and_keep_their_trend() -> None:
    row = points([60 + day * 0.01 + day % 7 for day in range(3000)])
    assert len(thinned(row)) <= 120
    assert trend(row).count == 3000
    assert trend(row).verdict is Verdict.RISING
    assert trend(row).per_week == pytest.approx(0.07, rel=0.05)
    assert thinned(row[:100]) == row[:100]


@given(values)
def test_a_trend_never_says_more_than_its_numbers(row: list[float]) -> None:
    found = trend(points(row))
    if found.verdict in (Verdict.RISING, Verdict.FALLING):
        assert found.p is not None
        assert found.p < 0.05
        assert len(row) >= 5
    if found.p is not None:
        assert 0 < found.p <= 1
        assert found.low_per_week is not None
        assert found.high_per_week is not None
        assert found.per_week is not None
        assert found.low_per_week <= found.per_week <= found.high_per_week


@given(values)
def test_turning_the_row_round_turns_the_trend_round(row: list[float]) -> None:
    assert trend_p(row) == pytest.approx(trend_p([-value for value in row]))


def test_the_newest_result_lies_within_the_usual_variation_or_not() -> None:
    usual = [70.0, 74, 69, 73, 71, 72]
    change = newest(points([*usual, 75.0]))
    assert change is not None
    assert change.before == 71.5
    assert change.difference == 3.5
    assert change.within is True
    assert newest(points([*usual, 95.0])).within is False  # type: ignore[union-attr]


def test_with_few_results_before_it_nothing_is_called_usual() -> None:
    change = newest(points([70, 72, 75]))
    assert change is not None
    assert change.usual is None
    assert change.within is None
    assert newest(points([70])) is None


def test_steady_progress_does_not_widen_the_usual_variation() -> None:
    assert own_typical_error([60, 65, 70, 75, 80]) == pytest.approx(0.0)


def test_best_is_the_highest_and_the_earliest_of_equals() -> None:
    assert best(points([70, 90, 80, 90])) == Point(1.0, 90)
    assert best([]) is None
    assert is_personal_best(points([70, 80, 81]))
    assert not is_personal_best(points([70, 80, 80]))
    assert not is_personal_best(points([70]))


def test_spans_are_half_open_and_may_be_empty() -> None:
    row = points([70, 90, 80])
    assert within(row, 1.0, 2.0) == [Point(1.0, 90)]
    assert span(row) == Span(3, 80, 90)
    assert span(row, lowest=True) == Span(3, 80, 70)
    assert span([]) == Span(0, None, None)


def test_holds_that_grow_to_the_end_have_not_levelled_off() -> None:
    assert levelled_off([60, 70, 80, 90]) is None
    assert levelled_off([90, 90, 90]) == 1
    assert levelled_off([60, 70]) is None


def test_two_weeks_are_alike_within_the_typical_errors_of_their_means() -> None:
    earlier = [60.0, 62.0, 60.0, 62.0, 60.0]
    error = own_typical_error(earlier)
    limit = 2 * error * (1 / 2 + 1 / 3) ** 0.5
    assert means_alike([60 + limit - 0.01] * 2, [60.0] * 3, earlier) is True
    assert means_alike([60 + limit + 0.01] * 2, [60.0] * 3, earlier) is False
    assert means_alike([60.0], [90.0], earlier[:4]) is None

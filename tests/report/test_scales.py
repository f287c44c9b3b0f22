"""Ticks of the charts: round, inside, few enough to read."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.report.parts import clock, length
from coach.report.scales import EPOCH, Scale, date_scale, rate_scale, seconds_scale
from coach.voice import spoken

DAYS = st.floats(0, 30_000)


def inside(scale: Scale) -> bool:
    return all(scale.contains(value) for value in scale.ticks())


@given(st.floats(0.1, 20_000))
def test_times_are_at_round_seconds_from_zero(longest_s: float) -> None:
    scale = seconds_scale(longest_s)
    assert scale.ticks()[0] == 0
    assert scale.high >= longest_s
    assert inside(scale)
    assert 2 <= len(scale.ticks()) <= 7
    assert all(mark.label == clock(mark.value) for mark in scale.marks)


@given(st.floats(24, 220), st.floats(0, 150))
def test_rates_have_air_and_round_ticks(lowest_bpm: float, spread_bpm: float) -> None:
    scale = rate_scale(lowest_bpm, lowest_bpm + spread_bpm)
    assert scale.low <= lowest_bpm - 2
    assert scale.high >= lowest_bpm + spread_bpm + 2
    assert inside(scale)
    assert 2 <= len(scale.ticks()) <= 8


@given(DAYS, st.floats(0, 20_000))
def test_dates_are_few_inside_and_different(first: float, span: float) -> None:
    scale = date_scale(first, first + span)
    assert inside(scale)
    assert 1 <= len(scale.marks) <= 8
    labels = [mark.label for mark in scale.marks]
    assert len(labels) == len(set(labels))


@pytest.mark.parametrize(
    ("days", "labels"),
    [
        (4, ["1 Mar", "2 Mar", "3 Mar", "4 Mar", "5 Mar"]),
        (100, ["Mar 2024", "Apr 2024", "May 2024", "Jun 2024"]),
        (400, ["Apr 2024", "Jul 2024", "Oct 2024", "Jan 2025", "Apr 2025"]),
        (3650, ["2024", "2026", "2028", "2030", "2032", "2034"]),
    ],
)
def test_dates_fit_the_span(days: int, labels: list[str]) -> None:
    first = (date(2024, 3, 1) - EPOCH) / timedelta(days=1)
    assert [mark.label for mark in date_scale(first, first + days).marks] == labels


def test_projection_is_linear_to_the_edges() -> None:
    scale = Scale(10.0, 20.0, ())
    assert [scale.project(value, 300, 0) for value in (10, 15, 20)] == [300, 150, 0]


@given(st.floats(0.05, 99.94))
def test_a_length_is_written_as_it_is_spoken(seconds: float) -> None:
    """The same tenth as the voice says; num2words is the oracle."""
    written = length(seconds)
    minutes, _, rest = written.removesuffix(" s").rpartition(":")
    total = round(60 * int(minutes or 0) + float(rest), 1)
    assert spoken.tenths(total) == spoken.tenths(seconds)


@pytest.mark.parametrize(
    ("seconds", "written"),
    [(42.04, "42.0 s"), (42.05, "42.1 s"), (59.96, "1:00.0"), (73.4, "1:13.4"), (605.0, "10:05.0")],
)
def test_lengths_round_halves_up(seconds: float, written: str) -> None:
    assert length(seconds) == written

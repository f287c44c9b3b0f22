"""CO2 and O2 tables against worked tables, and the properties they must have for everybody.

Training page of a dive school, freedivermalta, "Training CO2 and O2 tables" (seen; the totals are
computed). Rounding down to 5 s is ours. Properties: common practice, no source.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.practice.safety import SHARE_OF_BEST_O2
from coach.practice.tables import co2_table, eased, o2_cap_s, o2_table, total_s
from coach.voice.spoken import duration

BESTS = st.one_of(st.integers(60, 480).map(float), st.floats(60.0, 480.0))
SHARES = st.floats(0.5, 0.99)


def test_the_co2_table_for_a_best_of_3_00() -> None:
    """Eight times 1:30, half the best; rests 2:30 falling by 15 s to 1:00; 25:15 altogether."""
    table = co2_table(180.0)
    assert [r.hold_s for r in table] == [90.0] * 8
    assert [r.rest_s for r in table] == [150, 135, 120, 105, 90, 75, 60, 60]
    assert total_s(table) == 25 * 60 + 15


def test_the_o2_table_for_a_best_of_3_00() -> None:
    """Holds 60, 75, ... 135 with rests of 120 before each: 21:45 (arithmetic)."""
    table = o2_table(180.0)
    assert [r.hold_s for r in table] == [60, 75, 90, 105, 120, 135]
    assert [r.rest_s for r in table] == [120.0] * 6
    assert total_s(table) == 21 * 60 + 45


def test_the_last_o2_hold_is_at_most_four_fifths_of_the_best_rounded_down() -> None:
    """3:00 -> 2:24, as a table in whole 5 s 2:20; 3:05 -> 148 s -> 2:25, never 2:30."""
    assert SHARE_OF_BEST_O2 * 180.0 == 144.0
    assert o2_cap_s(180.0) == 140.0
    assert SHARE_OF_BEST_O2 * 185.0 == 148.0
    assert o2_cap_s(185.0) == 145.0


@given(BESTS)
def test_every_co2_table(best_s: float) -> None:
    table = co2_table(best_s)
    assert len(table) == 8
    assert len({r.hold_s for r in table}) == 1
    assert table[0].hold_s <= best_s / 2
    assert table[0].hold_s > best_s / 2 - 5
    rests = [r.rest_s for r in table]
    assert all(a >= b for a, b in pairwise(rests))
    assert all(a - b in (0.0, 15.0) for a, b in pairwise(rests))
    assert min(rests) == 60.0


@given(BESTS)
def test_every_o2_table(best_s: float) -> None:
    table = o2_table(best_s)
    assert 1 <= len(table) <= 8
    assert {r.rest_s for r in table} == {120.0}
    holds = [r.hold_s for r in table]
    assert all(a < b for a, b in pairwise(holds))
    assert holds[-1] <= SHARE_OF_BEST_O2 * best_s
    if len(table) < 8:  # the next step would have gone past the cap
        assert holds[-1] + 15 > o2_cap_s(best_s)


@given(BESTS, st.floats(60.0, 200.0))
def test_a_stricter_floor_is_kept(best_s: float, floor_s: float) -> None:
    assert min(r.rest_s for r in co2_table(best_s, floor_s)) >= floor_s
    assert {r.rest_s for r in o2_table(best_s, floor_s)} == {floor_s}


@given(BESTS)
def test_every_length_is_whole_and_can_be_spoken(best_s: float) -> None:
    for table in (co2_table(best_s), o2_table(best_s)):
        for r in table:
            assert r.hold_s % 5 == 0
            assert r.rest_s % 5 == 0
        assert total_s(table) == sum(r.hold_s for r in table) + sum(r.rest_s for r in table)
        assert duration(total_s(table))


@given(BESTS, SHARES)
def test_an_eased_table_is_never_harder(best_s: float, share: float) -> None:
    for table in (co2_table(best_s), o2_table(best_s)):
        softer = eased(table, share)
        assert [r.rest_s for r in softer] == [r.rest_s for r in table]
        for soft, full in zip(softer, table, strict=True):
            assert 10.0 <= soft.hold_s <= full.hold_s
            assert soft.hold_s % 5 == 0
        assert total_s(softer) <= total_s(table)


@pytest.mark.parametrize("best_s", [None, 0.0, 30.0, 59.9])
def test_without_a_best_of_a_minute_there_is_no_table(best_s: float | None) -> None:
    assert co2_table(best_s) == ()
    assert o2_table(best_s) == ()


@given(BESTS, BESTS)
def test_a_longer_best_never_gives_an_easier_table(one_s: float, other_s: float) -> None:
    less_s, more_s = sorted([one_s, other_s])
    assert total_s(co2_table(less_s)) <= total_s(co2_table(more_s))
    assert len(o2_table(less_s)) <= len(o2_table(more_s)) or less_s < 120

"""CO2 and O2 tables from a personal best.

Shape of the tables: training page of a dive school, "Training CO2 and O2 tables" (holds of 50 %
of the best with rests that shrink by 15 s to a floor of one minute; constant rests of two minutes
with holds that grow to at most 80 % of the best). Rounding down is ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from coach.practice.safety import SHARE_OF_BEST_O2

SHORTEST_BEST_S = 60.0  # no table for less
SHORTEST_HOLD_S = 10.0
STEP_S = 15.0
ROUNDS = 8
CO2_SHARE = 0.5
CO2_FIRST_REST_S = 150.0
O2_REST_S = 120.0
O2_FIRST_HOLD_S = 60.0


@dataclass(frozen=True, slots=True)
class Round:
    """A rest and the hold that follows it, in seconds."""

    rest_s: float
    hold_s: float


def _down(seconds: float, step_s: float = 5.0) -> float:
    return floor(seconds / step_s) * step_s


def total_s(rounds: tuple[Round, ...]) -> float:
    """Length of the whole table."""
    return sum(r.rest_s + r.hold_s for r in rounds)


def co2_table(best_s: float | None, floor_s: float = 60.0) -> tuple[Round, ...]:
    """Equal holds, shrinking rests; empty without a best of at least a minute."""
    if best_s is None or best_s < SHORTEST_BEST_S:
        return ()
    hold_s = _down(best_s * CO2_SHARE)
    return tuple(Round(max(floor_s, CO2_FIRST_REST_S - STEP_S * n), hold_s) for n in range(ROUNDS))


def o2_cap_s(best_s: float) -> float:
    """The longest hold of an O2 table: 80 % of the best, rounded down to 5 s (3:05 -> 2:25)."""
    return _down(best_s * SHARE_OF_BEST_O2)


def o2_table(best_s: float | None, rest_s: float = O2_REST_S) -> tuple[Round, ...]:
    """Equal rests, growing holds up to 80 % of the best; empty without a best of a minute.

    Holds start at a minute, or at half the best if that is less, and grow by 15 s; the last one
    is the largest step that does not pass the cap.
    """
    if best_s is None or best_s < SHORTEST_BEST_S:
        return ()
    cap_s = o2_cap_s(best_s)
    first_s = min(O2_FIRST_HOLD_S, _down(best_s * CO2_SHARE))
    holds: list[float] = []
    while len(holds) < ROUNDS and first_s + STEP_S * len(holds) <= cap_s:
        holds.append(first_s + STEP_S * len(holds))
    return tuple(Round(rest_s, hold_s) for hold_s in holds)


def eased(rounds: tuple[Round, ...], share: float) -> tuple[Round, ...]:
    """The same table with every hold at `share` of its length, in whole 5 s, rests unchanged.

    No hold gets shorter than 10 s.
    """
    return tuple(Round(r.rest_s, max(SHORTEST_HOLD_S, _down(r.hold_s * share))) for r in rounds)

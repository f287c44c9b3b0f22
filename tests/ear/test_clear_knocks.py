"""Knocks while the coach's echo may look like one."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.clear_knocks import ClearKnocks
from coach.ear.frames import FRAME, FRAME_S
from coach.ear.scripted import Knock
from coach.practice.events import Knocked, Knocks
from tests.ear.air import air

PAIR_S = (1.5, 1.8)


def heard(
    knocks: ClearKnocks, script: Knock, start_s: float, doubtful_s: tuple[float, float] = (0.0, 0.0)
) -> list[Knocked]:
    """The script on a clock that stands at `start_s`; the echo is doubtful for a stretch of it."""
    samples = air([script], 3.5).microphone
    events = []
    for number, frame in enumerate(samples.reshape(-1, FRAME)):
        doubtful = doubtful_s[0] <= number * FRAME_S < doubtful_s[1]
        events += knocks.hear(frame, doubtful, start_s + (number + 1) * FRAME_S)
    return events


def told(doubtful_s: tuple[float, float], start_s: float = 0.0) -> list[Knocked]:
    """A pair."""
    knocks = ClearKnocks()
    knocks.attend(Knocks.MARKS, start_s)
    return heard(knocks, Knock(PAIR_S[0], 2), start_s, doubtful_s)


@pytest.mark.parametrize("start_s", [0.0, 3600.0])
def test_a_pair_is_told_in_room_time(start_s: float) -> None:
    (knocked,) = told((0.0, 0.0), start_s)
    assert knocked.count == 2
    assert knocked.onset_s == pytest.approx(start_s + PAIR_S[0], abs=0.005)


def test_doubtful_knocks_are_not_told() -> None:
    assert told((1.3, 2.0)) == []


@pytest.mark.parametrize(
    ("doubtful_s", "clear_s"), [((1.75, 2.0), PAIR_S[0]), ((1.4, 1.55), PAIR_S[1])]
)
def test_half_a_pair_ends_no_hold(doubtful_s: tuple[float, float], clear_s: float) -> None:
    (knocked,) = told(doubtful_s)
    assert knocked.count == 1
    assert knocked.onset_s == pytest.approx(clear_s, abs=0.005)


def test_nothing_is_left_of_what_was_before_a_jump_of_the_rooms_clock() -> None:
    knocks = ClearKnocks()
    knocks.attend(Knocks.MARKS, 0.0)
    knocks.hear(np.zeros(FRAME, np.float32), True, FRAME_S)
    knocks.begin_at(60.0)
    events = heard(knocks, Knock(1.0, 1), 60.0)
    assert [round(event.onset_s, 1) for event in events] == [61.0]

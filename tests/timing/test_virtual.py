"""Virtual time hands out every cue once, in order, at exactly its time."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from coach.practice.events import CueDue
from coach.timing.virtual import VirtualCalendar


def test_a_cue_is_due_at_exactly_its_time() -> None:
    calendar = VirtualCalendar()
    calendar.add(1, 0.5)
    assert calendar.until(0.499) == []
    assert calendar.until(0.5) == [CueDue(0.5, 1)]
    assert calendar.until(9.0) == []


def test_a_cue_in_the_past_is_due_at_once() -> None:
    calendar = VirtualCalendar()
    calendar.until(3.0)
    calendar.add(1, 1.0)
    assert calendar.until(3.0) == [CueDue(3.0, 1)]


def test_a_dropped_cue_never_comes_and_an_unknown_one_does_not_matter() -> None:
    calendar = VirtualCalendar()
    calendar.add(1, 0.5)
    calendar.add(2, 0.5)
    calendar.drop(1)
    calendar.drop(3)
    assert calendar.until(1.0) == [CueDue(0.5, 2)]


def test_equal_times_keep_their_order() -> None:
    calendar = VirtualCalendar()
    for cue in (3, 1, 2):
        calendar.add(cue, 1.0)
    assert [due.cue for due in calendar.until(1.0)] == [3, 1, 2]


@settings(deadline=None)
@given(st.lists(st.floats(0, 100), max_size=30), st.lists(st.floats(0, 100), max_size=10))
def test_all_come_once_in_order_and_none_early(dues_s: list[float], steps_s: list[float]) -> None:
    calendar = VirtualCalendar()
    for cue, due_s in enumerate(dues_s):
        calendar.add(cue, due_s)
    came: list[CueDue] = []
    for now_s in [*sorted(steps_s), 100.0]:
        due = calendar.until(now_s)
        assert all(event.at_s <= now_s for event in due)
        came += due
    assert [event.at_s for event in came] == sorted(dues_s)
    assert sorted(event.cue for event in came) == list(range(len(dues_s)))
    assert all(event.at_s == dues_s[event.cue] for event in came)

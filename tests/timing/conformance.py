"""What every cue calendar promises, on real and on virtual time."""

from __future__ import annotations

from typing import Protocol

from coach.ports import Calendar
from coach.practice.events import CueDue


class Bench(Protocol):
    """A calendar together with the means to let its time pass."""

    calendar: Calendar

    def now_s(self) -> float:
        """Room time."""

    def wait(self, seconds: float) -> list[CueDue]:
        """Let that much room time pass; the cues delivered in it, in order."""


class CalendarConformance:
    """Subclasses give the fixture `bench`."""

    def test_a_cue_is_delivered_once_and_not_before_its_time(self, bench: Bench) -> None:
        due_s = bench.now_s() + 0.2
        bench.calendar.add(1, due_s)
        assert bench.wait(0.1) == []
        (event,) = bench.wait(0.6)
        assert event.cue == 1
        assert event.at_s >= due_s - 0.002
        assert bench.wait(0.3) == []

    def test_a_cue_in_the_past_is_delivered_at_once(self, bench: Bench) -> None:
        now_s = bench.now_s()
        bench.calendar.add(7, now_s - 100.0)
        (event,) = bench.wait(0.4)
        assert event.cue == 7
        assert event.at_s >= now_s  # it tells when it was delivered, not when it was due

    def test_cues_come_in_the_order_of_their_times(self, bench: Bench) -> None:
        now_s = bench.now_s()
        for cue, after_s in ((1, 0.3), (2, 0.1), (3, 0.2)):
            bench.calendar.add(cue, now_s + after_s)
        assert [event.cue for event in bench.wait(0.8)] == [2, 3, 1]

    def test_a_dropped_cue_never_comes(self, bench: Bench) -> None:
        now_s = bench.now_s()
        bench.calendar.add(1, now_s + 0.1)
        bench.calendar.add(2, now_s + 0.15)
        bench.calendar.drop(1)
        assert [event.cue for event in bench.wait(0.5)] == [2]

    def test_dropping_what_is_unknown_or_gone_changes_nothing(self, bench: Bench) -> None:
        bench.calendar.drop(99)
        bench.calendar.add(1, bench.now_s())
        assert [event.cue for event in bench.wait(0.4)] == [1]
        bench.calendar.drop(1)
        assert bench.wait(0.2) == []

    def test_a_cue_can_be_used_again(self, bench: Bench) -> None:
        bench.calendar.add(1, bench.now_s())
        assert len(bench.wait(0.4)) == 1
        bench.calendar.add(1, bench.now_s() + 0.1)
        assert [event.cue for event in bench.wait(0.5)] == [1]

    def test_a_cue_added_twice_has_the_later_added_time(self, bench: Bench) -> None:
        now_s = bench.now_s()
        bench.calendar.add(1, now_s + 0.1)
        bench.calendar.add(1, now_s + 0.4)
        assert bench.wait(0.25) == []
        assert [event.cue for event in bench.wait(0.5)] == [1]

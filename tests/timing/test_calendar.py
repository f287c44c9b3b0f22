from __future__ import annotations

import time
from collections.abc import Iterator
from queue import Empty, SimpleQueue

import pytest

from coach.practice.events import CueDue
from coach.timing.calendar import JobCalendar
from coach.timing.virtual import VirtualCalendar
from tests.timing.conformance import CalendarConformance


class RealBench:
    """The job calendar on a room clock that can be set apart from the clock of day."""

    def __init__(self) -> None:
        self._started_s = time.monotonic() - 5.0
        self.queue: SimpleQueue[CueDue] = SimpleQueue()
        self.calendar = JobCalendar(self.now_s, self.queue.put)

    def now_s(self) -> float:
        return time.monotonic() - self._started_s

    def shift(self, seconds: float) -> None:
        self._started_s -= seconds

    def wait(self, seconds: float) -> list[CueDue]:
        ends_s = time.monotonic() + seconds
        found: list[CueDue] = []
        while (left_s := ends_s - time.monotonic()) > 0:
            try:
                event = self.queue.get(timeout=left_s)
            except Empty:
                break
            if self.calendar.confirm(event):
                found.append(event)
        return found


@pytest.fixture
def bench() -> Iterator[RealBench]:
    bench = RealBench()
    yield bench
    bench.calendar.close()


class TestJobCalendar(CalendarConformance):
    pass


def test_a_cue_dropped_while_it_waits_in_the_queue_is_not_seen(bench: RealBench) -> None:
    bench.calendar.add(1, bench.now_s())
    time.sleep(0.3)
    assert not bench.queue.empty()
    bench.calendar.drop(1)
    assert bench.wait(0.1) == []


def test_a_cue_set_anew_while_its_first_delivery_waits_comes_at_its_new_time(
    bench: RealBench,
) -> None:
    bench.calendar.add(1, bench.now_s())
    time.sleep(0.3)
    bench.calendar.add(1, due_s := bench.now_s() + 0.3)
    (event,) = bench.wait(0.8)
    assert event.at_s >= due_s - 0.002


def test_alarms_follow_the_room_when_the_clocks_come_apart(bench: RealBench) -> None:
    bench.calendar.add(1, bench.now_s() + 60.0)
    bench.shift(59.9)  # for the scheduler the cue is still a minute away
    bench.calendar.follow()
    assert [event.cue for event in bench.wait(1.0)] == [1]


def test_an_alarm_that_rings_too_early_is_set_again(bench: RealBench) -> None:
    due_s = bench.now_s() + 0.1
    bench.calendar.add(1, due_s)
    bench.shift(-0.3)
    (event,) = bench.wait(1.5)
    assert event.at_s >= due_s - 0.002


class VirtualBench:
    """The calendar of the simulated room; time passes when it is told to."""

    def __init__(self) -> None:
        self.calendar = VirtualCalendar()
        self._now_s = 5.0
        self.calendar.until(self._now_s)

    def now_s(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> list[CueDue]:
        self._now_s += seconds
        return self.calendar.until(self._now_s)


class TestVirtualCalendar(CalendarConformance):
    @pytest.fixture
    def bench(self) -> VirtualBench:
        return VirtualBench()

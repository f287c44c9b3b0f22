from __future__ import annotations

import queue
import random
import zoneinfo
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import WEEKLY, rrule  # type: ignore[import-untyped]

from coach.durable import packed, read_tables, write_whole
from coach.timing.reminders import WEEK, PracticeDays, Reminders, Weekly

BERLIN = ZoneInfo("Europe/Berlin")
DAILY = PracticeDays(WEEK, "18:00", "three-holds")


class Bell:
    """Collects what is delivered."""

    def __init__(self) -> None:
        self.rung: queue.Queue[tuple[str, bool]] = queue.Queue()

    def __call__(self, plan: str, late: bool) -> None:
        self.rung.put((plan, late))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "reminders.json"


@pytest.fixture
def bell() -> Bell:
    return Bell()


@pytest.fixture
def started(path: Path) -> Iterator[list[Reminders]]:
    """Reminders that are closed at the end of the test."""
    open_ones: list[Reminders] = []
    yield open_ones
    for reminders in open_ones:
        reminders.close()


def fires(trigger: Weekly, after: datetime, count: int) -> list[datetime]:
    times = [trigger.get_next_fire_time(None, after)]
    while len(times) < count:
        times.append(trigger.get_next_fire_time(times[-1], after))
    return times


# --- when -------------------------------------------------------------------------


def test_the_local_time_stays_when_the_clocks_change() -> None:
    trigger = Weekly(["SA", "SU", "MO"], time(18), BERLIN)
    for first, offsets in ((date(2026, 3, 28), [1, 2, 2]), (date(2026, 10, 24), [2, 1, 1])):
        times = fires(trigger, datetime.combine(first, time(12), BERLIN), 3)
        assert [due.hour for due in times] == [18, 18, 18]
        assert [due.utcoffset() for due in times] == [timedelta(hours=h) for h in offsets]


def test_a_time_that_is_skipped_comes_once_with_the_offset_before() -> None:
    # RFC 5545 section 3.3.5: the offset before the gap, so 02:30 becomes 03:30
    trigger = Weekly(WEEK, time(2, 30), BERLIN)
    times = fires(trigger, datetime(2026, 3, 28, 12, tzinfo=BERLIN), 3)
    assert [due.isoformat() for due in times] == [
        "2026-03-29T03:30:00+02:00",
        "2026-03-30T02:30:00+02:00",
        "2026-03-31T02:30:00+02:00",
    ]


def test_a_time_that_comes_twice_is_its_first() -> None:
    trigger = Weekly(WEEK, time(2, 30), BERLIN)
    times = fires(trigger, datetime(2026, 10, 24, 12, tzinfo=BERLIN), 2)
    assert [due.isoformat() for due in times] == [
        "2026-10-25T02:30:00+02:00",
        "2026-10-26T02:30:00+01:00",
    ]


def test_two_years_of_practice_days_agree_with_an_rrule_in_many_zones() -> None:
    rng = random.Random(5)
    names = ["Australia/Lord_Howe", "America/New_York", "Asia/Kathmandu", "Africa/Casablanca"]
    names += rng.sample(sorted(name for name in zoneinfo.available_timezones() if "/" in name), 20)
    for name in names:
        zone = ZoneInfo(name)
        days = rng.sample(WEEK, rng.randint(1, 4))
        at = time(rng.randint(5, 22), rng.choice([0, 15, 45]))  # no clock is changed so late
        naive = rrule(
            WEEKLY, dtstart=datetime.combine(date(2026, 1, 1), at),
            count=80, byweekday=[WEEK.index(day) for day in days],
        )  # fmt: skip
        times = fires(Weekly(days, at, zone), datetime(2026, 1, 1, tzinfo=zone), 80)
        assert [due.replace(tzinfo=None) for due in times] == list(naive), name


def test_the_next_time_may_be_now_but_not_the_previous_one() -> None:
    trigger = Weekly(["WE"], time(18), BERLIN)
    now = datetime(2026, 11, 25, 18, tzinfo=BERLIN)
    assert trigger.get_next_fire_time(None, now) == now
    assert trigger.get_next_fire_time(now, now) == now + timedelta(days=7)
    assert trigger.latest(now) == now
    assert trigger.latest(now - timedelta(seconds=1)) == now - timedelta(days=7)


# --- what is kept -----------------------------------------------------------------


def off_since(path: Path, due: datetime, wanted: PracticeDays = DAILY) -> None:
    """The store as a coach left it that expected its next reminder at `due`."""
    Reminders(path, wanted, lambda plan, late: None, UTC).close()
    tables = read_tables(path)
    assert tables is not None
    tables["reminders"]["1"]["due"] = due.isoformat()
    write_whole(path, packed(tables))


def test_five_missed_days_are_one_reminder(
    path: Path, bell: Bell, started: list[Reminders]
) -> None:
    now = datetime.now(UTC)
    times = PracticeDays(WEEK, f"{now - timedelta(hours=2):%H:%M}", "three-holds")
    off_since(path, now - timedelta(days=5, hours=2), times)
    started.append(Reminders(path, times, bell, UTC))
    assert bell.rung.get(timeout=20) == ("three-holds", True)
    with pytest.raises(queue.Empty):
        bell.rung.get(timeout=1.0)
    due = started[0].next_due
    assert due is not None
    assert due > now


def test_one_that_was_given_is_not_given_again_after_a_restart(
    path: Path, bell: Bell, started: list[Reminders]
) -> None:
    now = datetime.now(UTC)
    times = PracticeDays(WEEK, f"{now - timedelta(hours=2):%H:%M}", "three-holds")
    off_since(path, now - timedelta(hours=2), times)
    first = Reminders(path, times, bell, UTC)
    bell.rung.get(timeout=20)
    first.close()
    started.append(Reminders(path, times, bell, UTC))
    with pytest.raises(queue.Empty):
        bell.rung.get(timeout=1.0)


def test_a_reminder_comes_at_its_time(path: Path, bell: Bell, started: list[Reminders]) -> None:
    soon = datetime.now(UTC) + timedelta(seconds=1.5)
    times = PracticeDays(WEEK, soon.time().isoformat(timespec="milliseconds"), "relaxation")
    off_since(path, soon, times)
    started.append(Reminders(path, times, bell, UTC))
    assert bell.rung.get(timeout=20) == ("relaxation", False)
    assert datetime.now(UTC) >= soon - timedelta(milliseconds=1)


def test_nothing_missed_is_nothing_said(path: Path, bell: Bell, started: list[Reminders]) -> None:
    started.append(Reminders(path, DAILY, bell, UTC))
    due = started[0].next_due
    assert due is not None
    assert timedelta(0) <= due - datetime.now(UTC) <= timedelta(days=1)
    assert bell.rung.empty()


def test_days_changed_by_voice_hold_until_the_configuration_changes(
    path: Path, bell: Bell, started: list[Reminders]
) -> None:
    first = Reminders(path, DAILY, bell, UTC)
    first.change(PracticeDays(("MO",), "07:00", "relaxation"))
    due = first.next_due
    assert due is not None
    assert (due.weekday(), due.hour) == (0, 7)
    first.close()
    again = Reminders(path, DAILY, bell, UTC)
    assert again.wanted.days == ("MO",)
    again.close()
    started.append(Reminders(path, PracticeDays(("TU",), "18:00", "relaxation"), bell, UTC))
    assert started[0].wanted.days == ("TU",)


def test_without_practice_days_nothing_is_due(path: Path, bell: Bell) -> None:
    reminders = Reminders(path, PracticeDays(), bell, UTC)
    assert reminders.next_due is None
    reminders.close()
    reminders.change(DAILY)
    assert reminders.next_due is not None
    reminders.change(PracticeDays())
    assert reminders.next_due is None
    assert Reminders(path, PracticeDays(), bell).wanted.days == ()


def test_a_damaged_store_leaves_the_configuration(
    path: Path, bell: Bell, started: list[Reminders]
) -> None:
    off_since(path, datetime.now(UTC) - timedelta(days=3))
    path.write_bytes(b"gone")
    started.append(Reminders(path, DAILY, bell, UTC))
    assert started[0].wanted == DAILY
    assert started[0].next_due is not None


@pytest.mark.parametrize(
    ("days", "at", "reason"),
    [
        (("XX",), "18:00", "'XX' is none of MO"),
        (("MO",), "half past six", "is no time"),
        (("MO",), "18:00+01:00", "has a zone"),
    ],
)
def test_days_and_times_that_do_not_exist_are_refused(
    days: tuple[str, ...], at: str, reason: str
) -> None:
    with pytest.raises(ValueError, match=reason):
        PracticeDays(days, at)

"""Practice days: a weekly APScheduler job with a small store of its own.

The store keeps when the next reminder is due, so one that came while the coach was off is given
once when it is back, however many were missed. Times are local: 18:00 stays 18:00 when the
clocks change. A time that a change of clocks skips is taken with the offset before it, one that
comes twice is its first, as RFC 5545 section 3.3.5 has it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger
from tzlocal import get_localzone

from coach.durable import Damaged, make_folder, packed, read_tables, write_whole

WEEK = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
LATE = timedelta(hours=1)  # from then on a reminder speaks of an earlier time
JOB = "practice"
TABLE = "reminders"
ROW = "1"


@dataclass(frozen=True, slots=True)
class PracticeDays:
    """When to practise what: iCalendar day codes and an ISO local time. No days: never."""

    days: tuple[str, ...] = ()
    time: str = "18:00"
    plan: str = "three-holds"

    def __post_init__(self) -> None:
        """Raise ValueError for a day or time that does not exist."""
        unknown = [day for day in self.days if day not in WEEK]
        if unknown:
            raise ValueError(f"days: {unknown[0]!r} is none of {', '.join(WEEK)}")
        try:
            at = time.fromisoformat(self.time)
        except ValueError:
            raise ValueError(f"time: {self.time!r} is no time; write such as 18:30") from None
        if at.tzinfo is not None:
            raise ValueError(f"time: {self.time!r} has a zone; the local time is meant")


class Weekly(BaseTrigger):  # type: ignore[misc]
    """An APScheduler trigger: on some days of the week at a local time."""

    def __init__(self, days: Sequence[str], at: time, zone: tzinfo) -> None:
        """`days` are iCalendar codes, at least one."""
        self._weekdays = {WEEK.index(day) for day in days}
        self._at = at
        self._zone = zone

    def get_next_fire_time(self, previous: datetime | None, now: datetime) -> datetime:
        """The first time after `previous`; without it, the first that is not before `now`."""
        after = previous or now - timedelta(microseconds=1)
        day = after.astimezone(self._zone).date() - timedelta(days=1)
        while True:
            due = self._due(datetime.combine(day, self._at))
            if day.weekday() in self._weekdays and due > after:
                return due
            day += timedelta(days=1)

    def latest(self, now: datetime) -> datetime:
        """The last time that is not after `now`."""
        due = self.get_next_fire_time(now - timedelta(days=8), now)
        while (later := self.get_next_fire_time(due, now)) <= now:
            due = later
        return due

    def _due(self, local: datetime) -> datetime:
        """The instant, by way of UTC so that a skipped local time becomes a real one."""
        instant = local.replace(tzinfo=self._zone, fold=0).astimezone(UTC)
        return instant.astimezone(self._zone)


class KeptJobs(MemoryJobStore):  # type: ignore[misc]
    """A job store of one job that also tells `keep` when it is due next."""

    def __init__(self, keep: Callable[[datetime], None]) -> None:
        super().__init__()
        self._keep = keep

    def add_job(self, job: Any) -> None:
        """Add, and keep when it is due."""
        super().add_job(job)
        self._keep(job.next_run_time)

    def update_job(self, job: Any) -> None:
        """Called after a job was handed to the executor: the next time is kept."""
        super().update_job(job)
        self._keep(job.next_run_time)


class Reminders:
    """Calls `deliver(plan, late)` at practice times, from a thread of its own.

    `late` tells that the time has passed by more than LATE.
    """

    def __init__(
        self,
        path: Path,
        configured: PracticeDays,
        deliver: Callable[[str, bool], None],
        zone: tzinfo | None = None,
    ) -> None:
        """Begin. What was changed by voice holds until the configuration itself changes.

        Raises OSError.
        """
        self._path = path
        self._configured = configured
        self._deliver = deliver
        self._zone = zone or get_localzone()
        self._scheduler: BackgroundScheduler | None = None
        self.wanted, due = self._kept()
        self._start(due)

    @property
    def next_due(self) -> datetime | None:
        """When the next reminder comes, None without practice days."""
        job = self._scheduler.get_job(JOB) if self._scheduler else None
        return job.next_run_time if job else None

    def change(self, wanted: PracticeDays) -> None:
        """Use these days from now on. Raises OSError."""
        self.close()
        self.wanted = wanted
        self._start(None)

    def close(self) -> None:
        """End the thread; what is due is kept for the next time."""
        if self._scheduler:
            self._scheduler.shutdown(wait=False)
            self._scheduler = None

    def _start(self, due: datetime | None) -> None:
        if not self.wanted.days:
            self._keep(None)
            return
        at = time.fromisoformat(self.wanted.time)
        trigger = Weekly(self.wanted.days, at, self._zone)
        due = due or trigger.get_next_fire_time(None, datetime.now(self._zone))
        scheduler = BackgroundScheduler(
            timezone=self._zone,
            executors={"default": ThreadPoolExecutor(1)},
            jobstores={"default": KeptJobs(self._keep)},
        )
        # late ones still come, and several missed ones come as one
        rules = {"misfire_grace_time": None, "coalesce": True}
        scheduler.add_job(self._ring, trigger, [trigger], id=JOB, next_run_time=due, **rules)
        scheduler.start()
        self._scheduler = scheduler

    def _ring(self, trigger: Weekly) -> None:
        now = datetime.now(self._zone)
        self._deliver(self.wanted.plan, now - trigger.latest(now) > LATE)

    def _kept(self) -> tuple[PracticeDays, datetime | None]:
        """What holds, and when it was due next when the coach was last on."""
        row: Any = None
        with suppress(Damaged):  # then the configuration is all there is
            row = ((read_tables(self._path) or {}).get(TABLE) or {}).get(ROW)
        if row is None or _days(row["configured"]) != self._configured:
            return self._configured, None
        return _days(row["wanted"]), row["due"] and datetime.fromisoformat(row["due"])

    def _keep(self, due: datetime | None) -> None:
        row = {
            "configured": asdict(self._configured),
            "wanted": asdict(self.wanted),
            "due": due and due.isoformat(),
        }
        make_folder(self._path.parent)
        write_whole(self._path, packed({TABLE: {ROW: row}}))


def _days(row: dict[str, Any]) -> PracticeDays:
    return PracticeDays(tuple(row["days"]), row["time"], row["plan"])

"""The cue calendar of the live room: one APScheduler date job for each cue.

APScheduler follows the machine's clock of day, the cues stand on the room's clock. So a job
is only an alarm: when it rings, the room's clock decides, and `follow` moves the alarms when
the two clocks have come apart (a device that drifts, a clock of day that was set).
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from time import time

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.base import JobLookupError
from apscheduler.schedulers.background import BackgroundScheduler

from coach.practice.events import CueDue

EARLY_S = 0.001  # an alarm that rings earlier than this before its cue is set again
APART_S = 0.02  # how far the clocks may come apart before the alarms are moved


class JobCalendar:
    """`ports.Calendar` in real time.

    `deliver` is called from the scheduler's thread; whoever takes the event off the queue
    asks `confirm` first, so that a cue dropped in between is never seen.
    """

    def __init__(self, now_s: Callable[[], float], deliver: Callable[[CueDue], None]) -> None:
        self._now_s = now_s
        self._deliver = deliver
        self._due_s: dict[int, float] = {}
        self._apart_s = time() - now_s()
        # One worker keeps the order of alarms; no grace time, or late jobs are lost silently.
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"misfire_grace_time": None, "coalesce": False},
        )
        self._scheduler.start()

    def add(self, cue: int, due_s: float) -> None:
        """Deliver CueDue(cue) at `due_s`, at once if that is past."""
        self._due_s[cue] = due_s
        self._set(cue, due_s)

    def drop(self, cue: int) -> None:
        """Do not deliver it; unknown cues are ignored."""
        self._due_s.pop(cue, None)
        with suppress(JobLookupError):  # it has rung already, or there never was one
            self._scheduler.remove_job(str(cue))

    def confirm(self, event: CueDue) -> bool:
        """Whether a delivered cue is still wanted and really due; if so it is forgotten."""
        due_s = self._due_s.get(event.cue)
        if due_s is None or event.at_s < due_s - EARLY_S:
            return False
        del self._due_s[event.cue]
        return True

    def follow(self) -> None:
        """Move the alarms if the room's clock and the clock of day have come apart."""
        apart_s = time() - self._now_s()
        if abs(apart_s - self._apart_s) > APART_S:
            self._apart_s = apart_s
            for cue, due_s in list(self._due_s.items()):
                self._set(cue, due_s)

    def close(self) -> None:
        """Forget everything."""
        self._due_s.clear()
        self._scheduler.shutdown(wait=False)

    def _set(self, cue: int, due_s: float) -> None:
        rings = datetime.fromtimestamp(time() + due_s - self._now_s(), UTC)
        self._scheduler.add_job(
            self._ring, "date", run_date=rings, args=[cue], id=str(cue), replace_existing=True
        )

    def _ring(self, cue: int) -> None:
        due_s = self._due_s.get(cue)
        if due_s is None:
            return
        now_s = self._now_s()
        if now_s < due_s - EARLY_S:
            self._set(cue, due_s)
        else:
            self._deliver(CueDue(now_s, cue))

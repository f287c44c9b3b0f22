"""Sessions through the sound card: one plan now, or staying ready."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from coach.app.equipment import Equipment
from coach.app.service import Service
from coach.app.sessions import Sessions
from coach.border import BadInput
from coach.loop import Nowhere, Show
from coach.plans import find_plan, load_plan
from coach.practice.events import Interrupted, Remind
from coach.practice.steward import Steward
from coach.records.store import DiskStore
from coach.room.findings import DEAD_MICROPHONE
from coach.room.live import LiveRoom
from coach.room.streams import choose_pair
from coach.settings import records_folder
from coach.timing.reminders import PracticeDays, Reminders


def run_live(
    plan: str, numbers: Sequence[int], *, alone: bool, equipment: Equipment, show: Show
) -> int:
    """A session now. Raises BadInput, OSError."""
    load_plan(find_plan(plan))  # a wrong name is told before any device is opened
    folder = records_folder(equipment.settings)
    with DiskStore(folder) as store, _open_room(equipment, show) as room:
        return Sessions(room, store, equipment, show).run(plan, numbers, alone=alone)


def listen_live(equipment: Equipment, show: Show) -> int:
    """Stay ready until somebody ends the program. Raises BadInput, OSError."""
    folder = records_folder(equipment.settings)
    service = Service()
    with DiskStore(folder) as store, _open_room(equipment, show) as room:
        sessions = Sessions(room, store, equipment, show)
        sessions.beat = service.beat
        steward = Steward(equipment.settings.listen.awake_s)
        loop = equipment.loop(room, steward, Nowhere(), show)
        loop.errand = sessions.errand
        loop.beat = service.beat
        with _reminders(equipment, folder, room) as sessions.schedule:
            service.ready()
            code = loop.run()
            service.stopping()
    return code


@contextmanager
def _reminders(
    equipment: Equipment, folder: Path, room: LiveRoom
) -> Iterator[Callable[[str], None]]:
    """Practice days, each as one event on the room's queue; gives what changes them by voice."""
    wanted = equipment.settings.reminders
    try:  # now, not on the day
        find_plan(wanted.plan)
    except BadInput as error:
        raise BadInput(f"reminders.plan = {error}") from None
    try:
        days = PracticeDays(wanted.days, wanted.time, wanted.plan)
    except ValueError as error:
        raise BadInput(f"coach.toml: reminders.{error}") from None

    def deliver(_plan: str, late: bool) -> None:
        room.post(Remind(room.now_s(), late))

    reminders = Reminders(folder / "reminders.json", days, deliver)

    def schedule(day: str) -> None:
        code = day.upper()
        days = () if day == "never" else (*reminders.wanted.days, code)
        reminders.change(replace(reminders.wanted, days=tuple(dict.fromkeys(days))))

    try:
        yield schedule
    finally:
        reminders.close()


@contextmanager
def _open_room(equipment: Equipment, show: Show) -> Iterator[LiveRoom]:
    """The live room. Ctrl-C and SIGTERM end a session like any event: everything is kept."""
    settings = equipment.settings.room
    choose_pair(settings)  # what is missing is told at once
    equipment.voice.move_out()  # before there is sound that could break off
    room = LiveRoom(settings)

    def end(*_: object) -> None:
        room.post(Interrupted(room.now_s()))

    before = {name: signal.signal(name, end) for name in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield room
    finally:
        if room.xruns:
            show(room.now_s(), "room", f"{room.xruns} gaps in the sound; see `coach check`")
        if room.microphone_is_dead:
            show(room.now_s(), "room", DEAD_MICROPHONE)
        room.close()
        equipment.voice.close()
        for name, handler in before.items():
            signal.signal(name, handler)

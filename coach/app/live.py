"""Sessions through the sound card: one plan now, or staying ready."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime

from coach.app.equipment import Equipment, session_id
from coach.border import BadInput
from coach.loop import Nowhere, Show
from coach.plans import find_plan, load_plan, refuse_unsafe
from coach.practice.conductor import Conductor
from coach.practice.events import Errand, Event, Interrupted, Returned, Start, Tell, Told
from coach.practice.steward import Steward
from coach.practice.summary import Said
from coach.records.store import DiskStore
from coach.report.review import Question, review
from coach.room.live import LiveRoom
from coach.settings import records_folder

CUES_A_SESSION = 1_000_000  # cue numbers of one session never meet those of another


class Sessions:
    """Runs plans in one open room on one store."""

    def __init__(self, room: LiveRoom, store: DiskStore, equipment: Equipment, show: Show) -> None:
        self._room = room
        self._store = store
        self._equipment = equipment
        self._show = show
        self._count = 0
        self.beat: Callable[[], None] = lambda: None

    def run(self, plan_name: str, numbers: Sequence[int], *, alone: bool) -> int:
        """One session; returns its exit code. Raises BadInput, OSError."""
        path = find_plan(plan_name)
        plan = load_plan(path)
        started = datetime.now(UTC).astimezone()
        group = [(number, None) for number in numbers]
        people = self._store.people.for_session(group, started.date())
        limits = self._equipment.limits
        refuse_unsafe(plan, str(path), people, limits, alone=alone)
        self._count += 1
        first_cue = self._count * CUES_A_SESSION
        conductor = Conductor(plan, people, limits, alone=alone, first_cue=first_cue)
        about = self._equipment.about(plan, people)
        self._store.begin(session_id(plan, started), started, about)
        loop = self._equipment.loop(self._room, conductor, self._store, self._show)
        loop.beat = self.beat
        return loop.run()

    def errand(self, errand: Errand) -> Event:
        """What the steward sends for."""
        if isinstance(errand, Start):
            try:
                code = self.run(errand.plan, errand.participants, alone=errand.alone)
            except BadInput as refusal:
                return Returned(self._room.now_s(), 2, _spoken(refusal))
            return Returned(self._room.now_s(), code)
        return Told(self._room.now_s(), tuple(self._answer(errand)))

    def _answer(self, errand: Tell) -> list[Said]:
        """What the records say to a question about the person with this number."""
        rows = self._store.library.summaries()
        today = datetime.now(UTC).astimezone().date()
        person = self._store.people.find(errand.participant).who
        return review(rows, Question(errand.question), today, person)


def _spoken(refusal: BadInput) -> str:
    """The reason without the place in the file."""
    return str(refusal).rsplit(": ", 1)[-1]


def run_live(
    plan: str, numbers: Sequence[int], *, alone: bool, equipment: Equipment, show: Show
) -> int:
    """A session now. Raises BadInput, OSError."""
    load_plan(find_plan(plan))  # a wrong name is told before any device is opened
    settings = equipment.settings
    with DiskStore(records_folder(settings)) as store, _open_room(equipment) as room:
        return Sessions(room, store, equipment, show).run(plan, numbers, alone=alone)


def listen_live(equipment: Equipment, show: Show) -> int:
    """Stay ready until somebody ends the program. Raises BadInput, OSError."""
    settings = equipment.settings
    with DiskStore(records_folder(settings)) as store, _open_room(equipment) as room:
        sessions = Sessions(room, store, equipment, show)
        loop = equipment.loop(room, Steward(settings.listen.awake_s), Nowhere(), show)
        loop.errand = sessions.errand
        return loop.run()


@contextmanager
def _open_room(equipment: Equipment) -> Iterator[LiveRoom]:
    """The live room. Ctrl-C and SIGTERM end a session like any event: everything is kept."""
    room = LiveRoom(equipment.settings.room)

    def end(*_: object) -> None:
        room.post(Interrupted(room.now_s()))

    before = {name: signal.signal(name, end) for name in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield room
    finally:
        room.close()
        for name, handler in before.items():
            signal.signal(name, handler)

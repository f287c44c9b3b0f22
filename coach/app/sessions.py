"""Sessions of plans in one open room on one store, and the errands of the steward."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from coach.app.equipment import Equipment, session_id
from coach.border import BadInput
from coach.loop import VOLUME_STEP_DB, Loop, Show, nothing
from coach.plans import find_plan, load_plan, refuse_unsafe
from coach.ports import Room
from coach.practice.conductor import Conductor
from coach.practice.events import Errand, Event, Prefer, Returned, Schedule, Start, Tell, Told
from coach.practice.kept import Kept
from coach.practice.summary import Said
from coach.practice.words import Command
from coach.records.next_session import next_session
from coach.records.people import Preferences
from coach.records.store import DiskStore
from coach.report.review import Question, person_named, review

QUIET_DB = -VOLUME_STEP_DB  # for people who like it quiet
CUES_A_SESSION = 1_000_000  # cue numbers of one session never meet those of another

Clock = Callable[[], datetime]  # local time with its zone


def local_now() -> datetime:
    """The time of day here."""
    return datetime.now(UTC).astimezone()


class Sessions:
    """Runs plans; `kept` is what they kept, `beat` is called for every block of sound."""

    def __init__(
        self,
        room: Room,
        store: DiskStore,
        equipment: Equipment,
        show: Show,
        clock: Clock = local_now,
    ) -> None:
        self._room = room
        self._store = store
        self._equipment = equipment
        self._show = show
        self._clock = clock
        self._count = 0
        self.kept: list[Kept] = []
        self.document: Mapping[str, Any] = {}  # of the last session
        self.beat: Callable[[], None] = nothing
        self.schedule: Callable[[str], None] = nothing  # a day of the week, or "never"
        self.invented = False

    def run(self, plan_name: str, numbers: Sequence[int], *, alone: bool) -> int:
        """One session; returns its exit code. Raises BadInput, OSError."""
        path = find_plan(plan_name)
        plan = load_plan(path)
        started = self._clock()
        group = [(number, None) for number in numbers]
        people = self._store.people.for_session(group, started.date(), invented=self.invented)
        limits = self._equipment.limits
        refuse_unsafe(plan, str(path), people, limits, alone=alone)
        one = self._store.people.find(numbers[0]) if len(numbers) == 1 else None
        self._count += 1
        first_cue = self._count * CUES_A_SESSION
        conductor = Conductor(plan, people, limits, alone=alone, first_cue=first_cue)
        about = {
            **self._equipment.about(plan, people),
            "invented": self.invented,
            "began_s": self._room.now_s(),
        }
        self._store.begin(session_id(plan, started), started, about)
        equipment = _as_liked(self._equipment, one.preferences if one else Preferences())
        loop: Loop = equipment.loop(self._room, conductor, self._store, self._show)
        if one and one.preferences.quiet:
            loop.volume_db = QUIET_DB
        loop.beat = self.beat
        before = loop.speed, loop.volume_db
        try:
            with equipment.voice.ready():
                return loop.run()
        finally:
            self.kept += conductor.kept
            self.document = loop.document
            if one and before != (loop.speed, loop.volume_db):
                self._learn(one.number, loop)

    def _learn(self, number: int, loop: Loop) -> None:
        """Next time the voice is as fast and as loud as somebody has asked for."""
        people = self._store.people
        people.like(people.find(number), speed=loop.speed, quiet=loop.volume_db < 0)

    def errand(self, errand: Errand) -> Event:
        """What the steward sends for."""
        if isinstance(errand, Start):
            try:
                code = self.run(errand.plan, errand.participants, alone=errand.alone)
            except BadInput as refusal:
                return Returned(self._room.now_s(), 2, _spoken(refusal))
            return Returned(self._room.now_s(), code)
        if isinstance(errand, Schedule):
            self.schedule(errand.day)
            return Told(self._room.now_s(), ((f"remind_{errand.day}", {}),))
        if isinstance(errand, Prefer):
            people = self._store.people
            people.like(people.find(errand.participant), knocks=errand.knocks)
            return Told(self._room.now_s(), (("knocks_on" if errand.knocks else "knocks_off", {}),))
        if errand.question == Command.NEXT_SESSION:
            return self._proposal(errand)
        return Told(self._room.now_s(), tuple(self._answer(errand)))

    def _proposal(self, errand: Tell) -> Told:
        """The next session, and whether it may begin now."""
        today = self._clock().date()
        found = next_session(
            self._store.library,
            errand.participant,
            None,
            today,
            self._equipment.limits,
            slept_badly=errand.slept_badly,
            declined=errand.declined,
            invented=self.invented,
        )
        plan = found.plan if found.plan and found.on == today else ""
        return Told(self._room.now_s(), found.lines, plan)

    def _answer(self, errand: Tell) -> list[Said]:
        """What the records say to a question about the person with this number."""
        rows = self._store.library.summaries()
        try:
            person = person_named(rows, str(errand.participant))
        except BadInput:  # nobody of that number has practised here
            return [("rev_none", {})]
        return review(rows, Question(errand.question), self._clock().date(), person)


def _as_liked(equipment: Equipment, likes: Preferences) -> Equipment:
    """The same with the voice and the ear as one person wants them."""
    settings = equipment.settings
    speed = settings.voice.speed if likes.speed is None else likes.speed
    knocks = settings.ear.knocks if likes.knocks is None else likes.knocks
    voice, ear = replace(settings.voice, speed=speed), replace(settings.ear, knocks=knocks)
    return replace(equipment, settings=replace(settings, voice=voice, ear=ear))


def _spoken(refusal: BadInput) -> str:
    """The reason without the place in the file."""
    return str(refusal).rsplit(": ", 1)[-1]

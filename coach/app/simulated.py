"""Scenes: whole sessions in the simulated room, and what they kept beside what truly happened."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from coach.app.equipment import Equipment, Tell, session_id, write_speech
from coach.app.sessions import Sessions, local_now
from coach.loop import Nowhere, Show
from coach.plans import load_plan, refuse_unsafe
from coach.ports import Voice
from coach.practice.conductor import Conductor
from coach.practice.kept import Kept
from coach.practice.safety import Person
from coach.practice.stage import Ledger
from coach.practice.steward import Steward
from coach.practice.summary import summary_lines
from coach.records.document import summary
from coach.records.exports import as_vtt
from coach.records.store import DiskStore
from coach.report.page import report
from coach.room.scene import Scene, find_scene, load_scene
from coach.room.simulated import SimulatedRoom
from coach.room.truth import Row, table, truth
from coach.settings import cache_folder
from coach.voice.choose import participant_voice


@dataclass(frozen=True, slots=True)
class Played:
    """How a scene went: exit code, reason, values kept, and the record of its last session."""

    code: int
    reason: str
    kept: Sequence[Kept]
    document: Mapping[str, Any]


def simulate(name: str, out: Path | None, equipment: Equipment, show: Show, tell: Tell) -> int:
    """Run a scene, print kept beside true, write both to `out`. Raises BadInput, OSError."""
    scene = load_scene(find_scene(name))
    with _folder(out) as folder:
        records = folder / "records"
        if not scene.days:
            return Simulation(scene, equipment, records).run(out, show, tell)
        worst = 0
        for number, day in enumerate(scene.days):
            tell(f"--- day {number + 1}")
            simulation = Simulation(load_scene(Path(day)), equipment, records, number)
            of_day = out and out / f"day-{number + 1}"
            worst = max(worst, simulation.run(of_day, show, tell))
        return worst


class Simulation:
    """One scene on one day. Raises BadInput for a plan that a limit forbids."""

    def __init__(
        self, scene: Scene, equipment: Equipment, records: Path, days_later: int = 0
    ) -> None:
        self._scene = scene
        self._equipment = equipment
        self._records = records
        self._days_later = days_later
        self.room = SimulatedRoom(scene, self._voices())
        self.people = [
            Person(p.number, p.name, p.best_s, p.cleared)
            for p in scene.participants
            if p.number > 0
        ]
        if scene.plan:
            self._plan = load_plan(Path(scene.plan))
            limits = equipment.limits
            refuse_unsafe(self._plan, scene.plan, self.people, limits, alone=scene.alone)

    def _voices(self) -> Callable[[str], Voice]:
        folder = cache_folder(self._equipment.settings)

        @cache
        def voice_of(name: str) -> Voice:
            return participant_voice(name, folder)

        return voice_of

    def _now(self) -> datetime:
        """The day of the scene, going on with the room's clock."""
        return self._begun + timedelta(days=self._days_later, seconds=self.room.now_s())

    def run(self, out: Path | None, show: Show, tell: Tell) -> int:
        """To the end; returns the exit code. Raises OSError."""
        self._begun = local_now()
        show = self._with_people(show)
        with DiskStore(self._records) as store:
            played = self._listen(store, show) if self._scene.listen else self._play(store, show)
        self.room.close()
        rows = truth(self.room.log, played.kept)
        tell("")
        tell(table(rows))
        tell("")
        tell(f"ended: {played.reason} (exit code {played.code})")
        if out is not None:
            self._write(out, played, rows)
            tell(f"written to {out}: " + ", ".join(sorted(path.name for path in out.iterdir())))
        return played.code

    def _with_people(self, show: Show) -> Show:
        """Show what people truly said too, before what was made of it."""
        names = {p.number: p.name or str(p.number) for p in self._scene.participants}
        acts, shown = self.room.log.acts, 0

        def show_all(at_s: float, who: str, what: str) -> None:
            nonlocal shown
            for act in acts[shown:]:
                show(act.onset_s, names[act.participant], act.text)
            shown = len(acts)
            show(at_s, who, what)

        return show_all

    def _play(self, store: DiskStore, show: Show) -> Played:
        """One plan."""
        conductor = Conductor(
            self._plan, self.people, self._equipment.limits, alone=self._scene.alone
        )
        about = {**self._equipment.about(self._plan, self.people), "invented": True}
        started = self._now()
        store.begin(session_id(self._plan, started), started, about)
        loop = self._equipment.loop(self.room, conductor, store, show)
        code = loop.run()
        return Played(code, loop.reason, conductor.kept, loop.document)

    def _listen(self, store: DiskStore, show: Show) -> Played:
        """Whatever people start by voice."""
        sessions = Sessions(self.room, store, self._equipment, show, self._now)
        sessions.invented = True
        steward = Steward(self._equipment.settings.listen.awake_s, sleeps_for_good=True)
        loop = self._equipment.loop(self.room, steward, Nowhere(), show)
        loop.errand = sessions.errand
        code = loop.run()
        return Played(code, loop.reason, sessions.kept, sessions.document)

    def _write(self, out: Path, played: Played, rows: Sequence[Row]) -> None:
        out.mkdir(parents=True, exist_ok=True)
        self.room.save(out / "session.wav")
        (out / "truth.json").write_text(json.dumps(rows, indent=2) + "\n", encoding="utf-8")
        if not played.document:
            return
        made = dict(played.document)
        text = json.dumps(made, indent=2, ensure_ascii=False)
        (out / "session.json").write_text(text + "\n", encoding="utf-8")
        (out / "captions.vtt").write_text(as_vtt(made), encoding="utf-8")
        ledger = Ledger({value.key: value for value in played.kept})
        numbers = [person.number for person in self.people]
        said = summary_lines(ledger, numbers, len(numbers) > 1)
        texts = [self._equipment.lines.text(line, values) for line, values in said]
        page = report([summary(made)], made, texts, self._now().date())
        (out / "report.html").write_text(page, encoding="utf-8")
        speed = self._equipment.settings.voice.speed
        write_speech(self._equipment.voice, texts, speed, out / "summary.wav")


@contextmanager
def _folder(out: Path | None) -> Iterator[Path]:
    """The folder that is asked for, or one that goes away: a scene is nobody's practice."""
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        yield out
        return
    with tempfile.TemporaryDirectory(prefix="coach-") as name:
        yield Path(name)

"""Scenes: a whole session in the simulated room, and what it kept beside what truly happened."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from coach.app.equipment import Equipment, Tell, session_id, write_speech
from coach.loop import Loop, Show
from coach.plans import load_plan, refuse_unsafe
from coach.ports import Voice
from coach.practice.conductor import Conductor
from coach.practice.safety import Person
from coach.practice.stage import Ledger
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


def simulate(scene: str, out: Path | None, equipment: Equipment, show: Show, tell: Tell) -> int:
    """Run a scene, print kept beside true, write both to `out`. Raises BadInput, OSError."""
    return Simulation(load_scene(find_scene(scene)), equipment).run(out, show, tell)


class Simulation:
    """One scene, ready to run. Raises BadInput for a plan that a limit forbids."""

    def __init__(self, scene: Scene, equipment: Equipment) -> None:
        self._equipment = equipment
        self._plan = load_plan(Path(scene.plan))
        self._people = [
            Person(p.number, p.name, p.best_s, p.cleared)
            for p in scene.participants
            if p.number > 0
        ]
        limits = equipment.limits
        refuse_unsafe(self._plan, scene.plan, self._people, limits, alone=scene.alone)
        self.room = SimulatedRoom(scene, self._voice_of())
        self.conductor = Conductor(self._plan, self._people, limits, alone=scene.alone)

    def _voice_of(self) -> Callable[[str], Voice]:
        folder = cache_folder(self._equipment.settings)

        @cache
        def voice_of(name: str) -> Voice:
            return participant_voice(name, folder)

        return voice_of

    def run(self, out: Path | None, show: Show, tell: Tell) -> int:
        """To the end of the session; returns its exit code. Raises OSError."""
        with _folder(out) as folder:
            loop = self._play(folder, show)
            rows = truth(self.room.log, self.conductor.kept)
            tell("")
            tell(table(rows))
            tell("")
            tell(f"ended: {loop.reason} (exit code {loop.code})")
            if out is not None:
                self._write(folder, loop, rows)
                names = ", ".join(sorted(path.name for path in folder.iterdir()))
                tell(f"written to {folder}: {names}")
        return 1 if loop.code is None else loop.code

    def _play(self, folder: Path, show: Show) -> Loop:
        started = datetime.now(UTC).astimezone()
        with DiskStore(folder / "records") as store:
            about = {**self._equipment.about(self._plan, self._people), "invented": True}
            store.begin(session_id(self._plan, started), started, about)
            loop = self._equipment.loop(self.room, self.conductor, store, show)
            loop.run()
            self.room.close()
        return loop

    def _write(self, folder: Path, loop: Loop, rows: Sequence[Row]) -> None:
        text = json.dumps(loop.document, indent=2, ensure_ascii=False)
        (folder / "session.json").write_text(text + "\n", encoding="utf-8")
        (folder / "truth.json").write_text(json.dumps(rows, indent=2) + "\n", encoding="utf-8")
        (folder / "captions.vtt").write_text(as_vtt(dict(loop.document)), encoding="utf-8")
        self.room.save(folder / "session.wav")
        ledger = Ledger({value.key: value for value in self.conductor.kept})
        numbers = [person.number for person in self._people]
        said = summary_lines(ledger, numbers, len(numbers) > 1)
        texts = [self._equipment.lines.text(line, values) for line, values in said]
        row = summary(dict(loop.document))
        today = datetime.now(UTC).astimezone().date()
        page = report([row], dict(loop.document), texts, today)
        (folder / "report.html").write_text(page, encoding="utf-8")
        speed = self._equipment.settings.voice.speed
        write_speech(self._equipment.voice, texts, speed, folder / "summary.wav")


@contextmanager
def _folder(out: Path | None) -> Iterator[Path]:
    """The folder that is asked for, or one that goes away: a scene is nobody's practice."""
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        yield out
        return
    with tempfile.TemporaryDirectory(prefix="coach-") as name:
        yield Path(name)

"""Composition root: builds room, voice, ear and store, and runs a session."""

from __future__ import annotations

import json
import signal
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import soundfile

from coach import __version__
from coach.border import data_path
from coach.ear.listener import Listener
from coach.ear.model import SpeechModel, find_model
from coach.loop import Loop, Show, joined
from coach.plans import find_plan, limits_of, load_plan, refuse_unsafe
from coach.ports import Voice
from coach.practice.conductor import Conductor
from coach.practice.kept import Kept
from coach.practice.plan import Plan
from coach.practice.safety import Limits, Person
from coach.practice.stage import Ledger
from coach.practice.summary import summary_lines
from coach.records.exports import as_vtt
from coach.records.store import DiskStore
from coach.room.scene import Scene, find_scene, load_scene
from coach.room.simulated import SimulatedRoom
from coach.room.truth import Row, table, truth
from coach.settings import Settings, cache_folder, records_folder
from coach.voice.choose import open_voice, participant_voice
from coach.voice.lines import Lines, load_lines

SUMMARY_RATE_HZ = 24_000
SUMMARY_GAP_S = 0.5

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Equipment:
    """What every session needs, built once."""

    settings: Settings
    voice: Voice
    lines: Lines
    model: SpeechModel

    @staticmethod
    def of(settings: Settings, model: str | None = None) -> Equipment:
        """Build it. Raises BadInput, VoiceError."""
        return Equipment(
            settings,
            open_voice(settings.voice, cache_folder(settings)),
            load_lines(data_path("config", "lines", f"{settings.voice.lines}.toml")),
            SpeechModel(find_model(model, settings.ear.model)),
        )

    def ear(self, delay_s: float = 0.0) -> Listener:
        """A fresh ear: Vosk grows in long streams, so every session has its own."""
        return Listener(self.model, self.settings.ear, self.settings.listen.name, delay_s)


def session_id(plan: Plan, started: datetime) -> str:
    """Names a session by its start and its plan."""
    return f"{started:%Y-%m-%dT%H%M%S}-{plan.name}"


def about(plan: Plan, people: Sequence[Person], equipment: Equipment) -> dict[str, Any]:
    """What a session's record says of how it was made."""
    return {
        "plan": plan.name,
        "title": plan.title,
        "voice": equipment.voice.name,
        "model": equipment.model.folder.name,
        "versions": {"coach": __version__},
        "participants": [{"number": p.number, "name": p.name or None} for p in people],
    }


# --- simulated ---------------------------------------------------------------------------


def simulate(
    scene_name: str, out: Path | None, equipment: Equipment, show: Show, tell: Tell
) -> int:
    """Run a scene; write what happened to `out`. Raises BadInput, OSError."""
    scene = load_scene(find_scene(scene_name))
    plan_path = Path(scene.plan)
    plan = load_plan(plan_path)
    people = [
        Person(p.number, p.name, p.best_s, p.cleared) for p in scene.participants if p.number > 0
    ]
    limits = limits_of(equipment.settings.safety)
    refuse_unsafe(plan, str(plan_path), people, limits, alone=scene.alone)
    with _folder(out) as folder:
        return _simulate(
            scene, plan, people, limits, folder, out is not None, equipment, show, tell
        )


def _simulate(
    scene: Scene,
    plan: Plan,
    people: Sequence[Person],
    limits: Limits,
    folder: Path,
    keep_files: bool,
    equipment: Equipment,
    show: Show,
    tell: Tell,
) -> int:
    @cache
    def voice_of(name: str) -> Voice:
        return participant_voice(name, cache_folder(equipment.settings))

    room = SimulatedRoom(scene, voice_of)
    conductor = Conductor(plan, people, limits, alone=scene.alone)
    started = datetime.now(UTC).astimezone()
    with DiskStore(folder / "records") as store:
        store.begin(session_id(plan, started), started, about(plan, people, equipment))
        loop = Loop(
            room,
            equipment.voice,
            equipment.lines,
            equipment.ear(),
            store,
            conductor,
            lead_s=equipment.settings.room.lead_s,
            speed=equipment.settings.voice.speed,
            contact=equipment.settings.contact.command,
            show=show,
        )
        code = loop.run()
    rows = truth(room.log, conductor.kept)
    if keep_files:
        _write(folder, room, loop, conductor.kept, rows, equipment, [p.number for p in people])
    tell("")
    tell(table(rows))
    tell("")
    tell(f"ended: {loop.reason} (exit code {code})")
    if keep_files:
        tell(f"written to {folder}: " + ", ".join(sorted(p.name for p in folder.iterdir())))
    return code


@contextmanager
def _folder(out: Path | None) -> Iterator[Path]:
    """The folder that is asked for, or one that goes away: a scene is nobody's practice."""
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        yield out
        return
    with tempfile.TemporaryDirectory(prefix="coach-") as name:
        yield Path(name)


def _write(
    folder: Path,
    room: SimulatedRoom,
    loop: Loop,
    kept: Sequence[Kept],
    rows: Sequence[Row],
    equipment: Equipment,
    numbers: Sequence[int],
) -> None:
    text = json.dumps(loop.document, indent=2, ensure_ascii=False) + "\n"
    (folder / "session.json").write_text(text, encoding="utf-8")
    (folder / "truth.json").write_text(json.dumps(rows, indent=2) + "\n", encoding="utf-8")
    (folder / "captions.vtt").write_text(as_vtt(dict(loop.document)), encoding="utf-8")
    room.save(folder / "session.wav")
    ledger = Ledger({value.key: value for value in kept})
    said = summary_lines(ledger, numbers, len(numbers) > 1)
    texts = [equipment.lines.text(line, values) for line, values in said]
    write_speech(texts, folder / "summary.wav", equipment)


def write_speech(texts: Sequence[str], path: Path, equipment: Equipment) -> None:
    """Speak texts into a sound file. Raises VoiceError, OSError."""
    speed = equipment.settings.voice.speed
    clips = [equipment.voice.speak(text, SUMMARY_RATE_HZ, speed) for text in texts]
    try:
        soundfile.write(path, joined(clips, SUMMARY_GAP_S, SUMMARY_RATE_HZ), SUMMARY_RATE_HZ)
    except soundfile.LibsndfileError as error:
        raise OSError(f"{path}: {error}") from None


# --- live ----------------------------------------------------------------------------------


def run_live(
    plan_name: str, numbers: Sequence[int], alone: bool, equipment: Equipment, show: Show
) -> int:
    """A session through the sound card. Raises BadInput, OSError."""
    from coach.room.live import LiveRoom

    settings = equipment.settings
    path = find_plan(plan_name)
    plan = load_plan(path)
    limits = limits_of(settings.safety)
    with DiskStore(records_folder(settings)) as store:
        started = datetime.now(UTC).astimezone()
        people = store.people.for_session([(n, None) for n in numbers], started.date())
        refuse_unsafe(plan, str(path), people, limits, alone=alone)
        conductor = Conductor(plan, people, limits, alone=alone)
        room = LiveRoom(settings.room)
        store.begin(session_id(plan, started), started, about(plan, people, equipment))
        loop = Loop(
            room,
            equipment.voice,
            equipment.lines,
            equipment.ear(settings.room.delay_s),
            store,
            conductor,
            lead_s=settings.room.lead_s,
            speed=settings.voice.speed,
            contact=settings.contact.command,
            show=show,
        )
        with _interruptible(room):
            return loop.run()


@contextmanager
def _interruptible(room: Any) -> Iterator[None]:
    """Ctrl-C and SIGTERM end the session like any other event: everything is kept."""
    from coach.practice.events import Interrupted

    def end(*_: object) -> None:
        room.post(Interrupted(room.now_s()))

    before = {name: signal.signal(name, end) for name in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(name, handler)

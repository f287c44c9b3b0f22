"""What every session is built from, made once: settings, voice, lines, speech model."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import soundfile

from coach import __version__
from coach.border import BadInput, data_path
from coach.ear.listener import Listener
from coach.ear.model import SpeechModel, find_model
from coach.loop import Loop, Player, Show, Timeline
from coach.plans import limits_of
from coach.ports import Audio, Clip, Room, Voice
from coach.practice.plan import Plan
from coach.practice.safety import Limits, Person
from coach.settings import Settings, cache_folder
from coach.voice.choose import open_voice
from coach.voice.lines import Lines, load_lines
from coach.voice.synthesised import SynthesisedVoice

SPEECH_RATE_HZ = 24_000
SPEECH_GAP_S = 0.5

Tell = Callable[[str], None]  # one line for whoever sits at the terminal


@dataclass(frozen=True, slots=True)
class Equipment:
    """Everything but the room and the store."""

    settings: Settings
    limits: Limits
    voice: SynthesisedVoice
    lines: Lines
    model: SpeechModel

    @staticmethod
    def of(settings: Settings, model: str | None = None) -> Equipment:
        """Build it. Raises BadInput, VoiceError."""
        speech = SpeechModel(find_model(model, settings.ear.model))
        if missing := speech.missing(settings.listen.name.split()):
            raise BadInput(
                f"listen.name = {settings.listen.name!r}: the speech model does not know "
                f"{', '.join(missing)}; take a name of words in {speech.folder}/graph/words.txt"
            )
        return Equipment(
            settings,
            limits_of(settings.safety),
            open_voice(settings.voice, cache_folder(settings)),
            load_lines(data_path("config", "lines", f"{settings.voice.lines}.toml")),
            speech,
        )

    def ear(self) -> Listener:
        """A fresh ear; a recogniser grows in long streams, so no two sessions share one."""
        settings = self.settings
        return Listener(self.model, settings.ear, settings.listen.name)

    def loop(self, room: Room, player: Player, store: Timeline, show: Show) -> Loop:
        """A loop in `room` with an ear of its own."""
        settings = self.settings
        return Loop(
            room,
            self.voice,
            self.lines,
            self.ear(),
            store,
            player,
            lead_s=settings.room.lead_s,
            speed=settings.voice.speed,
            contact=settings.contact.command,
            show=show,
        )

    def about(self, plan: Plan, people: Sequence[Person]) -> dict[str, object]:
        """What the record of a session says of how it was made."""
        return {
            "plan": plan.name,
            "title": plan.title,
            "voice": self.voice.name,
            "model": self.model.folder.name,
            "versions": {"coach": __version__},
            "participants": [{"number": p.number, "name": p.name or None} for p in people],
        }


def write_speech(voice: Voice, texts: Sequence[str], speed: float, path: Path) -> None:
    """Speak texts into a sound file. Raises VoiceError, OSError."""
    clips = [voice.speak(text, SPEECH_RATE_HZ, speed) for text in texts]
    try:
        soundfile.write(path, _joined(clips), SPEECH_RATE_HZ, format="WAV")
    except soundfile.LibsndfileError as error:
        raise OSError(f"{path}: {error}") from None


def _joined(clips: Sequence[Clip]) -> Audio:
    """Clips one after the other, with silence after each."""
    gap: Audio = np.zeros(round(SPEECH_GAP_S * SPEECH_RATE_HZ), np.float32)
    return np.concatenate([gap, *(part for clip in clips for part in (clip.samples, gap))])


def session_id(plan: Plan, started: datetime) -> str:
    """Names a session by its start and its plan."""
    return f"{started:%Y-%m-%dT%H%M%S}-{plan.name}"

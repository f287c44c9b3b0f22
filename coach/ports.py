"""The ports of the house: what the composition root needs of voice, ear, room, store and clock.

Each has a real part and a twin; tests/<room>/conformance.py holds both to the same promises.
Sound is mono float32 in -1..1.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from coach.practice.events import Event, Heard, Knocked, Knocks, Unclear
from coach.practice.kept import Kept

Audio = NDArray[np.float32]
EAR_RATE_HZ = 16_000  # the recogniser's rate; rooms hand over blocks at this rate


@dataclass(frozen=True, slots=True)
class Clip:
    """Something ready to sound: trimmed and levelled."""

    text: str
    samples: Audio
    rate_hz: int

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True, slots=True)
class Block:
    """What the room recorded and what it played in the same span, both at EAR_RATE_HZ."""

    start_s: float  # room time of the first frame
    microphone: Audio
    played: Audio  # same length as `microphone`


class Voice(Protocol):
    """Turns text into a clip. `speed` is 1.0 for the voice's usual rate."""

    @property
    def name(self) -> str:
        """Which voice this is, for the record."""

    def speak(self, text: str, rate_hz: int, speed: float = 1.0) -> Clip:
        """Render `text`; the same arguments give the same samples. Raises VoiceError."""


class VoiceError(Exception):
    """The synthesiser cannot be used; the message says why and how to mend it."""


EarEvent = Heard | Unclear | Knocked


class Ear(Protocol):
    """Turns blocks into heard events; results do not depend on the size of the blocks."""

    def attend(self, situation: str, knocks: Knocks) -> None:
        """Listen for grammars/<situation>.jsgf from the next frame on."""

    def feed(self, block: Block) -> list[EarEvent]:
        """Hear one block; event times are room seconds."""


class Mixer(Protocol):
    """Starts clips at exact frames of the room and reports when they ended."""

    def play(self, cue: int, clip: Clip, start_s: float, gain_db: float = 0.0) -> float:
        """Sound `clip` at `start_s`; returns the room time at which it will really begin."""

    def drop(self, cue: int, by_s: float | None = None) -> None:
        """Remove the clip; fade it within 30 ms if it sounds, or so that it is silent at `by_s`."""

    def skip(self, cue: int) -> None:
        """Report a cue that was never handed over as not sounded (CueDone, started_s None)."""


class Calendar(Protocol):
    """Delivers `CueDue` on the room's clock."""

    def add(self, cue: int, due_s: float) -> None:
        """Deliver CueDue(cue) once, at `due_s` or at once if that is past; the last add holds."""

    def drop(self, cue: int) -> None:
        """Do not deliver it; unknown cues are ignored."""


class Room(Protocol):
    """Where sound is played and recorded, and the only clock."""

    rate_hz: int

    @property
    def mixer(self) -> Mixer:
        """Where clips are handed over."""

    @property
    def calendar(self) -> Calendar:
        """Where cues wait."""

    def name_cue(self, cue: int, moment: str) -> None:
        """The cue stands for this moment of the plan; scenes hang on it."""

    def now_s(self) -> float:
        """Room time of the next frame to be rendered."""

    def moments(self) -> Iterator[Block | Event]:
        """Blocks and events in order until closed; the one queue of the session."""

    def close(self) -> None:
        """Stop; `moments` ends."""


class Store(Protocol):
    """Keeps sessions; whatever it has accepted survives the death of the process."""

    def begin(self, session: str, started: datetime, about: Mapping[str, Any]) -> None:
        """Open the journal of a session; `about` is plan, voice, participants, versions."""

    def keep(self, kept: Kept) -> None:
        """On the disk and synced when this returns. Raises OSError."""

    def said(self, start_s: float, end_s: float, line: str, text: str, who: str = "coach") -> None:
        """Add what was said or heard to the timeline (not synced); `who` names the speaker."""

    def finish(self, ended_s: float, code: int, reason: str) -> Mapping[str, Any]:
        """Move the session into the database; returns its document."""

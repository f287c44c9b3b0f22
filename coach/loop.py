"""The one loop: takes events and blocks off the room's queue, asks the conductor, carries out.

Live and simulated sessions run through exactly this code.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from threading import Thread
from typing import Any, Protocol

from coach.ear.own_words import OwnWords
from coach.ports import Block, Clip, Ear, Room, Voice
from coach.practice.events import (
    Adjust,
    Begin,
    CueDone,
    CueDue,
    Drop,
    Effect,
    Errand,
    Escalate,
    Event,
    Finish,
    Heard,
    Hush,
    Keep,
    KeepFailed,
    Knocked,
    Listen,
    Prefer,
    RoomBack,
    RoomLost,
    Say,
    Schedule,
    Sound,
    Start,
    Tell,
    Unclear,
    Wait,
)
from coach.practice.kept import Kept
from coach.room.speaker import Speaker
from coach.settings import SPEEDS
from coach.voice.lines import Lines
from coach.voice.tones import tone

LAST_WORDS_S = 20.0  # how long the voice may still speak when the session is over
VOLUME_STEP_DB, MOST_VOLUME_DB = 4.0, 12.0
SPEED_STEP = 0.1

Show = Callable[[float, str, str], None]  # room time, who, what


def nothing(*_: object) -> None:
    """Show nothing."""


class Timeline(Protocol):
    """The part of a store that a running session needs."""

    def keep(self, kept: Kept) -> None:
        """On the disk and synced when this returns. Raises OSError."""

    def said(self, start_s: float, end_s: float, line: str, text: str, who: str = "coach") -> None:
        """Add to what was said and heard."""

    def finish(self, ended_s: float, code: int, reason: str) -> Mapping[str, Any]:
        """Close the session; returns its document."""


class Player(Protocol):
    """The core: a conductor, or the steward between sessions."""

    def handle(self, event: Event) -> tuple[Effect, ...]:
        """Decide what is to be done."""


class Nowhere:
    """The timeline of what is not kept: talk between sessions."""

    def keep(self, *_: object) -> None:
        """Nothing is kept."""

    def said(self, *_: object) -> None:
        """Nothing is kept."""

    def finish(self, *_: object) -> Mapping[str, Any]:
        """Nothing was kept."""
        return {}


def no_errands(errand: Errand) -> Event:
    """A conductor sends nobody."""
    raise AssertionError(f"nobody runs {errand}")


@dataclass(slots=True)
class Loop:
    """One session. `run` returns when the player has finished and the voice is silent.

    The room stays open: whoever opened it closes it. `errand` runs what the player sends for
    and returns the event that tells how it went; it may run another loop in the same room.
    """

    room: Room
    voice: Voice
    lines: Lines
    ear: Ear
    store: Timeline
    player: Player
    lead_s: float = 0.3
    speed: float = 1.0
    volume_db: float = 0.0
    contact: Sequence[str] = ()
    show: Show = nothing
    errand: Callable[[Errand], Event] = no_errands
    beat: Callable[[], None] = nothing  # called for every block: a watchdog's sign of life
    code: int | None = None
    reason: str = ""
    document: Mapping[str, Any] = field(default_factory=dict)
    _texts: dict[int, tuple[str, str]] = field(default_factory=dict)
    _speaker: Speaker | None = None
    _own: OwnWords = field(default_factory=OwnWords)
    _over_s: float = 0.0

    def run(self) -> int:
        """Lead the session; returns its exit code."""
        self._speaker = self._fresh_speaker()
        self._decide(Begin(self.room.now_s()))
        for item in self.room.moments():
            if isinstance(item, Block):
                self.beat()
                for heard in self.ear.feed(item):
                    if isinstance(heard, Heard) and self._own.explain(heard):
                        continue
                    self._notice(heard)
                    self._decide(heard)
            elif not (isinstance(item, CueDue) and self._speaker.due(item)):
                if isinstance(item, CueDone):
                    self._sounded(item)
                if isinstance(item, RoomLost | RoomBack):
                    self.show(item.at_s, "room", _named(item))
                self._decide(item)
            if self.code is not None and self._silent():
                break
        code = 1 if self.code is None else self.code
        self.document = self.store.finish(self.room.now_s(), code, self.reason or "room closed")
        return code

    def _fresh_speaker(self) -> Speaker:
        speaker = Speaker(self.room.mixer, self.room.calendar, self.room.now_s, self.lead_s)
        speaker.begins = self._begins
        return speaker

    def _begins(self, cue: int, start_s: float, end_s: float) -> None:
        _, text = self._texts.get(cue, ("", ""))
        self._own.sounding(text, start_s, end_s)

    def _silent(self) -> bool:
        return not self._texts or self.room.now_s() > self._over_s + LAST_WORDS_S

    def _decide(self, event: Event) -> None:
        """Ask the conductor; a value that cannot be kept stops what was to follow it."""
        for effect in self.player.handle(event):
            try:
                self._carry_out(effect)
            except OSError as error:
                if not isinstance(effect, Keep):
                    raise
                reason = error.strerror or str(error)
                self._decide(KeepFailed(self.room.now_s(), reason))
                return

    def _carry_out(self, effect: Effect) -> None:
        assert self._speaker is not None
        match effect:
            case Say():
                text = self.lines.text(effect.line, effect.values)
                clip = self.voice.speak(text, self.room.rate_hz, self.speed)
                self._sound(effect, effect.line, clip)
            case Sound():
                self._sound(effect, effect.name, tone(effect.name, self.room.rate_hz))
            case Wait():
                self.room.calendar.add(effect.cue, effect.at_s)
            case Drop():
                self._speaker.drop(effect.cue)
                self.room.calendar.drop(effect.cue)
            case Hush():
                self._speaker.hush(effect.rank)
            case Listen():
                self.ear.attend(effect.situation, effect.knocks)
            case Keep():
                self.store.keep(effect.kept)
            case Adjust():
                self._adjust(effect)
            case Escalate():
                self._escalate(effect)
            case Start() | Tell() | Schedule() | Prefer():
                event = self.errand(effect)
                self._speaker = self._fresh_speaker()  # others have spoken in the room
                self._texts.clear()
                self._decide(event)
            case Finish():
                self.code, self.reason = effect.code, effect.reason
                self._over_s = self.room.now_s()

    def _sound(self, effect: Say | Sound, name: str, clip: Clip) -> None:
        assert self._speaker is not None
        text = clip.text if isinstance(effect, Say) else f"({name} tone)"
        self._texts[effect.cue] = (name, text)
        self.room.name_cue(effect.cue, effect.moment)
        gain_db = effect.gain_db + self.volume_db
        self._speaker.say(effect.cue, clip, effect.rank, effect.at_s, gain_db)

    def _sounded(self, done: CueDone) -> None:
        assert self._speaker is not None
        self._speaker.done(done)
        name, text = self._texts.pop(done.cue, ("", ""))
        if name and done.started_s is not None:
            self.store.said(done.started_s, done.at_s, name, text, "coach")
            self.show(done.started_s, "coach", text)

    def _notice(self, event: Heard | Unclear | Knocked) -> None:
        """Put what was heard on the timeline and the screen."""
        match event:
            case Heard():
                meaning = event.command or "number"
                who = f"participant {event.participant}" if event.participant else "participant"
                self.store.said(event.onset_s, event.end_s, meaning, event.text, who)
                self.show(event.onset_s, "heard", event.text)
            case Knocked():
                word = "two knocks" if event.count > 1 else "one knock"
                self.store.said(event.onset_s, event.onset_s + 0.1, "knock", word, "participant")
                self.show(event.onset_s, "heard", f"({word})")
            case Unclear():
                self.show(event.onset_s, "heard", "(nothing I know)")

    def _adjust(self, effect: Adjust) -> None:
        if effect.what == "volume":
            wanted_db = self.volume_db + VOLUME_STEP_DB * effect.step
            self.volume_db = max(-MOST_VOLUME_DB, min(MOST_VOLUME_DB, wanted_db))
        else:
            wanted = round(self.speed + SPEED_STEP * effect.step, 2)
            self.speed = max(SPEEDS[0], min(SPEEDS[1], wanted))

    def _escalate(self, effect: Escalate) -> None:
        """Run the configured contact, without a shell and without waiting for it."""
        self.show(self.room.now_s(), "coach", f"(no answer: {effect.reason})")
        if effect.reason != "contact" or not self.contact:
            return
        filled = {"participant": effect.participant, "reason": "no answer after a hold"}
        command = [part.format_map(filled) for part in self.contact]
        try:
            called = subprocess.Popen(command, stdin=subprocess.DEVNULL, start_new_session=True)
            Thread(target=called.wait, daemon=True).start()  # nobody else waits for its end
        except OSError as error:
            self.show(self.room.now_s(), "room", f"contact command failed: {error}")


def _named(event: RoomLost | RoomBack) -> str:
    return f"lost: {event.what}" if isinstance(event, RoomLost) else "back"

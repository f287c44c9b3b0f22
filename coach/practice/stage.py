"""What an act may do and know: it speaks, listens, waits and keeps through the stage.

The stage gathers effects and hands out cue numbers; it decides nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coach.practice.events import (
    NOTHING,
    Drop,
    Effect,
    Heard,
    Hush,
    Keep,
    Knocks,
    Listen,
    Rank,
    Say,
    Sound,
    Value,
    Wait,
)
from coach.practice.kept import Hold, Kept, Note, Pulse, Source
from coach.practice.safety import Limits, Person
from coach.practice.words import Situation


@dataclass(slots=True)
class Ledger:
    """What this session has kept so far; a later value with the same key replaces an earlier."""

    values: dict[str, Kept] = field(default_factory=dict)

    def add(self, kept: Kept) -> None:
        """Take the value in."""
        self.values[kept.key] = kept

    def fresh(self, key: str) -> str:
        """The key, or with a number behind it if it is taken: another value, no correction."""
        taken = sum(1 for other in self.values if other == key or other.startswith(f"{key}#"))
        return f"{key}#{taken + 1}" if taken else key

    @property
    def holds(self) -> list[Hold]:
        """Holds in the order they were first kept."""
        return [value for value in self.values.values() if isinstance(value, Hold)]

    @property
    def last_holds(self) -> list[Hold]:
        """The latest hold of everybody who was in it."""
        latest = max((hold.number for hold in self.holds), default=0)
        return [hold for hold in self.holds if hold.number == latest]

    @property
    def pulses(self) -> list[Pulse]:
        """Pulse counts in order."""
        return [value for value in self.values.values() if isinstance(value, Pulse)]

    @property
    def notes(self) -> list[Note]:
        """Everything else that happened."""
        return [value for value in self.values.values() if isinstance(value, Note)]


@dataclass(slots=True)
class Stage:
    """One session's people, limits and results, and the effects of the event in hand."""

    people: list[Person]
    limits: Limits
    alone: bool
    group: bool  # several people share the loudspeaker; stays so when some sit out
    last_cue: int = 0
    now_s: float = 0.0
    ledger: Ledger = field(default_factory=Ledger)
    effects: list[Effect] = field(default_factory=list)
    situation: Situation | None = None
    unclaimed_s: tuple[float, ...] = ()  # ends of the last hold that are nobody's yet ...
    one_voice_s: frozenset[float] = frozenset()  # ... and which can be only one person's
    repeats: Mapping[int, tuple[float, ...]] = field(default_factory=dict)  # earlier ends, maybe
    over_s: float = 0.0  # when the last hold was over for everybody ...
    over_by: str = "cap"  # ... and what ended it for who was still in it: "cap", "stop", "calls"
    leads_in: bool = False  # a hold follows the step in hand at once
    passed_over: tuple[int, ...] = ()  # who has not answered in a roll call yet
    in_table: bool = False  # a table has begun: its rests also listen for wishes to change it
    _notes: int = 0
    _lines: dict[int, tuple[float, str, Mapping[str, Value]]] = field(default_factory=dict)
    _knocks: Knocks = Knocks.OFF

    @property
    def numbers(self) -> tuple[int, ...]:
        """The numbers of the participants on the stage."""
        return tuple(person.number for person in self.people)

    def moment(self, name: str, participant: int) -> str:
        """The name of a moment; with a group the participant's number is appended."""
        return f"{name}:{participant}" if self.group else name

    def cue(self) -> int:
        """A fresh cue number."""
        self.last_cue += 1
        return self.last_cue

    def say(
        self,
        line: str,
        values: Mapping[str, Value] = NOTHING,
        *,
        rank: Rank = Rank.GUIDANCE,
        at_s: float | None = None,
        gain_db: float = 0.0,
        moment: str = "",
    ) -> int:
        """Speak a line; returns its cue."""
        cue = self.cue()
        self.effects.append(Say(cue, line, values, rank, at_s, gain_db, moment))
        if rank not in (Rank.TALK, Rank.TIMING):  # what "repeat" is about
            self._lines[cue] = (self.now_s if at_s is None else at_s, line, values)
        return cue

    @property
    def last_line(self) -> tuple[str, Mapping[str, Value]] | None:
        """The last line that has begun, with its values."""
        begun = [entry for entry in self._lines.values() if entry[0] <= self.now_s]
        return max(begun, key=lambda entry: entry[0])[1:] if begun else None

    def sound(
        self,
        name: str,
        *,
        rank: Rank = Rank.TIMING,
        at_s: float | None = None,
        gain_db: float = 0.0,
        moment: str = "",
    ) -> int:
        """Play a tone; returns its cue."""
        cue = self.cue()
        self.effects.append(Sound(cue, name, rank, at_s, gain_db, moment))
        return cue

    def wait(self, at_s: float) -> int:
        """Ask for `CueDue` at `at_s`; returns its cue."""
        cue = self.cue()
        self.effects.append(Wait(cue, at_s))
        return cue

    def drop(self, *cues: int | None) -> None:
        """Forget these cues; None stands for no cue."""
        for cue in cues:
            if cue is not None:
                self.effects.append(Drop(cue))
                if self._lines.get(cue, (0.0,))[0] > self.now_s:
                    del self._lines[cue]

    def hush(self, rank: Rank = Rank.TIMING) -> None:
        """Silence everything up to `rank`."""
        self.effects.append(Hush(rank))

    def listen(self, situation: Situation, knocks: Knocks = Knocks.OFF) -> None:
        """Turn the ear to a situation; nothing is sent if it is turned there already."""
        if (situation, knocks) != (self.situation, self._knocks):
            self.situation, self._knocks = situation, knocks
            self.effects.append(Listen(situation, knocks))

    def keep(self, kept: Kept) -> None:
        """Put the value on the disk."""
        self.ledger.add(kept)
        self.effects.append(Keep(kept))

    def note(self, what: str, detail: str = "", participant: int | None = None) -> None:
        """Keep a note of something that happened now."""
        self._notes += 1
        self.keep(Note(f"note:{self._notes}", participant, what, detail, self.now_s))


def spoken(event: Heard) -> Source:
    """The source of a value that was spoken."""
    return Source("voice", event.text, event.confidence, event.onset_s, event.at_s)

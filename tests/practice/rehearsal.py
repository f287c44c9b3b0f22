"""A rehearsal: the core on virtual time, with lines that take a while and people who answer.

No sound, no threads. An untimed line sounds when the voice is free, a timed one at its mark; a
reply hangs on the moment or the line it answers.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import count

from coach.practice.conductor import Conductor
from coach.practice.events import (
    Begin,
    CueDone,
    CueDue,
    Drop,
    Effect,
    Escalate,
    Event,
    Finish,
    Heard,
    Hush,
    Keep,
    Knocked,
    Rank,
    Say,
    Sound,
    Wait,
)
from coach.practice.kept import CheckIn, Hold, Kept, Note, Pulse
from coach.practice.plan import Plan
from coach.practice.safety import Limits, Person

LINE_S = 1.0
TONE_S = 0.2

Reply = Callable[[float], Event]  # room time -> event


def heard(command: str | None = None, number: int | None = None, who: int | None = None) -> Reply:
    """Somebody says it, and the ear knows 0.4 s after the onset."""

    def at(onset_s: float) -> Event:
        return Heard(onset_s + 0.4, onset_s, onset_s + 0.3, command, number, who, command or "")

    return at


def knocked(times: int) -> Reply:
    """Knocks, noticed 0.1 s after the first."""
    return lambda onset_s: Knocked(onset_s + 0.1, onset_s, times)


@dataclass
class Rehearsal:
    """Plays a plan to its end. `replies` maps a line or moment to (delay, reply) in turn."""

    plan: Plan
    replies: dict[str, list[tuple[float, Reply]]] = field(default_factory=dict)
    people: Sequence[Person] = (Person(1),)
    limits: Limits = field(default_factory=Limits)
    alone: bool = True
    always: dict[str, tuple[float, Reply]] = field(default_factory=dict)
    limit_s: float = 7200.0

    def __post_init__(self) -> None:
        self.conductor = Conductor(self.plan, self.people, self.limits, alone=self.alone)
        self.effects: list[tuple[float, Effect]] = []
        self.said: list[tuple[float, str]] = []
        self.kept: list[Kept] = []
        self.finish: Finish | None = None
        self.now_s = 0.0
        self._order = count()
        self._future: list[tuple[float, int, Event]] = []
        self._queue: list[Say | Sound] = []
        self._sounding: dict[int, tuple[float, Rank]] = {}
        self._gone: set[int] = set()
        self._free_s = 0.0

    def at(self, at_s: float, event: Event) -> None:
        """Let the event happen at `at_s`."""
        heapq.heappush(self._future, (at_s, next(self._order), event))

    def run(self) -> Rehearsal:
        """To the end, or to `limit_s`."""
        self.at(0.0, Begin(0.0))
        while self._future and self.finish is None and self.now_s < self.limit_s:
            at_s, _, event = heapq.heappop(self._future)
            cue = getattr(event, "cue", None)
            if isinstance(event, CueDue | CueDone) and cue in self._gone:
                continue
            self.now_s = max(self.now_s, at_s)
            self.give(event)
        return self

    def give(self, event: Event) -> tuple[Effect, ...]:
        """Hand one event over and carry the effects out."""
        if isinstance(event, CueDone):
            self._sounding.pop(event.cue, None)
        effects = self.conductor.handle(event)
        for effect in effects:
            self.effects.append((self.now_s, effect))
            self._carry_out(effect)
        return effects

    def _carry_out(self, effect: Effect) -> None:
        match effect:
            case Say() | Sound():
                self._sound(effect)
            case Wait():
                self.at(effect.at_s, CueDue(max(effect.at_s, self.now_s), effect.cue))
            case Drop():
                self._gone.add(effect.cue)
                self._sounding.pop(effect.cue, None)
            case Hush():
                gone = [cue for cue, (_, rank) in self._sounding.items() if rank <= effect.rank]
                for cue in gone:
                    del self._sounding[cue]
                self._gone.update(gone)
            case Keep():
                self.kept.append(effect.kept)
            case Finish():
                self.finish = effect
            case _:
                pass

    def _sound(self, effect: Say | Sound) -> None:
        length_s = LINE_S if isinstance(effect, Say) else TONE_S
        busy_s = max((end_s for end_s, _ in self._sounding.values()), default=self.now_s)
        start_s = max(self.now_s, busy_s) if effect.at_s is None else effect.at_s
        name = effect.line if isinstance(effect, Say) else effect.name
        if effect.at_s is None:
            self._sounding[effect.cue] = (start_s + length_s, effect.rank)
        self.said.append((start_s, name))
        self.at(start_s + length_s, CueDone(start_s + length_s, effect.cue, start_s))
        for key in {effect.moment, name} - {""}:
            reply = self._reply(key)
            if reply is not None:
                delay_s, make = reply
                base_s = start_s if key.startswith("hold:") else start_s + length_s
                event = make(base_s + delay_s)
                self.at(event.at_s, event)

    def _reply(self, key: str) -> tuple[float, Reply] | None:
        waiting = self.replies.get(key)
        if waiting:
            return waiting.pop(0)
        return self.always.get(key)

    # --- what a test asks -----------------------------------------------------------------

    def lines(self) -> list[str]:
        """The names of lines and tones in the order they were begun."""
        return [name for _, name in self.said]

    def values(self, kind: type[Kept]) -> list[Kept]:
        """What is kept in the end, of one kind."""
        return [value for value in self.conductor.kept if isinstance(value, kind)]

    @property
    def holds(self) -> list[Hold]:
        return [value for value in self.conductor.kept if isinstance(value, Hold)]

    @property
    def pulses(self) -> list[Pulse]:
        return [value for value in self.conductor.kept if isinstance(value, Pulse)]

    @property
    def check_ins(self) -> list[CheckIn]:
        return [value for value in self.conductor.kept if isinstance(value, CheckIn)]

    @property
    def notes(self) -> list[str]:
        return [value.what for value in self.conductor.kept if isinstance(value, Note)]

    def escalations(self) -> list[str]:
        return [effect.reason for _, effect in self.effects if isinstance(effect, Escalate)]


def cleared() -> dict[str, tuple[float, Reply]]:
    """Every clearing question answered safely."""
    from coach.practice.safety import SAFE_ANSWERS

    return {f"clearing:{q}": (0.5, heard(answer)) for q, answer in SAFE_ANSWERS.items()}

"""A rehearsal: the core on virtual time, with lines that take a while and people who answer.

No sound, no threads. It keeps the promises of the real speaker: an untimed line sounds when the
voice is free, by rank; a timed one at its mark; safety interrupts; every line and tone ends in one
`CueDone`, also one that was cut or never began. A reply hangs on the moment or line it answers.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
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
    Interrupted,
    Keep,
    KeepFailed,
    Knocked,
    Rank,
    RoomBack,
    RoomLost,
    Say,
    Sound,
    Unclear,
    Wait,
)
from coach.practice.kept import Answer, CheckIn, Hold, Kept, Note, Pulse
from coach.practice.plan import Plan
from coach.practice.safety import SAFE_ANSWERS, Limits, Person

LINE_S = 1.0
CALL_S = 0.6
TONE_S = 0.2
HEARD_AFTER_S = 0.4

Reply = Callable[[float], Event]  # onset in room time -> event
Replies = dict[str, tuple[float, Reply]]


def heard(command: str | None = None, number: int | None = None, who: int | None = None) -> Reply:
    """Somebody says it, and the ear knows 0.4 s after the onset."""

    def at(onset_s: float) -> Event:
        return Heard(
            onset_s + HEARD_AFTER_S, onset_s, onset_s + 0.3, command, number, who, command or ""
        )

    return at


def knocked(times: int) -> Reply:
    """Knocks, noticed 0.1 s after the first."""
    return lambda onset_s: Knocked(onset_s + 0.1, onset_s, times)


def unclear() -> Reply:
    """Somebody says something else."""
    return lambda onset_s: Unclear(onset_s + HEARD_AFTER_S, onset_s, onset_s + 0.3)


def lost(what: str = "microphone") -> Reply:
    """The room is lost."""
    return lambda at_s: RoomLost(at_s, what)


def back() -> Reply:
    """The room is back."""
    return RoomBack


def interrupted() -> Reply:
    """Somebody ends the program."""
    return Interrupted


@dataclass
class _Turn:
    effect: Say | Sound
    start_s: float | None = None

    @property
    def name(self) -> str:
        return self.effect.line if isinstance(self.effect, Say) else self.effect.name

    @property
    def length_s(self) -> float:
        if isinstance(self.effect, Sound):
            return TONE_S
        return CALL_S if self.effect.line == "time_call" else LINE_S


@dataclass
class Rehearsal:
    """Plays a plan to its end.

    `replies` maps a line or moment to (delay, reply) in turn, `always` to one that is given every
    time. A delay counts from the end of what it answers; for the mark of a hold from its start.
    `full` names values (by key) that cannot be kept.
    """

    plan: Plan
    replies: Mapping[str, list[tuple[float, Reply]]] = field(default_factory=dict)
    people: Sequence[Person] = (Person(1),)
    limits: Limits = field(default_factory=Limits)
    alone: bool = True
    always: Mapping[str, tuple[float, Reply]] = field(default_factory=dict)
    limit_s: float = 7200.0
    full: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        self.conductor = Conductor(self.plan, self.people, self.limits, alone=self.alone)
        self.effects: list[tuple[float, Effect]] = []
        self.said: list[tuple[float, str]] = []
        self.spoken: list[tuple[float, Say | Sound]] = []
        self.kept: list[Kept] = []
        self.finish: Finish | None = None
        self.now_s = 0.0
        self._waiting_replies = {key: list(turns) for key, turns in self.replies.items()}
        self._order = count()
        self._future: list[tuple[float, int, Callable[[], None]]] = []
        self._queue: list[_Turn] = []
        self._sounding: list[_Turn] = []
        self._over: set[int] = set()  # cues that have ended or were dropped

    # --- what a test arranges -----------------------------------------------------------

    def at(self, at_s: float, reply: Reply) -> Rehearsal:
        """Let it happen at `at_s`."""
        event = reply(at_s)
        self._then(event.at_s, lambda: self._give(event))
        return self

    def run(self) -> Rehearsal:
        """To the last word, or to `limit_s`."""
        self._then(0.0, lambda: self._give(Begin(0.0)))
        while self._future and (self.finish is None or self._turns()) and self.now_s < self.limit_s:
            at_s, _, action = heapq.heappop(self._future)
            self.now_s = max(self.now_s, at_s)
            action()
        return self

    # --- the voice ------------------------------------------------------------------------

    def _then(self, at_s: float, action: Callable[[], None]) -> None:
        heapq.heappush(self._future, (at_s, next(self._order), action))

    def _give(self, event: Event) -> None:
        for effect in self.conductor.handle(event):
            self.effects.append((self.now_s, effect))
            if isinstance(effect, Keep) and effect.kept.key in self.full:
                self._give(KeepFailed(self.now_s, "no space left"))
                return
            self._carry_out(effect)

    def _carry_out(self, effect: Effect) -> None:
        match effect:
            case Say() | Sound():
                self._sound(_Turn(effect))
            case Wait():
                self._then(effect.at_s, lambda: self._due(effect.cue))
            case Drop():
                self._over.add(effect.cue)
                self._silence([t for t in self._turns() if t.effect.cue == effect.cue])
            case Hush():
                self._silence([t for t in self._turns() if t.effect.rank <= effect.rank])
            case Keep():
                self.kept.append(effect.kept)
            case Finish():
                self.finish = effect
            case _:
                pass

    def _due(self, cue: int) -> None:
        if cue not in self._over:
            self._give(CueDue(self.now_s, cue))

    def _turns(self) -> list[_Turn]:
        return [*self._queue, *self._sounding]

    def _sound(self, turn: _Turn) -> None:
        at_s = turn.effect.at_s
        self._queue.append(turn)
        if at_s is not None:
            self._then(at_s, lambda: self._mark(turn))
            return
        self._queue.sort(key=lambda waiting: -waiting.effect.rank)
        if turn.effect.rank is Rank.SAFETY:
            self._silence([t for t in self._sounding if t.effect.rank < Rank.SAFETY])
        self._advance()

    def _mark(self, turn: _Turn) -> None:
        if turn not in self._queue:
            return
        self._queue.remove(turn)
        if any(other.effect.rank > turn.effect.rank for other in self._sounding):
            self._end(turn, complete=False)
            return
        self._silence(list(self._sounding))
        self._begin(turn)

    def _advance(self) -> None:
        waiting = [turn for turn in self._queue if turn.effect.at_s is None]
        if waiting and not self._sounding:
            self._queue.remove(waiting[0])
            self._begin(waiting[0])

    def _begin(self, turn: _Turn) -> None:
        turn.start_s = self.now_s
        self._sounding.append(turn)
        self.said.append((self.now_s, turn.name))
        self.spoken.append((self.now_s, turn.effect))
        self._then(self.now_s + turn.length_s, lambda: self._finished(turn))
        for key in {turn.effect.moment, turn.name} - {""}:
            reply = self._reply(key)
            if reply is not None:
                delay_s, make = reply
                from_s = self.now_s + (0.0 if key.startswith("hold:") else turn.length_s)
                self.at(from_s + delay_s, make)

    def _finished(self, turn: _Turn) -> None:
        if turn in self._sounding:
            self._sounding.remove(turn)
            self._end(turn, complete=True)

    def _silence(self, turns: list[_Turn]) -> None:
        for turn in turns:
            (self._queue if turn in self._queue else self._sounding).remove(turn)
            self._then(self.now_s, lambda turn=turn: self._end(turn, complete=False))  # type: ignore[misc]

    def _end(self, turn: _Turn, *, complete: bool) -> None:
        self._give(CueDone(self.now_s, turn.effect.cue, turn.start_s, complete))
        self._advance()

    def _reply(self, key: str) -> tuple[float, Reply] | None:
        waiting = self._waiting_replies.get(key)
        if waiting:
            return waiting.pop(0)
        return self.always.get(key)

    # --- what a test asks -----------------------------------------------------------------

    @property
    def lines(self) -> list[str]:
        """The names of lines and tones in the order they were begun."""
        return [name for _, name in self.said]

    def time_of(self, name: str, which: int = 0) -> float:
        """When a line or tone began, the first time or the `which`-th."""
        return [at_s for at_s, said in self.said if said == name][which]

    def values_of(self, line: str) -> list[Mapping[str, object]]:
        """The values that a line was spoken with, each time."""
        return [s.values for _, s in self.spoken if isinstance(s, Say) and s.line == line]

    def _of(self, kind: type[Kept]) -> list[Kept]:
        return [value for value in self.conductor.kept if isinstance(value, kind)]

    @property
    def answers(self) -> dict[tuple[str, int], str]:
        found = [value for value in self.conductor.kept if isinstance(value, Answer)]
        return {(value.question, value.participant): value.answer for value in found}

    @property
    def holds(self) -> list[Hold]:
        return [value for value in self.conductor.kept if isinstance(value, Hold)]

    @property
    def ends(self) -> dict[tuple[str, int], float | None]:
        """Length of every hold, rounded to a millisecond, by label and participant."""
        return {
            (h.label, h.participant): None if h.duration_s is None else round(h.duration_s, 3)
            for h in self.holds
        }

    @property
    def pulses(self) -> list[Pulse]:
        return [value for value in self.conductor.kept if isinstance(value, Pulse)]

    @property
    def beats(self) -> dict[tuple[str, int], int | None]:
        """Every count by label and participant."""
        return {(p.label, p.participant): p.beats for p in self.pulses}

    @property
    def check_ins(self) -> list[CheckIn]:
        return [value for value in self.conductor.kept if isinstance(value, CheckIn)]

    @property
    def well(self) -> dict[tuple[str, int], str]:
        """Every check-in by label and participant."""
        return {(c.label, c.participant): c.answer for c in self.check_ins}

    @property
    def notes(self) -> list[str]:
        return [value.what for value in self.conductor.kept if isinstance(value, Note)]

    @property
    def calls(self) -> list[tuple[float, float]]:
        """Every time call: when it began after its hold's mark, and what it said."""
        return [
            (
                at_s
                - max(mark_s for mark_s, name in self.said if name == "hold" and mark_s <= at_s),
                float(say.values["elapsed"]),
            )
            for at_s, say in self.spoken
            if isinstance(say, Say) and say.line == "time_call"
        ]

    @property
    def escalations(self) -> list[str]:
        return [effect.reason for _, effect in self.effects if isinstance(effect, Escalate)]


# --- people who behave ------------------------------------------------------------------------


def cleared(number: int | None = None) -> Replies:
    """Every clearing question answered safely; with a number only what is asked of that person."""
    behind = "" if number is None else f":{number}"
    return {f"clearing:{q}{behind}": (0.5, heard(answer)) for q, answer in SAFE_ANSWERS.items()}


def cooperative(labels: Sequence[str], beats: Mapping[str, int] | None = None) -> Replies:
    """One person who does what is asked: holds of 40 s, "okay", counts confirmed."""
    replies = cleared()
    for label in labels:
        replies[f"ready:{label}"] = (1.0, heard("start"))
        replies[f"hold:{label}"] = (40.0, heard("done"))
        replies[f"check-in:{label}"] = (1.0, heard("okay"))
    for label, count_of in (beats or {}).items():
        replies[f"pulse-ask:{label}"] = (1.0, heard(number=count_of))
        replies[f"pulse-read:{label}"] = (1.0, heard("yes"))
    return replies

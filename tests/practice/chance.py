"""Sessions by chance: any event at any time, and what must hold all the same.

Not a voice but fate: cues come back early, late, cut or not at all begun; people answer as they
should, or say anything; rooms are lost. Every promise is checked with every effect.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

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
    Interrupted,
    Keep,
    KeepFailed,
    Knocked,
    Listen,
    RoomBack,
    RoomLost,
    Say,
    Sound,
    Unclear,
    Wait,
)
from coach.practice.kept import Answer, CheckIn, Hold, Kept, Note, Pulse
from coach.practice.phases import Phase
from coach.practice.plan import Plan
from coach.practice.safety import (
    HEALTH_QUESTIONS,
    PLACE_QUESTIONS,
    SAFE_ANSWERS,
    UNWELL_ANSWERS,
    Limits,
    Person,
    hold_limit_s,
)
from coach.practice.words import Command

MOST_EVENTS = 3000
STOPS_WITHIN = 400  # events from the first "stop" to the end, when "stop" is said again and again
EXACT_S = 1e-6


@dataclass
class Session:
    """One session by chance; `play` raises AssertionError with the first broken promise."""

    plan: Plan
    people: Sequence[Person]
    random: Random
    alone: bool = True
    calm: float = 0.9  # share of events that are what a willing person would do
    limits: Limits = field(default_factory=Limits)

    def __post_init__(self) -> None:
        self.conductor = Conductor(self.plan, self.people, self.limits, alone=self.alone)
        self.now_s = 0.0
        self.waits: dict[int, float] = {}
        self.sounds: dict[int, Say | Sound] = {}
        self.cues: set[int] = set()
        self.kept: dict[str, Kept] = {}
        self.finish: Finish | None = None
        self.situation = ""
        self.asked = ""  # the question that is out
        self.escalated: set[int] = set()
        self.full_breaths = 0
        self.hold_since_s: float | None = None
        self.ended_s: float | None = None  # when the last hold was over
        self.room_lost = False
        self.events = 0
        self.list_heard = False  # the list of conditions was read out to its end
        self.refused = False

    # --- fate -----------------------------------------------------------------------------

    def play(self, wild_events: int) -> Session:
        """Chance for so many events, then only goodwill; at last "stop" until it is over."""
        self.give(Begin(0.0))
        for _ in range(wild_events):
            if self.finish is not None:
                return self
            self.give(self.some_event())
        for _ in range(STOPS_WITHIN):
            if self.finish is not None:
                return self
            self.give(self.heard("stop") if self.random.random() < 0.3 else self.next_cue())
        raise AssertionError(f"not stopped in {self.conductor.phase}")

    def some_event(self) -> Event:
        chance = self.random.random()
        if chance < self.calm:
            return self.willing()
        return self.wild()

    def willing(self) -> Event:
        """What a willing person and a working room do next."""
        answer = self.answer()
        if answer is not None and self.random.random() < 0.5:
            return answer
        if self.room_lost and self.random.random() < 0.3:
            self.room_lost = False
            return RoomBack(self.now_s)
        if self.conductor.phase is Phase.PAUSED:
            return self.heard("go-on")
        return self.next_cue()

    def answer(self) -> Heard | Knocked | None:
        match self.situation:
            case "question":
                question = self.asked.removeprefix("clear_").replace("_", "-")
                return self.heard(SAFE_ANSWERS.get(question, "yes"))
            case "ready" | "table":
                return self.heard("start")
            case "hold" | "group-hold" if self.hold_since_s is not None:
                if self.random.random() < 0.7:
                    return None
                if len(self.people) > 1:
                    who = self.random.choice([*range(1, len(self.people) + 1), None])
                    return self.heard("done", who=who)
                knocks = Knocked(self.now_s, self.now_s, 2)
                return knocks if self.random.random() < 0.5 else self.heard("done")
            case "check-in":
                return self.heard("okay")
            case "number" if self.asked.startswith("pulse_read"):
                return self.heard("yes")
            case "number":
                return self.heard(number=self.random.randint(10, 30))
        return None

    def wild(self) -> Event:
        """Anything at all."""
        pick = self.random.random()
        before_s = self.now_s - self.random.choice([0.0, 0.3, 2.0, 30.0])
        if pick < 0.55:
            number = self.random.choice([None, None, 0, 13, 17, 26, 60, 240])
            who = self.random.choice([None, None, 1, 2, 3, 9])
            return Heard(
                self.now_s, before_s, before_s + 0.3, self.random.choice(ANYTHING), number, who
            )
        if pick < 0.65:
            return Unclear(self.now_s, before_s, before_s)
        if pick < 0.75:
            return Knocked(self.now_s, before_s, self.random.choice([1, 2, 2, 3]))
        if pick < 0.80:
            self.room_lost = True
            return RoomLost(self.now_s, "microphone")
        if pick < 0.86:
            self.room_lost = False
            return RoomBack(self.now_s)
        if pick < 0.88:
            return Begin(self.now_s)
        if pick < 0.94:  # a cue that is over or was dropped, or nobody's
            out = self.waits.keys() | self.sounds.keys()
            cue = self.random.choice([0, 10**6, *(self.cues - out)])
            if self.random.random() < 0.5:
                return CueDue(self.now_s, cue)
            return CueDone(self.now_s, cue, self.random.choice([None, self.now_s]))
        if pick < 0.998:
            return self.next_cue()
        if pick < 0.999:
            return KeepFailed(self.now_s, "no space left")
        return Interrupted(self.now_s)

    def next_cue(self) -> Event:
        """The room's next own event, in the order of time."""
        due = min(self.waits, key=lambda cue: self.waits[cue], default=None)
        if self.sounds:
            cue = next(iter(self.sounds))
            effect = self.sounds[cue]
            begins_s = max(self.now_s, effect.at_s or 0.0)
            if due is None or self.waits[due] > begins_s + 0.5:
                del self.sounds[cue]
                self.now_s = begins_s
                if effect.at_s is not None and self.random.random() < 0.03:
                    return CueDone(self.now_s, cue, None, complete=False)
                self.now_s += 0.5
                self.sounded(effect)
                return CueDone(self.now_s, cue, begins_s)
        if due is None:  # nothing is out: time passes
            self.now_s += 1.0
            return Unclear(self.now_s, self.now_s, self.now_s)
        self.now_s = max(self.now_s, self.waits.pop(due))
        return CueDue(self.now_s, due)

    def heard(
        self, command: str | None = None, number: int | None = None, who: int | None = None
    ) -> Heard:
        return Heard(self.now_s, self.now_s, self.now_s, command, number, who)

    # --- what must hold -------------------------------------------------------------------

    def give(self, event: Event) -> None:
        self.events += 1
        assert self.events < MOST_EVENTS
        for effect in self.conductor.handle(event):
            assert self.finish is None, f"{effect} after the end"
            self.look(effect)
            self.take(effect)
        if self.conductor.phase is Phase.OVER:
            assert self.finish is not None
            assert self.conductor.handle(Unclear(self.now_s, 0.0, 0.0)) == ()
            self.look_back()

    def take(self, effect: Effect) -> None:
        match effect:
            case Say() | Sound():
                self.sounds[effect.cue] = effect
            case Wait():
                self.waits[effect.cue] = effect.at_s
            case Drop():
                self.waits.pop(effect.cue, None)
                cut = self.sounds.pop(effect.cue, None)
                if cut is not None and (cut.at_s or 0.0) <= self.now_s:
                    self.sounded(cut)
            case Listen():
                self.situation = effect.situation
            case Finish():
                self.finish = effect
            case _:
                pass

    def sounded(self, effect: Say | Sound) -> None:
        match effect:
            case Say(line="clear_list"):
                self.list_heard = True
            case Say(line="full_breath_in"):
                self.full_breaths += 1
                assert self.full_breaths <= self.limits.full_breaths

    def look(self, effect: Effect) -> None:
        match effect:
            case Say() | Sound() | Wait():
                assert effect.cue not in self.cues, "a cue is used twice"
                self.cues.add(effect.cue)
        match effect:
            case Say(line="time_call"):
                self.look_at_call(effect)
            case Say(line="hold_ended" | "hold_cap") if self.hold_since_s is not None:
                self.ended_s, self.hold_since_s = self.now_s, None
            case Say(line="check_in" | "check_in_number") if self.ended_s is not None:
                assert self.now_s - self.ended_s >= self.limits.watch_s - EXACT_S
            case Say(line=line) if line.startswith("refused_"):
                self.refused = True
            case Say(line="clear_any_of_these"):
                assert self.list_heard, "asked about conditions that nobody has heard"
                self.asked = effect.line
            case Say(line=line) if line.startswith(("clear_", "pulse_", "whose_")):
                self.asked = line
            case Sound(name="hold"):
                self.look_at_mark(effect)
            case Keep(kept):
                self.look_at_kept(kept)
            case Escalate():
                self.escalated.add(effect.participant)

    def look_at_mark(self, mark: Sound) -> None:
        """Nobody holds without every safe answer, nor before the rest is over."""
        assert mark.at_s is not None
        assert not self.refused
        answers = {
            (a.question, a.participant): a.answer
            for a in self.kept.values()
            if isinstance(a, Answer)
        }
        for question in PLACE_QUESTIONS:
            assert answers.get((question, 0)) == "yes", question
        for person in self.conductor.stage.people:
            own = {q: a for (q, number), a in answers.items() if number == person.number}
            listed = all(own.get(q) == "no" for q in HEALTH_QUESTIONS)
            asked_at_once = own.get("any-of-these") == "no"
            unchanged = person.cleared and own.get("unchanged") == "yes"
            assert listed or asked_at_once or unchanged, own
            assert person.tables_today < self.limits.tables_per_day or not self.in_table()
        ends_s = [h.end_s for h in self.kept.values() if isinstance(h, Hold) and h.end_s]
        if ends_s:
            assert mark.at_s - max(ends_s) >= self.limits.rest_floor_s - 0.0011
        self.full_breaths = 0

    def in_table(self) -> bool:
        return self.conductor.stage.in_table

    def look_at_call(self, call: Say) -> None:
        elapsed_s = call.values["elapsed"]
        assert isinstance(elapsed_s, float)
        most_s = min(hold_limit_s(p, self.limits, alone=self.alone) for p in self.people)
        assert 0 < elapsed_s < most_s
        assert self.conductor.phase is Phase.HOLDING

    def look_at_kept(self, kept: Kept) -> None:
        """A kept value is never lost: only the same value, better known, takes its place."""
        before = self.kept.get(kept.key)
        if before is not None:
            assert type(kept) is type(before)
            match before, kept:
                case Hold(), Hold():
                    doubted = kept.ended_by == "unknown"  # a number was called twice
                    assert before.end_s is None or doubted, "the end of a hold is known once"
                    assert kept.start_s == before.start_s
                    assert kept.participant == before.participant
                case Pulse(), Pulse():
                    assert before.beats is None
                case _:
                    raise AssertionError(f"{before} was replaced by {kept}")
        if isinstance(kept, Hold):
            if kept.end_s is None:
                self.hold_since_s = kept.start_s
            else:
                person = next(p for p in self.people if p.number == kept.participant)
                most_s = hold_limit_s(person, self.limits, alone=self.alone)
                assert 0 <= kept.end_s - kept.start_s <= most_s + EXACT_S
        if isinstance(kept, Pulse) and kept.bpm is not None:
            assert 24 <= kept.bpm <= 220
        self.kept[kept.key] = kept

    def look_back(self) -> None:
        """At the end: nothing is lost, and everybody was asked after every hold."""
        assert self.finish is not None
        assert {kept.key: kept for kept in self.conductor.kept} == self.kept
        if self.finish.reason in ("stopped", "interrupted", "cannot keep", "no answer"):
            return
        asked = {
            (c.label.removesuffix(" afterwards"), c.participant)
            for c in self.kept.values()
            if isinstance(c, CheckIn)
        }
        for hold in self.kept.values():
            if isinstance(hold, Hold):
                known = (hold.label, hold.participant) in asked
                assert known or hold.participant in self.escalated, hold

    def notes(self) -> list[str]:
        return [note.what for note in self.kept.values() if isinstance(note, Note)]


ANYTHING: list[str | None] = [
    None,
    *(c.value for c in Command),
    *UNWELL_ANSWERS,
    *("pause", "go-on", "repeat", "skip", "again", "add-thirty") * 2,
]
ANYTHING = [word for word in ANYTHING if word not in ("stop", "stop-all", *UNWELL_ANSWERS)] * 2 + [
    "stop",
    "stop-all",
    *UNWELL_ANSWERS,
]

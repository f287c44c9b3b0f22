"""The hold: one mark to begin, time calls at exact times, an end for each participant.

The end is the onset of the word or knock, not the moment it was noticed. In a group whoever was
not heard alone and with a number is asked afterwards: who called without one, two at once, a
number that was called twice, and who is still in a hold that somebody stops. Nothing is guessed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.practice.acts.act import Next
from coach.practice.acts.ends import Ends
from coach.practice.acts.ends import Heard as Call
from coach.practice.events import (
    CueDone,
    CueDue,
    Event,
    Heard,
    Knocked,
    Knocks,
    Rank,
    RoomBack,
    Unclear,
)
from coach.practice.kept import CLOCK, NOBODY, Hold, Source
from coach.practice.phases import Phase
from coach.practice.plan import Hold as HoldStep
from coach.practice.safety import UNWELL_ANSWERS
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation

MARK_AFTER_S = 1.0  # from the last word of the lead-in to the mark
REFLEX_S = 0.25  # an "end" this soon after the mark is a reaction to the mark
ENDS_ALL = (Command.STOP, Command.STOP_ALL, *UNWELL_ANSWERS)
HEARD_DB = -4.0  # a number is said back beneath the calls
MOST_NAMED = 6  # numbers in one line


@dataclass(slots=True)
class Holding:
    """One hold of everybody on the stage."""

    step: HoldStep
    number: int  # which hold of the session
    cap_s: float
    phase: Phase = Phase.HOLDING
    may_skip: bool = False
    start_s: float | None = None
    contractions_s: dict[int, list[float]] = field(default_factory=dict)
    _ends: Ends = field(default_factory=Ends, repr=False)
    _mark: int | None = field(default=None, repr=False)
    _call: int | None = field(default=None, repr=False)
    _called_s: float = 0.0
    _limit: int | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Sound the mark; nothing but calls is spoken from here on."""
        stage.hush(Rank.GUIDANCE)
        if stage.group:
            stage.listen(Situation.GROUP_HOLD)
        else:
            stage.listen(Situation.HOLD, Knocks.MARKS)
        self._mark = stage.sound(
            "hold", at_s=stage.now_s + MARK_AFTER_S, moment=f"hold:{self.step.label}"
        )

    def leave(self, stage: Stage) -> None:
        """The session breaks off: whoever still holds is kept with an unknown end."""
        stage.drop(self._mark, self._call, self._limit)
        self._mark = self._call = self._limit = None
        if self.start_s is not None:
            for person in self._still_holding(stage):
                self._keep(stage, person, None, "interrupted", NOBODY)

    def left_s(self, now_s: float) -> float | None:  # noqa: ARG002 - nobody can know
        """Unknown."""
        return None

    def _still_holding(self, stage: Stage) -> list[int]:
        return [person.number for person in stage.people if person.number not in self._ends.up]

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Begin at the mark, call the time, take the ends."""
        if self.start_s is None:
            self._before_mark(event, stage)
            return None
        match event:
            case CueDone() if event.cue == self._call:
                self._next_call(stage)
                self._say_if_it_may_be_over(stage)
            case RoomBack() if self.start_s + self._called_s <= stage.now_s:
                self._next_call(stage)
            case CueDue() if event.cue == self._limit:
                return self._capped(stage)
            case Heard():
                return self._heard(event, stage)
            case Knocked() if not stage.group:
                return self._knocked(event, stage)
            case Unclear() if stage.group and event.onset_s > self.start_s + REFLEX_S:
                self._ends.sounded(event.onset_s)
                self._keep_open(self._ends.shaken, stage)
                self._say_heard(stage)
        return None

    def _before_mark(self, event: Event, stage: Stage) -> None:
        if isinstance(event, CueDone) and event.cue == self._mark:
            if event.started_s is None:  # the mark did not sound: sound it again
                self.enter(stage)
                return
            self._mark = None
            self.start_s = event.started_s
            self._limit = stage.wait(self.start_s + self.cap_s)
            self._next_call(stage)
            for person in stage.people:  # a hold that is cut short leaves a trace
                self._keep(stage, person.number, None, "unknown", NOBODY)

    def _next_call(self, stage: Stage) -> None:
        """Hand over the next time call whose mark is still to come, if it is before the cap."""
        assert self.start_s is not None
        stage.drop(self._call)
        self._call = None
        every_s = self.step.call_every_s
        past_s = max(self._called_s, stage.now_s - self.start_s)
        self._called_s = (past_s // every_s + 1) * every_s
        if self._called_s >= self.cap_s:
            return
        label = f"call:{self.step.label}:{self._called_s:g}"
        self._call = stage.say(
            "time_call",
            {"elapsed": self._called_s},
            rank=Rank.TIMING,
            at_s=self.start_s + self._called_s,
            moment=label,
        )

    def _heard(self, event: Heard, stage: Stage) -> Next | None:
        assert self.start_s is not None
        source = spoken(event)
        ends_s = max(event.onset_s, self.start_s)  # "stop" counts even while the mark sounds
        match event.command:
            case command if command in ENDS_ALL:
                by = "word" if command == Command.STOP else "stop"
                return self._ended(stage, ends_s, by, source)
            case _ if event.onset_s < self.start_s + REFLEX_S:
                return None
            case Command.DONE if not stage.group:
                return self._ended(stage, event.onset_s, "word", source)
            case Command.DONE:
                return self._up_in_group(event, source, stage)
            case Command.CONTRACTION:
                return self._contraction(event.participant, event.onset_s, source, stage)
            case Command.WHO_HOLDS:
                self._say_who_holds(stage)
        return None

    def _say_who_holds(self, stage: Stage) -> None:
        holding = self._still_holding(stage)
        if len(holding) > MOST_NAMED:
            stage.say("who_holds_many", {"people": len(holding)}, rank=Rank.TALK)
        else:
            numbers = ", ".join(str(n) for n in holding)
            stage.say("who_holds", {"numbers": numbers}, rank=Rank.TALK)

    def _knocked(self, event: Knocked, stage: Stage) -> Next | None:
        assert self.start_s is not None
        if event.onset_s < self.start_s + REFLEX_S:
            return None
        source = Source("knock", "", None, event.onset_s, event.at_s)
        if event.count >= 2:
            return self._ended(stage, event.onset_s, "knock", source)
        return self._contraction(None, event.onset_s, source, stage)

    def _contraction(
        self, participant: int | None, onset_s: float, source: Source, stage: Stage
    ) -> Next | None:
        """Mark it; it ends a hold that goes to the first contraction."""
        assert self.start_s is not None
        number = participant
        if number is None and not stage.group and stage.people:
            number = stage.people[0].number
        if number is None or number not in self._still_holding(stage):
            return None
        self.contractions_s.setdefault(number, []).append(onset_s - self.start_s)
        if self.step.until == "first contraction" and not stage.group:
            return self._ended(stage, onset_s, "contraction", source)
        return None

    def _up_in_group(self, event: Heard, source: Source, stage: Stage) -> Next | None:
        """When as many have called as still hold, the hold is over."""
        number = event.participant
        call = self._ends.called(number, event.onset_s, event.end_s, stage.numbers)
        self._keep_open(self._ends.shaken, stage)
        match call:
            case Call.CLEAR:
                assert number is not None
                self._keep(stage, number, event.onset_s, "word", source)
                values = {"participant": number}
                stage.say("up_heard", values, rank=Rank.TALK, gain_db=HEARD_DB)
            case Call.DOUBLED:
                assert number is not None
                self._keep_open([number], stage)
                self._say_heard(stage)
            case _:
                self._say_heard(stage)
        if self._ends.nameless < len(self._still_holding(stage)):
            return None
        return self._over(stage, event.at_s, "calls")

    def _keep_open(self, numbers: list[int], stage: Stage) -> None:
        """Their ends are not sure any more."""
        while numbers:
            self._keep(stage, numbers.pop(), None, "unknown", NOBODY)

    def _say_heard(self, stage: Stage) -> None:
        """Something was heard: nobody needs to call again."""
        if not self._ends.is_talk(len(stage.people)):
            stage.sound("heard", rank=Rank.TALK)

    def _say_if_it_may_be_over(self, stage: Stage) -> None:
        """Whoever was not heard learns of it once, and the others that all may be up."""
        people, holding = len(stage.people), len(self._still_holding(stage))
        if not self._ends.told and self._ends.may_be_over(people, holding, stage.now_s):
            self._ends.told = True
            self._say_who_holds(stage)

    def _ended(self, stage: Stage, end_s: float, by: str, source: Source) -> Next:
        """Everybody is up at `end_s`; in a group who was not heard before is asked."""
        if not stage.group:
            self._all_up(stage, end_s, by, source)
        return self._over(stage, end_s, "stop")

    def _all_up(self, stage: Stage, end_s: float, by: str, source: Source) -> None:
        for number in self._still_holding(stage):
            self._ends.up[number] = end_s
            self._keep(stage, number, end_s, by, source)

    def _capped(self, stage: Stage) -> Next:
        """The limit is reached. In a group whoever was not heard is asked afterwards."""
        assert self.start_s is not None
        self._limit = None
        if not stage.group:
            self._all_up(stage, self.start_s + self.cap_s, "cap", CLOCK)
        return self._over(stage, self.start_s + self.cap_s, "cap")

    def _over(self, stage: Stage, over_s: float, by: str) -> Next:
        """Nobody holds any more since `over_s`: it was the limit ("cap"), or somebody's word."""
        stage.drop(self._call, self._limit)
        self._call = self._limit = None
        for number in self._still_holding(stage):
            if number in self.contractions_s:
                self._keep(stage, number, None, "unknown", NOBODY)
        stage.hush()
        line = "hold_cap" if by == "cap" else "hold_ended"
        stage.say(line, rank=Rank.SAFETY, moment=f"hold-end:{self.step.label}")
        people = len(stage.people)
        stage.unclaimed_s = self._ends.unclaimed_s(people)
        stage.one_voice_s = self._ends.one_voice_s()
        stage.repeats = {} if self._ends.is_talk(people) else self._ends.repeats
        stage.over_s, stage.over_by = over_s, by
        for hold in stage.ledger.last_holds:
            if not stage.group and hold.duration_s is not None:
                stage.say("hold_result", {"held": hold.duration_s})
        return Next()

    def _key(self, number: int) -> str:
        return f"hold:{self.step.label}:{number}"

    def _keep(
        self, stage: Stage, number: int, end_s: float | None, by: str, source: Source
    ) -> None:
        assert self.start_s is not None
        length_s = float("inf") if end_s is None else end_s - self.start_s
        marks = tuple(t for t in self.contractions_s.get(number, ()) if t <= length_s)
        stage.keep(
            Hold(
                self._key(number),
                number,
                self.step.label,
                self.step.hold,
                self.number,
                self.start_s,
                end_s,
                by,
                marks,
                self.step.target_s,
                source,
            )
        )

"""Afterwards: was it you who came up at that time? Only a yes makes it a result."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from coach.practice.acts.act import Asks, Next, Prompt
from coach.practice.events import Event, Heard
from coach.practice.kept import CLOCK, NOBODY, Hold
from coach.practice.phases import Phase
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation


def known(hold: Hold, end_s: float, **given: object) -> Hold:
    """The hold with the end that was found, and what was marked before it."""
    marks = tuple(t for t in hold.contractions_s if t <= end_s - hold.start_s)
    return replace(hold, end_s=end_s, contractions_s=marks, **given)  # type: ignore[arg-type]


@dataclass(slots=True)
class Whose(Asks):
    """Asks one participant whose end was not heard about each time that was heard.

    A time may belong to two who called at once, so each of them is asked about it, unless it was
    one voice and somebody has claimed it. Whether it was the end of the hold itself comes first;
    last, if it was over because enough had called. Without a yes the end stays unknown.
    """

    hold: Hold
    over_s: float  # when the hold was over for everybody ...
    over_by: str  # ... and why: "cap", "stop" or "calls"
    phase: Phase = Phase.TAKING
    may_skip: bool = True
    _ends_s: list[float | None] | None = None  # to be asked about; None is the end of the hold
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask about the next time."""
        if self._ends_s is None:
            spoken_s = {round(t - self.hold.start_s): t for t in reversed(stage.unclaimed_s)}
            times_s = sorted(spoken_s.values())  # the first of those that sound the same
            last = self.over_by == "calls"
            self._ends_s = [*times_s, None] if last else [None, *times_s]
        line = "whose_cap" if self._ends_s[0] is None else "whose_time"
        end_s = self.over_s if self._ends_s[0] is None else self._ends_s[0]
        held_s = end_s - self.hold.start_s
        number = self.hold.participant
        moment = stage.moment(f"whose:{self.hold.label}:{held_s:.0f}", number)
        values = {"participant": number, "held": held_s}
        self._prompt = Prompt(line, Situation.QUESTION, moment, values, tries=2)
        self._prompt.put(stage)

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Yes keeps the time; no asks about the next; silence leaves it unknown."""
        assert self._prompt is not None
        assert self._ends_s is not None
        if isinstance(event, Heard) and self._is_late(event, stage):
            return None
        if isinstance(event, Heard) and event.command == Command.YES:
            self.leave(stage)
            self._take(event, self._ends_s[0], stage)
            return Next()
        if isinstance(event, Heard) and event.command == Command.NO:
            self.leave(stage)
            del self._ends_s[0]
            if not self._ends_s:
                return Next()
            self.enter(stage)
            return None
        return Next() if self._prompt.on(event, stage) == "spent" else None

    def _take(self, event: Heard, end_s: float | None, stage: Stage) -> None:
        if end_s is None:
            by = "cap" if self.over_by == "cap" else "stop"
            stage.keep(known(self.hold, self.over_s, ended_by=by, source=CLOCK))
            return
        if end_s in stage.one_voice_s:
            stage.unclaimed_s = tuple(t for t in stage.unclaimed_s if t != end_s)
        stage.keep(known(self.hold, end_s, ended_by="word", source=spoken(event)))


@dataclass(slots=True)
class Twice(Asks):
    """Asks one whose call came soon after an unclear sound whether it was the second one.

    Until the answer, and without one, the end is unknown. After a no it is the call, after a yes
    the sound; of several sounds each is asked about.
    """

    hold: Hold
    earlier_s: tuple[float, ...]
    phase: Phase = Phase.TAKING
    may_skip: bool = True
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask."""
        stage.keep(replace(self.hold, end_s=None, ended_by="unknown", source=NOBODY))
        number = self.hold.participant
        moment = stage.moment(f"twice:{self.hold.label}", number)
        values = {"participant": number}
        self._prompt = Prompt("whose_twice", Situation.QUESTION, moment, values, tries=2)
        self._prompt.put(stage)

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Take the answer."""
        assert self._prompt is not None
        answers = (Command.YES, Command.NO)
        if isinstance(event, Heard) and event.command in answers:
            if self._is_late(event, stage):
                return None
            self.leave(stage)
            if event.command == Command.NO:
                stage.keep(self.hold)
            elif len(self.earlier_s) == 1:
                stage.keep(known(self.hold, self.earlier_s[0], source=spoken(event)))
            else:
                return Next((Whose(self.hold, stage.over_s, stage.over_by),))
            return Next()
        return Next() if self._prompt.on(event, stage) == "spent" else None

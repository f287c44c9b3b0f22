"""Afterwards: was it you who came up at that time? Only a yes makes it a result."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from coach.practice.acts.act import Asks, Next, Prompt
from coach.practice.events import Event, Heard
from coach.practice.kept import CLOCK, Hold
from coach.practice.phases import Phase
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation


@dataclass(slots=True)
class Whose(Asks):
    """Asks one participant whose end was not heard about each time that was heard.

    A time may belong to two who called at once, so each of them is asked about it. Last comes the
    end of the hold itself. Without a yes the end stays unknown.
    """

    hold: Hold
    times_s: tuple[float, ...]
    over_s: float  # when the hold was over for everybody ...
    over_by: str  # ... and why: "cap" or "stop"
    phase: Phase = Phase.TAKING
    may_skip: bool = True
    _index: int = 0
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask about the next time."""
        last = self._index == len(self.times_s)
        line, end_s = ("whose_cap", self.over_s) if last else ("whose_time", self._time_s())
        held_s = end_s - self.hold.start_s
        number = self.hold.participant
        moment = stage.moment(f"whose:{held_s:.0f}", number)
        values = {"participant": number, "held": held_s}
        self._prompt = Prompt(line, Situation.QUESTION, moment, values, tries=2)
        self._prompt.put(stage)

    def _time_s(self) -> float:
        return self.times_s[self._index]

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Yes keeps the time; no asks about the next; silence leaves it unknown."""
        assert self._prompt is not None
        if isinstance(event, Heard) and self._is_late(event, stage):
            return None
        if isinstance(event, Heard) and event.command == Command.YES:
            self.leave(stage)
            self._take(event, stage)
            return Next()
        if isinstance(event, Heard) and event.command == Command.NO:
            self.leave(stage)
            if self._index == len(self.times_s):
                return Next()
            self._index += 1
            self.enter(stage)
            return None
        return Next() if self._prompt.on(event, stage) == "spent" else None

    def _take(self, event: Heard, stage: Stage) -> None:
        if self._index < len(self.times_s):
            taken = replace(self.hold, end_s=self._time_s(), ended_by="word", source=spoken(event))
        else:
            taken = replace(self.hold, end_s=self.over_s, ended_by=self.over_by, source=CLOCK)
        length_s = taken.duration_s or 0.0
        marks = tuple(t for t in taken.contractions_s if t <= length_s)
        stage.keep(replace(taken, contractions_s=marks))

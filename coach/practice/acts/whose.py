"""Afterwards: was it you who came up at that time? Only a yes makes it a result."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from coach.practice.acts.act import Asks, Next, Prompt
from coach.practice.events import Event, Heard
from coach.practice.kept import CLOCK
from coach.practice.phases import Phase
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation


@dataclass(slots=True)
class Whose(Asks):
    """Asks one participant whose end was not heard about each time that was heard.

    Last comes the limit itself: "did you hold to the end?". Without a yes the end stays unknown.
    """

    participant: int
    key: str
    times_s: tuple[float, ...]
    start_s: float
    cap_s: float
    phase: Phase = Phase.TAKING
    may_skip: bool = True
    _index: int = 0
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask about the next time that nobody has claimed yet."""
        self._index = self._unclaimed_from(self._index, stage)
        if self._index < len(self.times_s):
            held_s = self.times_s[self._index] - self.start_s
            self._put("whose_time", held_s, stage)
        else:
            self._put("whose_cap", self.cap_s, stage)

    def _unclaimed_from(self, index: int, stage: Stage) -> int:
        claimed = {hold.end_s for hold in stage.ledger.holds}
        while index < len(self.times_s) and self.times_s[index] in claimed:
            index += 1
        return index

    def _put(self, line: str, held_s: float, stage: Stage) -> None:
        values = {"participant": self.participant, "held": held_s}
        moment = stage.moment(f"whose:{held_s:.0f}", self.participant)
        self._prompt = Prompt(line, Situation.QUESTION, moment, values, tries=2)
        self._prompt.put(stage)

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Yes keeps the time; no asks about the next; silence leaves it unknown."""
        assert self._prompt is not None
        if isinstance(event, Heard) and event.command == Command.YES:
            self.leave(stage)
            self._take(event, stage)
            return Next()
        if isinstance(event, Heard) and event.command == Command.NO:
            self.leave(stage)
            if self._index >= len(self.times_s):
                return Next()
            self._index += 1
            self.enter(stage)
            return None
        return Next() if self._prompt.on(event, stage) == "spent" else None

    def _take(self, event: Heard, stage: Stage) -> None:
        hold = next(hold for hold in stage.ledger.holds if hold.key == self.key)
        if self._index < len(self.times_s):
            end_s, by, source = self.times_s[self._index], "word", spoken(event)
        else:
            end_s, by, source = self.start_s + self.cap_s, "cap", CLOCK
        stage.keep(replace(hold, end_s=end_s, ended_by=by, source=source))

"""After the summary of a group: whoever says a number hears the results of that number."""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.practice.acts.act import Asks, Next, Prompt
from coach.practice.acts.script import Beat, Script
from coach.practice.events import Event, Heard
from coach.practice.phases import Phase
from coach.practice.stage import Stage
from coach.practice.summary import own_lines
from coach.practice.words import Command, Situation

ENOUGH = (Command.GO_ON, Command.NO)


@dataclass(slots=True)
class OwnResults(Asks):
    """Asks for a number until somebody says "go on", or nobody says one."""

    numbers: tuple[int, ...]
    phase: Phase = Phase.ASKING
    may_skip: bool = True
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask."""
        self._prompt = Prompt("sum_ask", Situation.WHO, "sum-ask", tries=1)
        self._prompt.put(stage)

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Tell, and ask again."""
        assert self._prompt is not None
        if isinstance(event, Heard) and event.command in ENOUGH:
            self.leave(stage)
            return Next()
        if isinstance(event, Heard) and event.number in self.numbers:
            self.leave(stage)
            return Next((self._told(event.number, stage), OwnResults(self.numbers)))
        return Next() if self._prompt.on(event, stage) == "spent" else None

    def _told(self, number: int, stage: Stage) -> Script:
        said = [("sum_number", {"participant": number}), *own_lines(stage.ledger, number)]
        return Script(tuple(Beat(line, values, pause_s=0.6) for line, values in said))

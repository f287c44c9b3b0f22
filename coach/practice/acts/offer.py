"""A table is read out before it starts; it can be made easier by voice, never harder."""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.practice.acts.act import Asks, Next, Prompt
from coach.practice.acts.question import MORE_TIME, MORE_TIME_S
from coach.practice.acts.script import closing
from coach.practice.events import Event, Heard
from coach.practice.phases import Phase
from coach.practice.plan import Hold, PlainStep, Recovery, Rest, Table
from coach.practice.stage import Stage
from coach.practice.tables import Round, eased, total_s
from coach.practice.words import Command, Situation

SHORTER_SHARE = 0.9
SHORTEST_SHARE = 0.5
FEWEST_ROUNDS = 3
FEWER = 2
START_REPLY_S = 20.0


@dataclass(slots=True)
class Offer(Asks):
    """Says the table and its total, and waits for "start" or a wish."""

    step: Table
    full: tuple[Round, ...]  # as computed from the best: nothing goes past it
    phase: Phase = Phase.ASKING
    may_skip: bool = True
    _share: float = 1.0
    _rounds: int = 0
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Read the table out and ask."""
        self._rounds = self._rounds or len(self.full)
        rounds = self._chosen()
        stage.say(
            f"table_{self.step.table}",
            {
                "rounds": len(rounds),
                "total": total_s(rounds),
                "first_hold": rounds[0].hold_s,
                "last_hold": rounds[-1].hold_s,
                "first_rest": rounds[0].rest_s,
                "last_rest": rounds[-1].rest_s,
            },
        )
        self._ask(stage)

    def _ask(self, stage: Stage) -> None:
        self._prompt = Prompt(
            "table_ask", Situation.TABLE, f"table:{self.step.table}", reply_s=START_REPLY_S
        )
        self._prompt.put(stage)

    def _chosen(self) -> tuple[Round, ...]:
        rounds = self.full[: self._rounds]
        return eased(rounds, self._share) if self._share < 1 else rounds

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Start, change, or give up."""
        assert self._prompt is not None
        if not isinstance(event, Heard):
            if self._prompt.on(event, stage) == "spent":
                return Next((closing(1, "nobody was ready", "nobody_ready"),))
            return None
        match event.command:
            case Command.START:
                self.leave(stage)
                stage.in_table = True
                return Next(self._steps())
            case command if command in MORE_TIME:
                self._prompt.postpone(stage, event.at_s + MORE_TIME_S)
                stage.say("take_your_time")
            case Command.SHORTER | Command.EASIER | Command.LONGER as wish:
                self._change(wish, stage)
        return None

    def _change(self, wish: str, stage: Stage) -> None:
        """Read the changed table out, or say why it stays."""
        before = self._chosen()
        if wish == Command.SHORTER:
            self._share = max(SHORTEST_SHARE, self._share * SHORTER_SHARE)
        elif wish == Command.EASIER:
            self._rounds = max(FEWEST_ROUNDS, self._rounds - FEWER)
        else:
            self._share = min(1.0, self._share / SHORTER_SHARE)
        self.leave(stage)
        if self._chosen() != before:
            stage.note("table changed", wish)
            self.enter(stage)
        else:
            stage.say("table_limit" if wish == Command.LONGER else "nothing_to_change")
            self._ask(stage)

    def _steps(self) -> tuple[PlainStep, ...]:
        steps: list[PlainStep] = []
        for number, row in enumerate(self._chosen(), 1):
            rest = Rest("rest", row.rest_s, counted_from="now" if number == 1 else "hold end")
            hold = Hold(
                "hold",
                f"{self.step.table} {number}",
                self.step.table,
                row.hold_s,
                self.step.call_every_s,
                lead_in="",
                wait_for_start=False,
                target_s=row.hold_s,
            )
            steps += [rest, hold, Recovery("recovery")]
        return tuple(steps)

"""What every act promises to the conductor, and the question that is put again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from coach.practice.events import NOTHING, CueDone, CueDue, Event, Heard, Rank, Unclear, Value
from coach.practice.phases import Phase
from coach.practice.plan import PlainStep
from coach.practice.stage import Stage
from coach.practice.words import Situation

REPLY_S = 6.0  # an answer comes within a fraction of a second; nobody is cut off
LOUDER_DB = 4.0
PARDONS = 2
CALLED_S = 1.0  # by then a question to one of several has named its number


@dataclass(frozen=True, slots=True)
class Next:
    """The act is over; `acts` (or steps of a plan) come before what follows it.

    With `end` nothing follows: the session finishes with that exit code and reason.
    """

    acts: tuple[Act | PlainStep, ...] = ()
    end: tuple[int, str] | None = None


class Act(Protocol):
    """One stretch of a session.

    `enter` may be called again after a pause: it starts the stretch, or what is left of it,
    anew. `leave` takes back every cue that is still out.
    """

    @property
    def phase(self) -> Phase:
        """Where this act stands in the table of transitions."""

    @property
    def may_skip(self) -> bool:
        """Whether "skip" ends it."""

    def enter(self, stage: Stage) -> None:
        """Begin."""

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Take one event; None while the act goes on."""

    def leave(self, stage: Stage) -> None:
        """Take back what is still to come."""

    def left_s(self, now_s: float) -> float | None:
        """How long it still takes, in seconds; None where nobody can know."""


@dataclass(slots=True)
class Prompt:
    """A question that is put again, a little louder, when no answer comes.

    `on` returns "spent" once the last try stayed without an answer.
    """

    line: str
    situation: Situation
    moment: str = ""
    values: Mapping[str, Value] = field(default_factory=lambda: NOTHING)
    reply_s: float = REPLY_S
    tries: int = 3
    rank: Rank = Rank.GUIDANCE
    asked: int = 0
    pardons: int = 0
    put_s: float | None = None  # room time at which the question was first handed to the voice
    ended_s: float | None = None  # ... and at which it had been put
    _said: int | None = field(default=None, repr=False)
    _timer: int | None = field(default=None, repr=False)
    _later: int | None = field(default=None, repr=False)

    def put(self, stage: Stage) -> None:
        """Ask (again)."""
        self.asked += 1
        self._ask(stage)

    def _ask(self, stage: Stage) -> None:
        self.withdraw(stage)
        if self.put_s is None:
            self.put_s = stage.now_s
        stage.listen(self.situation)
        gain_db = LOUDER_DB * min(self.asked - 1, 2)
        self._said = stage.say(
            self.line, self.values, rank=self.rank, gain_db=gain_db, moment=self.moment
        )

    def withdraw(self, stage: Stage) -> None:
        """Take the question back."""
        stage.drop(self._said, self._timer, self._later)
        self._said = self._timer = self._later = None

    def postpone(self, stage: Stage, at_s: float) -> None:
        """Somebody wants more time: begin to ask anew at `at_s`, and be silent until then."""
        self.withdraw(stage)
        self.asked = self.pardons = 0
        self._later = stage.wait(at_s)

    def on(self, event: Event, stage: Stage) -> str | None:
        """Wait for the reply; ask again after silence or something unclear."""
        if isinstance(event, CueDone) and event.cue == self._said:
            self._said = None
            if self.ended_s is None:
                self.ended_s = event.at_s
            self._timer = stage.wait(event.at_s + self.reply_s)
        elif isinstance(event, CueDue) and event.cue == self._timer:
            self._timer = None
            if self.asked >= self.tries:
                return "spent"
            self.put(stage)
        elif isinstance(event, CueDue) and event.cue == self._later:
            self.put(stage)
        elif isinstance(event, Unclear) and self._timer is not None and self.pardons < PARDONS:
            self.pardons += 1
            if self.situation is not Situation.CHECK_IN:  # there no word may cost time
                stage.say("pardon", rank=self.rank)
            self._ask(stage)
        return None


class Asks:
    """What acts share that wait for the answer to one prompt: withdrawing it, knowing no length."""

    __slots__ = ()
    _prompt: Prompt | None

    def _is_late(self, event: Heard, stage: Stage) -> bool:
        """Whether it is the late answer of somebody else: it began before this one was called."""
        if not stage.group or self._prompt is None or self._prompt.put_s is None:
            return False
        return event.onset_s < self._prompt.put_s + CALLED_S

    def leave(self, stage: Stage) -> None:
        """Withdraw the question."""
        if self._prompt:
            self._prompt.withdraw(stage)

    def left_s(self, now_s: float) -> float | None:  # noqa: ARG002 - nobody can know
        """Unknown."""
        return None

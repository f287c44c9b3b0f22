"""Questions answered with yes or no before anybody holds, and the word that starts a hold."""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.practice.acts.act import Asks, Next, Prompt
from coach.practice.acts.script import closing
from coach.practice.events import CueDue, Event, Heard, Rank, Value
from coach.practice.kept import NOBODY, Answer, Source
from coach.practice.phases import Phase
from coach.practice.safety import SAFE_ANSWERS
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation

TRIES = 3
ROLL_TRIES = 2  # in a roll call that comes back
READY_REPLY_S = 20.0
MORE_TIME = (Command.NOT_YET, Command.ADD_THIRTY)
MORE_TIME_S = 30.0
EVERYBODY = 0


@dataclass(slots=True)
class Question(Asks):
    """One clearing question; without the safe answer there is no hold.

    An unsafe answer is asked back once, because a misheard word should not end a lesson; a
    missing one is "none", and not cleared. In a roll call that comes back (`ComeBack`) who does
    not answer is passed over first.
    """

    question: str
    participant: int
    comes_back: bool = False
    phase: Phase = Phase.ASKING
    may_skip: bool = False
    _prompt: Prompt | None = None
    _unsafe: Heard | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask."""
        self._unsafe = None
        self._put(self._line(stage), stage)

    def _line(self, stage: Stage) -> str:
        everybody = stage.group and self.participant == EVERYBODY
        return f"clear_{self.question}_group" if everybody else f"clear_{self.question}"

    def _put(self, line: str, stage: Stage) -> None:
        moment = f"clearing:{self.question}"
        if self.participant != EVERYBODY:
            moment = stage.moment(moment, self.participant)
        values: dict[str, Value] = {"participant": self.participant, "answer": self._unsafe_word()}
        tries = ROLL_TRIES if self.comes_back else TRIES
        self._prompt = Prompt(
            line.replace("-", "_"),
            Situation.QUESTION,
            moment,
            values,
            tries=tries,
            rank=Rank.SAFETY,
        )
        self._prompt.put(stage)

    def _unsafe_word(self) -> str:
        return "no" if SAFE_ANSWERS[self.question] == "yes" else "yes"

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Take the answer."""
        assert self._prompt is not None
        if isinstance(event, Heard) and self._is_late(event, stage):
            return None
        if isinstance(event, Heard) and event.command in (Command.YES, Command.NO):
            return self._answered(event, event.command, stage)
        if self._prompt.on(event, stage) == "spent":
            if self.comes_back:
                stage.passed_over = (*stage.passed_over, self.participant)
                return Next()
            return self._kept("none", NOBODY, stage)
        return None

    def _answered(self, event: Heard, word: str, stage: Stage) -> Next | None:
        self.leave(stage)
        if self._unsafe is not None:  # this is the answer to "I heard ..., is that right?"
            if word == Command.YES:
                return self._kept(self._unsafe_word(), spoken(self._unsafe), stage)
            self._unsafe = None
            self._put(self._line(stage), stage)
            return None
        if word == SAFE_ANSWERS[self.question]:
            return self._kept(word, spoken(event), stage)
        self._unsafe = event
        named = stage.group and self.participant != EVERYBODY
        self._put("clear_sure_number" if named else "clear_sure", stage)
        return None

    def _kept(self, answer: str, source: Source, stage: Stage) -> Next:
        key = f"answer:{self.question}:{self.participant}"
        stage.keep(Answer(key, self.participant, self.question, answer, source))
        if answer == SAFE_ANSWERS[self.question]:
            return Next()
        if stage.group and self.participant != EVERYBODY:
            return self._sits_out(answer, stage)
        why = "refused_unanswered" if answer == "none" else f"refused_{_topic(self.question)}"
        return Next((closing(1, "not cleared", why, "refused_rest"),))

    def _sits_out(self, answer: str, stage: Stage) -> Next:
        stage.people = [p for p in stage.people if p.number != self.participant]
        stage.note("sits out", self.question, self.participant)
        if not stage.people:
            return Next((closing(1, "not cleared", "refused_health", "refused_rest"),))
        line = "sits_out_unanswered" if answer == "none" else "sits_out"
        stage.say(line, {"participant": self.participant}, rank=Rank.SAFETY)
        return Next()


@dataclass(slots=True)
class ComeBack:
    """At the end of a roll call: whoever was passed over is asked once more."""

    question: str
    phase: Phase = Phase.ASKING
    may_skip: bool = False
    _now: int | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Go on at once."""
        self._now = stage.wait(stage.now_s)

    def leave(self, stage: Stage) -> None:
        """Nothing is out but the wait."""
        stage.drop(self._now)

    def left_s(self, now_s: float) -> float | None:  # noqa: ARG002 - nobody can know
        """Unknown."""
        return None

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Ask them."""
        if not (isinstance(event, CueDue) and event.cue == self._now):
            return None
        numbers, stage.passed_over = stage.passed_over, ()
        return Next(tuple(Question(self.question, number) for number in numbers))


def _topic(question: str) -> str:
    return "place" if question in ("dry", "posture", "near") else "health"


@dataclass(slots=True)
class Ready(Asks):
    """Waits for "start"; "not yet" gives half a minute more, as often as it is said."""

    label: str
    line: str = "ready"
    phase: Phase = Phase.ASKING
    may_skip: bool = False
    _prompt: Prompt | None = None

    def enter(self, stage: Stage) -> None:
        """Ask."""
        self._prompt = Prompt(
            self.line, Situation.READY, f"ready:{self.label}", reply_s=READY_REPLY_S
        )
        self._prompt.put(stage)

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Start, wait longer, or give up when nobody says anything."""
        assert self._prompt is not None
        if isinstance(event, Heard) and event.command == Command.START:
            self.leave(stage)
            return Next()
        if isinstance(event, Heard) and event.command in MORE_TIME:
            self._prompt.postpone(stage, event.at_s + MORE_TIME_S)
            stage.say("take_your_time")
            return None
        if self._prompt.on(event, stage) == "spent":
            return Next((closing(1, "nobody was ready", "nobody_ready"),))
        return None

"""Between sessions: stays ready, wakes at its name, starts plans, answers questions, sleeps.

Pure like the conductor, and with the same `handle`. What it cannot know itself it sends for with
errands: `Start` runs a session, `Tell` asks the records.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from enum import StrEnum

from coach.practice.acts.act import Prompt
from coach.practice.conductor import ADJUSTMENTS
from coach.practice.events import (
    Adjust,
    Begin,
    CueDone,
    CueDue,
    Effect,
    Event,
    Finish,
    Heard,
    Interrupted,
    Prefer,
    Rank,
    Remind,
    Returned,
    RoomBack,
    Schedule,
    Start,
    Tell,
    Told,
    Value,
)
from coach.practice.safety import Limits
from coach.practice.stage import Stage
from coach.practice.words import Command, Situation

PLAN = "plan-"
DAYS = ("mo", "tu", "we", "th", "fr", "sa", "su")  # said as a number: names sound too alike
LARGEST_GROUP = 20
QUESTIONS = (
    Command.HOW_WAS_IT,
    Command.BEST_MONTH,
    Command.COMPARE_WEEK,
    Command.MY_PULSE,
)
NEEDS_BESIDE = ("o2-table",)
MOST_PROPOSALS = 3


class Standing(StrEnum):
    """What the steward is doing."""

    ASLEEP = "asleep"  # hears nothing but its name
    AWAKE = "awake"  # waits for a wish
    ASKING_WHO = "asking who"
    ASKING_BESIDE = "asking beside"
    ASKING_DAY = "asking day"
    ASKING_SLEEP = "asking how the night was"
    PROPOSING = "proposing"
    TELLING = "telling"
    AWAY = "away"  # a session is running
    OVER = "over"


class Steward:
    """`sleeps_for_good` ends it at "good night" (a scene); else it only goes back to sleep."""

    def __init__(self, awake_s: float = 20.0, *, sleeps_for_good: bool = False) -> None:
        self.standing = Standing.ASLEEP
        self.stage = Stage([], Limits(), alone=True, group=False)
        self._awake_s = awake_s
        self._sleeps_for_good = sleeps_for_good
        self._prompt: Prompt | None = None
        self._plan = ""
        self._numbers: tuple[int, ...] = ()
        self._who = 1  # whose results are asked for: whoever practised last
        self._lines: deque[tuple[str, Mapping[str, Value]]] = deque()
        self._said: int | None = None
        self._proposed = ""
        self._declined: frozenset[str] = frozenset()
        self._slept_badly = False

    def handle(self, event: Event) -> tuple[Effect, ...]:
        """Decide."""
        if self.standing is Standing.OVER:
            return ()
        self.stage.effects = []
        self.stage.now_s = max(self.stage.now_s, event.at_s)
        match event:
            case Begin() | RoomBack():
                self._sleep("steward_asleep")
            case Interrupted():
                self._finish()
            case Remind():
                line = "steward_reminder_late" if event.late else "steward_reminder"
                self.stage.say(line, moment="reminder")
            case Returned():
                self._returned(event)
            case Told():
                self._lines.extend(event.lines)
                self._proposed = event.plan
                self._tell_on()
            case CueDone() if event.cue == self._said:
                self._tell_on()
            case Heard():
                self._heard(event)
            case CueDone() | CueDue() if self._prompt is not None:
                if self._prompt.on(event, self.stage) == "spent":
                    self._sleep("steward_asleep")
        return tuple(self.stage.effects)

    def _heard(self, event: Heard) -> None:
        command = event.command or ""
        if self.standing is Standing.AWAY:
            return
        if command in (Command.SLEEP, Command.STOP, Command.STOP_ALL):
            if self.standing is not Standing.ASLEEP or command == Command.SLEEP:
                self._good_night(command)
        elif command == Command.WAKE:
            self._wake("steward_here")
        elif command.startswith(PLAN):
            self._plan = command.removeprefix(PLAN)
            self._ask("steward_who", Situation.WHO, Standing.ASKING_WHO)
        elif command == Command.NEXT_SESSION:
            self._declined = frozenset()
            self._ask("steward_sleep", Situation.QUESTION, Standing.ASKING_SLEEP)
        elif command in QUESTIONS:
            self._look_up(command)
        elif command == Command.REMIND:
            self._ask("steward_day", Situation.WHO, Standing.ASKING_DAY)
        elif command == Command.REMIND_NEVER:
            self._schedule("never")
        elif command in (Command.KNOCKS_ON, Command.KNOCKS_OFF):
            self._errand(Prefer(self._who, command == Command.KNOCKS_ON))
        elif command in ADJUSTMENTS and self.standing is not Standing.ASLEEP:
            self.stage.effects.append(Adjust(*ADJUSTMENTS[Command(command)]))
            self.stage.say("adjusted", rank=Rank.TALK)
        elif command == Command.HELP and self.stage.situation is not None:
            self._withdraw()
            self.stage.say(f"help_{self.stage.situation.value}")
            if self._prompt is not None:
                self._prompt.put(self.stage)
        elif self.standing is Standing.ASKING_WHO and event.number is not None:
            self._who_is_there(event)
        elif self.standing is Standing.AWAKE and event.number is not None:
            self._who = event.number
            self._look_up(Command.HOW_WAS_IT)
        elif self.standing is Standing.ASKING_DAY and event.number is not None:
            self._which_day(event.number)
        elif self.standing is Standing.ASKING_SLEEP and command in (Command.YES, Command.NO):
            self._slept_badly = command == Command.NO
            self._look_up(Command.NEXT_SESSION)
        elif self.standing is Standing.ASKING_BESIDE and command in (Command.YES, Command.NO):
            self._start(alone=command == Command.NO)
        elif self.standing is Standing.PROPOSING and command == Command.YES:
            self._plan, self._numbers = self._proposed, (self._who,)
            self._begin(group=False)
        elif self.standing is Standing.PROPOSING and command == Command.NO:
            self._declined |= {self._proposed}
            self._look_up(Command.NEXT_SESSION)

    def _which_day(self, number: int) -> None:
        if 1 <= number <= len(DAYS):
            self._schedule(DAYS[number - 1])
        else:
            self._ask("steward_day", Situation.WHO, Standing.ASKING_DAY)

    def _schedule(self, day: str) -> None:
        self._errand(Schedule(day))

    def _look_up(self, question: str) -> None:
        self._errand(Tell(question, self._who, self._declined, self._slept_badly))

    def _errand(self, errand: Tell | Schedule | Prefer) -> None:
        """Send for it; `Told` brings what to say."""
        self._withdraw()
        self.standing = Standing.TELLING
        self.stage.effects.append(errand)

    def _who_is_there(self, event: Heard) -> None:
        assert event.number is not None
        if not 1 <= event.number <= LARGEST_GROUP:
            self._ask("steward_who", Situation.WHO, Standing.ASKING_WHO)
            return
        group = event.command == Command.GROUP
        self._numbers = tuple(range(1, event.number + 1)) if group else (event.number,)
        self._who = self._numbers[0]
        self._begin(group=group)

    def _begin(self, *, group: bool) -> None:
        if self._plan in NEEDS_BESIDE or group:
            self._ask("steward_beside", Situation.QUESTION, Standing.ASKING_BESIDE)
        else:
            self._start(alone=True)

    def _start(self, *, alone: bool) -> None:
        self._withdraw()
        self._prompt = None
        self.standing = Standing.AWAY
        self.stage.effects.append(Start(self._plan, self._numbers, alone))

    def _returned(self, event: Returned) -> None:
        self.stage.situation = None  # the session has turned the ear
        if event.refusal:
            self.stage.say("steward_refused", {"reason": event.refusal})
        self._wake("steward_back")

    def _tell_on(self) -> None:
        if self._lines:
            self._said = self.stage.say(*self._lines.popleft(), moment="told")
            return
        self._said = None
        if self._proposed and len(self._declined) < MOST_PROPOSALS:
            self._ask("steward_shall", Situation.QUESTION, Standing.PROPOSING)
        else:
            self._wake("steward_back")

    def _wake(self, line: str) -> None:
        self._ask(line, Situation.AWAKE, Standing.AWAKE, tries=1, reply_s=self._awake_s)

    def _ask(
        self,
        line: str,
        situation: Situation,
        standing: Standing,
        tries: int = 2,
        reply_s: float = 8.0,
    ) -> None:
        self._withdraw()
        self.standing = standing
        self._prompt = Prompt(line, situation, line.replace("_", ":"), reply_s=reply_s, tries=tries)
        self._prompt.put(self.stage)

    def _withdraw(self) -> None:
        self._lines.clear()
        self.stage.drop(self._said)
        self._said = None
        if self._prompt is not None:
            self._prompt.withdraw(self.stage)

    def _sleep(self, line: str) -> None:
        self._withdraw()
        self._prompt = None
        self.standing = Standing.ASLEEP
        self.stage.listen(Situation.ASLEEP)
        self.stage.say(line)

    def _good_night(self, command: str) -> None:
        if self._sleeps_for_good and command == Command.SLEEP:
            self._withdraw()
            self._finish()
        else:
            self._sleep("steward_asleep")

    def _finish(self) -> None:
        self.standing = Standing.OVER
        self.stage.effects.append(Finish(0, "done"))

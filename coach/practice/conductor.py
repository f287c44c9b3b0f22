"""The conductor: events in, effects out. It alone decides what happens next.

It never sleeps, reads no clock and makes no sound. It plays a queue of acts; what is valid in any
act (stopping, pausing, steering, lost rooms, failed keeping) is decided here, the rest by the act
in hand. Every change of phase goes along the table in phases.py.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import replace

from coach.practice.acts.act import Act, Next
from coach.practice.acts.check_in import Checking, unwell
from coach.practice.acts.hold import Holding
from coach.practice.acts.script import Script, closing
from coach.practice.course import acts_of
from coach.practice.events import (
    Adjust,
    Begin,
    Effect,
    Event,
    Finish,
    Heard,
    Interrupted,
    KeepFailed,
    Rank,
    RoomBack,
    RoomLost,
)
from coach.practice.kept import Kept
from coach.practice.phases import Because, Phase, allowed
from coach.practice.plan import Hold, PlainStep, Plan, Rest, unrolled
from coach.practice.safety import UNWELL_ANSWERS, Limits, Person
from coach.practice.stage import Stage
from coach.practice.words import Command, Situation

ADJUSTMENTS = {
    Command.LOUDER: ("volume", 1),
    Command.SOFTER: ("volume", -1),
    Command.FASTER: ("speed", 1),
    Command.SLOWER: ("speed", -1),
}
SHORTER_SHARE = 0.9
THIRTY_S = 30.0
FEWER = 2  # rounds that "easier" takes away


class Conductor:
    """One session of a plan.

    `handle` takes the events of the room in the order of their times and returns what is to be
    done, in order. After a `Finish` it returns nothing any more, unless a `Keep` before it failed.
    """

    def __init__(
        self,
        plan: Plan,
        people: Sequence[Person],
        limits: Limits,
        *,
        alone: bool = True,
        first_cue: int = 0,  # where a room has known other cues before
    ) -> None:
        self.stage = Stage(list(people), limits, alone, len(people) > 1, first_cue)
        self.phase = Phase.IDLE
        self._queue: deque[Act | PlainStep] = deque(unrolled(plan.steps))
        self._act: Act | None = None
        self._deaf = False  # whether the room is lost
        self._paused = False  # whether it was lost during a pause

    @property
    def kept(self) -> tuple[Kept, ...]:
        """What was kept, each value as it stands now."""
        return tuple(self.stage.ledger.values.values())

    def handle(self, event: Event) -> tuple[Effect, ...]:
        """Decide."""
        if self.phase is Phase.OVER:  # a value kept at the very end may have failed
            failed = isinstance(event, KeepFailed)
            return (Finish(1, "cannot keep"),) if failed else ()
        self.stage.effects = []
        self.stage.now_s = max(self.stage.now_s, event.at_s)
        self._decide(event)
        return tuple(self.stage.effects)

    # --- what any event may do ----------------------------------------------------------

    def _decide(self, event: Event) -> None:
        match event:
            case Begin() if self.phase is Phase.IDLE:
                self._advance(Because.BEGIN)
            case KeepFailed():
                self.stage.hush()
                self.stage.say("cannot_keep", {"reason": event.reason}, rank=Rank.SAFETY)
                self._finish(Because.END, 1, "cannot keep")
            case Interrupted():
                self._leave()
                self._finish(Because.END, 1, "interrupted")
            case _ if self.phase is Phase.IDLE:
                return
            case RoomLost():
                self._lost(event)
            case RoomBack():
                self._back(event)
            case Heard():
                self._heard(event)
            case _:
                self._pass_on(event)

    def _heard(self, event: Heard) -> None:
        asked_well = isinstance(self._act, Checking)
        if event.command in UNWELL_ANSWERS or (asked_well and event.command == Command.NO):
            self._unsafe(event)
        elif event.command in (Command.STOP, Command.STOP_ALL):
            self._stop(event)
        elif self.phase is Phase.PAUSED:
            self._heard_in_pause(event)
        elif self.phase is Phase.HOLDING or not self._steered(event):
            self._pass_on(event)

    def _heard_in_pause(self, event: Heard) -> None:
        if event.command == Command.GO_ON:
            self._resume()
        elif event.command in (Command.HELP, Command.REPEAT):
            self.stage.say("paused", rank=Rank.TALK)

    def _pass_on(self, event: Event) -> None:
        """Let the act in hand have it."""
        if self._act is None or self.phase in (Phase.PAUSED, Phase.LOST):
            return
        outcome = self._act.on(event, self.stage)
        if outcome is not None:
            self._act = None
            self._follow(outcome, Because.NEXT)

    # --- the way on -----------------------------------------------------------------------

    def _move(self, because: Because, target: Phase) -> None:
        if not allowed(self.phase, because, target):
            raise AssertionError(f"{self.phase} --{because}--> {target} is not in the table")
        self.phase = target

    def _follow(self, outcome: Next, because: Because) -> None:
        if outcome.end is not None:
            self._finish(because, *outcome.end)
            return
        self._queue.extendleft(reversed(outcome.acts))
        self._advance(because)

    def _advance(self, because: Because) -> None:
        """Enter the next act; write out steps on the way."""
        while self._queue:
            first = self._queue.popleft()
            if isinstance(first, PlainStep):
                self.stage.leads_in = bool(self._queue) and _follows_at_once(self._queue[0])
                self._queue.extendleft(reversed(acts_of(first, self.stage)))
                continue
            self._act = first
            self._move(because, first.phase)
            if self._deaf and not _goes_on(first):
                self._paused = False
                self._move(Because.LOST, Phase.LOST)
                return
            first.enter(self.stage)
            return
        self._finish(because, 0, "done")

    def _leave(self) -> None:
        if self._act is not None:
            self._act.leave(self.stage)

    def _finish(self, because: Because, code: int, reason: str) -> None:
        self._act = None
        self._queue.clear()
        self._move(because, Phase.OVER)
        self.stage.effects.append(Finish(code, reason))

    def _break_off(self, because: Because, outcome: Next) -> None:
        """Drop the rest of the session for what must come instead."""
        self._leave()
        self._act = None
        self._queue.clear()
        self.stage.hush()
        self._follow(outcome, because)

    # --- safety and stopping ----------------------------------------------------------------

    def _unsafe(self, event: Heard) -> None:
        """Somebody is unwell: holds end at that word, and the session with them."""
        if isinstance(self._act, Holding):
            self._act.on(event, self.stage)
        self._break_off(Because.UNSAFE, unwell(event.participant, event, self.stage))

    def _stop(self, event: Heard) -> None:
        """In a hold it ends the hold, and the check-in follows; anywhere else the session."""
        if isinstance(self._act, Holding) and self._act.start_s is not None:
            self._pass_on(event)
            return
        if isinstance(self._act, Script) and self._act.end:  # said twice: at once
            self.stage.hush(Rank.SAFETY)
            self._leave()
            self._finish(Because.STOP, *self._act.end)
            return
        self.stage.note("stopped", event.text)
        self._break_off(Because.STOP, Next((closing(1, "stopped", "stopped", "goodbye"),)))

    # --- steering ---------------------------------------------------------------------------

    def _steered(self, event: Heard) -> bool:
        """Commands that mean the same in every act; False if the act may have it."""
        if self.phase is Phase.LOST:
            return True
        match event.command:
            case Command.PAUSE:
                self._pause()
            case Command.REPEAT | Command.AGAIN:
                self._repeat()
            case Command.SKIP:
                self._skip()
            case Command.HOW_LONG:
                self._say_left()
            case Command.HELP:
                assert self.stage.situation is not None
                self.stage.say(f"help_{self.stage.situation.value.replace('-', '_')}")
            case Command.WHO_HOLDS:
                self.stage.say("who_holds_none", rank=Rank.TALK)
            case Command.ADD_THIRTY if isinstance(self._act, Script):
                self._add_thirty(self._act)
            case Command.SHORTER | Command.EASIER | Command.LONGER if isinstance(self._act, Script):
                self._change_table(event.command)
            case command if command in ADJUSTMENTS:
                self.stage.effects.append(Adjust(*ADJUSTMENTS[Command(command)]))
                self.stage.say("adjusted", rank=Rank.TALK)
            case _:
                return False
        return True

    def _repeat(self) -> None:
        """A question or a pulse window begins anew; else the last line is said again."""
        if self._act is not None and self.phase in (Phase.ASKING, Phase.TAKING, Phase.COUNTING):
            self._leave()
            self._act.enter(self.stage)
        elif last := self.stage.last_line:
            self.stage.say(*last)

    def _pause(self) -> None:
        if not allowed(self.phase, Because.PAUSE, Phase.PAUSED):
            self.stage.say("cannot_skip", rank=Rank.TALK)
            return
        self._leave()
        self._move(Because.PAUSE, Phase.PAUSED)
        self.stage.hush()
        self.stage.listen(Situation.ANYTIME)
        self.stage.note("paused")
        self.stage.say("paused", rank=Rank.TALK)

    def _resume(self) -> None:
        assert self._act is not None
        self._move(Because.GO_ON, self._act.phase)
        self.stage.note("went on")
        self._act.enter(self.stage)

    def _skip(self) -> None:
        assert self._act is not None
        resting = self.phase is Phase.SPEAKING and not _last_words(self._act)
        coming = self._queue[0] if self._queue else None
        if self._act.may_skip:
            self.stage.note("skipped")
            self._leave_for_next()
        elif resting and isinstance(coming, Hold):
            self._skip_hold(coming)
        else:
            self.stage.say("cannot_skip", rank=Rank.TALK)

    def _leave_for_next(self) -> None:
        self._leave()
        self._act = None
        self.stage.hush()
        self._advance(Because.NEXT)

    def _skip_hold(self, hold: Hold) -> None:
        """In the rest before a hold the hold is meant; the rest goes on to the one after it."""
        self.stage.note("skipped", hold.label)
        del self._queue[0], self._queue[0]  # a plan has a recovery after every hold
        if self._queue and isinstance(self._queue[0], Rest):
            del self._queue[0]
            self.stage.say("hold_skipped", rank=Rank.TALK)
        else:
            self._leave_for_next()

    def _say_left(self) -> None:
        assert self._act is not None
        left_s = self._act.left_s(self.stage.now_s)
        if left_s is None:
            self.stage.say("left_unknown", rank=Rank.TALK)
        else:
            self.stage.say("left", {"left": left_s}, rank=Rank.TALK)

    def _add_thirty(self, script: Script) -> None:
        if not script.duration_s:
            self.stage.say("nothing_to_change", rank=Rank.TALK)
            return
        script.leave(self.stage)
        script.lengthen(THIRTY_S)
        self.stage.note("added", "30 s")
        self.stage.say("added_thirty", rank=Rank.TALK)
        script.enter(self.stage)

    def _change_table(self, command: str) -> None:
        """In the middle of a table: what is left becomes easier, never harder."""
        coming = [s for s in self._queue if isinstance(s, Hold) and s.target_s is not None]
        if not coming:
            self.stage.say("nothing_to_change", rank=Rank.TALK)
        elif command == Command.LONGER:
            self.stage.say("table_limit")
        elif command == Command.SHORTER:
            self._queue = deque(_shortened(item) for item in self._queue)
            self.stage.note("table changed", command)
            self.stage.say("table_shortened")
        elif len(coming) == 1:
            self.stage.say("nothing_to_change", rank=Rank.TALK)
        else:
            self._drop_rounds(FEWER)
            self.stage.note("table changed", command)
            self.stage.say("table_eased")

    def _drop_rounds(self, rounds: int) -> None:
        """Take the last rounds (rest, hold, recovery) out of the queue, but leave one hold."""
        items = list(self._queue)
        marks = [i for i, s in enumerate(items) if isinstance(s, Hold) and s.target_s is not None]
        for index in reversed(marks[1:][-rounds:]):
            start = index - 1 if isinstance(items[index - 1], Rest) else index
            del items[start : index + 2]
        self._queue = deque(items)

    # --- the room -----------------------------------------------------------------------------

    def _lost(self, event: RoomLost) -> None:
        """A hold, and all that watches over somebody after it, goes on by the clock."""
        self.stage.note("room lost", event.what)
        self._deaf = True
        self.stage.sound("deaf", rank=Rank.SAFETY)  # silence would mean that all is well
        assert self._act is not None
        if self.phase is Phase.LOST or _goes_on(self._act):
            return
        self._paused = self.phase is Phase.PAUSED
        if not self._paused:
            self._leave()
        self._move(Because.LOST, Phase.LOST)

    def _back(self, event: RoomBack) -> None:
        """Say so at once; then go on where it broke off."""
        self._deaf = False
        self.stage.note("room back")
        self.stage.say("room_back", rank=Rank.SAFETY)
        if self.phase is not Phase.LOST:
            self._pass_on(event)
            return
        assert self._act is not None
        if self._paused:
            self._move(Because.BACK, Phase.PAUSED)
        else:
            self._move(Because.BACK, self._act.phase)
            self._act.enter(self.stage)


def _follows_at_once(item: Act | PlainStep) -> bool:
    """Whether it is a hold that the step before it leads into."""
    return isinstance(item, Hold) and not item.wait_for_start and not item.lead_in


def _last_words(act: Act) -> bool:
    return isinstance(act, Script) and act.end is not None


def _goes_on(act: Act) -> bool:
    """Whether it goes by the clock, even in a lost room: a hold, all that watches, last words."""
    if isinstance(act, Holding):
        return act.start_s is not None
    return act.phase is Phase.CHECKING or _last_words(act)


def _shortened(item: Act | PlainStep) -> Act | PlainStep:
    if isinstance(item, Hold) and item.target_s is not None:
        target_s = max(10.0, item.target_s * SHORTER_SHARE // 5 * 5)
        return replace(item, target_s=target_s, cap_s=target_s)
    return item

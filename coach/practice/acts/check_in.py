"""The check-in after a hold: asked, asked again louder, alarm, contact."""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.practice.acts.act import Act, Asks, Next, Prompt
from coach.practice.acts.script import Beat, Script, closing
from coach.practice.events import CueDone, CueDue, Escalate, Event, Heard, Rank
from coach.practice.kept import NOBODY, CheckIn, Source
from coach.practice.phases import Phase
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation

CONTACT_AFTER_S = 10.0  # from the alarm to the configured contact
ALARM_EVERY_S = 10.0
GIVE_UP_AFTER_S = 60.0  # from the alarm to the end of the session
ALARM_DB = 12.0
ASKED_TWICE = 2
HEARING_S = 1.0  # the ear knows a word by then: one that began within the window is in time
UNWELL_WATCH_S = 30.0

FINE = (Command.OKAY, Command.YES)


@dataclass(slots=True)
class Checking(Asks):
    """Somebody answers that he is well within the window, or it is escalated.

    The window (15 s for a spoken OK) is borrowed from a competition rule for water, AIDA. Half
    of it passes before the question is put again, louder; at its end the alarm sounds and it is
    asked on; ten seconds later the contact of the configuration is called. What counts is when the
    answer began to sound, so the alarm waits for a word that may be on its way through the ear.
    """

    label: str
    participant: int
    phase: Phase = Phase.CHECKING
    may_skip: bool = False
    _prompt: Prompt | None = None
    _window: int | None = field(default=None, repr=False)
    _alarm: int | None = field(default=None, repr=False)
    _alarm_since_s: float | None = None
    _contacted: bool = False
    _asked: int = 0

    def enter(self, stage: Stage) -> None:
        """Ask."""
        moment = stage.moment(f"check-in:{self.label}", self.participant)
        line = "check_in_number" if stage.group else "check_in"
        self._prompt = Prompt(
            line,
            Situation.CHECK_IN,
            moment,
            {"participant": self.participant},
            reply_s=stage.limits.check_in_s / 2,
            tries=ASKED_TWICE,
            rank=Rank.SAFETY,
        )
        self._prompt.put(stage)

    def leave(self, stage: Stage) -> None:
        """Withdraw the question and stop the alarm."""
        Asks.leave(self, stage)
        stage.drop(self._window, self._alarm)
        self._window = self._alarm = None

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Take the answer, or go one step further up."""
        assert self._prompt is not None
        if isinstance(event, Heard) and event.command in FINE and self._is_mine(event, stage):
            return self._fine(event, stage)
        if isinstance(event, CueDone) and self._window is None and self._alarm_since_s is None:
            self._prompt.on(event, stage)
            if self._prompt.ended_s is not None:
                window_s = stage.limits.check_in_s + HEARING_S
                self._window = stage.wait(self._prompt.ended_s + window_s)
            return None
        if isinstance(event, CueDue) and event.cue == self._window:
            self._window = None
            self._alarm_since_s = event.at_s
            stage.note("alarm", self.label, self.participant)
            stage.effects.append(Escalate(self.participant, "alarm"))
            self._sound_alarm(stage)
            return None
        if isinstance(event, CueDue) and event.cue == self._alarm:
            return self._further(event, stage)
        if self._alarm_since_s is None:
            self._prompt.on(event, stage)
        return None

    def _is_mine(self, event: Heard, stage: Stage) -> bool:
        return event.participant in (None, self.participant) and not self._is_late(event, stage)

    def _sound_alarm(self, stage: Stage) -> None:
        assert self._prompt is not None
        self._prompt.withdraw(stage)
        self._asked += 1
        stage.sound("alarm", rank=Rank.SAFETY, gain_db=ALARM_DB)
        stage.say(
            "check_in_alarm",
            {"participant": self.participant},
            rank=Rank.SAFETY,
            gain_db=ALARM_DB,
            moment=self._prompt.moment,
        )
        self._alarm = stage.wait(stage.now_s + ALARM_EVERY_S)

    def _further(self, event: CueDue, stage: Stage) -> Next | None:
        assert self._alarm_since_s is not None
        since_s = event.at_s - self._alarm_since_s
        if since_s >= CONTACT_AFTER_S and not self._contacted:
            self._contacted = True
            stage.note("contact", self.label, self.participant)
            stage.effects.append(Escalate(self.participant, "contact"))
        if since_s >= GIVE_UP_AFTER_S:
            self._keep("none", None, NOBODY, stage)
            self._alarm = None
            return Next((self._last_words(stage),))
        self._sound_alarm(stage)
        return None

    def _last_words(self, stage: Stage) -> Script:
        """Who is meant, what to do, and that the others are to be looked at as well."""
        last = closing(1, "no answer", "no_answer_end")
        if stage.group:
            named = Beat("no_answer_number", {"participant": self.participant}, rank=Rank.SAFETY)
            last.beats = (named, *last.beats, Beat("no_answer_others", rank=Rank.SAFETY))
        return last

    def _reply_after_s(self, onset_s: float) -> float | None:
        assert self._prompt is not None
        return None if self._prompt.ended_s is None else onset_s - self._prompt.ended_s

    def _keep(self, answer: str, after_s: float | None, source: Source, stage: Stage) -> None:
        assert self._prompt is not None
        key = stage.ledger.fresh(f"check-in:{self.label}:{self.participant}")
        asked = self._prompt.asked + self._asked
        stage.keep(CheckIn(key, self.participant, self.label, answer, asked, after_s, source))

    def _fine(self, event: Heard, stage: Stage) -> Next:
        self.leave(stage)
        after_s = self._reply_after_s(event.onset_s)
        self._keep("okay", after_s, spoken(event), stage)
        if self._alarm_since_s is not None:
            stage.hush(Rank.SAFETY)
        if after_s is None or after_s <= stage.limits.check_in_s:
            if not stage.group:  # there the next number follows at once
                stage.say("check_in_thanks")
            return Next()
        if self._alarm_since_s is None:
            stage.effects.append(Escalate(self.participant, "late"))
        stage.note("answered late", self.label, self.participant)
        if len(stage.people) > 1:
            return self._sits_out(stage)
        return Next((closing(1, "late answer", "late_answer_end"),))

    def _sits_out(self, stage: Stage) -> Next:
        """Nobody holds again today who answered late; the others may go on."""
        stage.people = [p for p in stage.people if p.number != self.participant]
        stage.note("sits out", self.label, self.participant)
        stage.say("sits_out_late", {"participant": self.participant}, rank=Rank.SAFETY)
        return Next()


def check_ins(label: str, numbers: tuple[int, ...]) -> tuple[Act, ...]:
    """A check-in for each participant, in turn."""
    return tuple(Checking(label, number) for number in numbers)


def unwell(participant: int | None, event: Heard, stage: Stage) -> Next:
    """Keep that somebody is not well; they are told what to do, watched and asked once more.

    In a group everybody is asked: nobody may know who it was, and a hold may have been cut short.
    """
    answer = "unwell" if event.command == Command.NO else str(event.command)
    label = stage.ledger.holds[-1].label if stage.ledger.holds else "session"
    numbers = stage.numbers
    if participant in numbers:
        numbers = (participant, *(n for n in numbers if n != participant))
    else:
        participant = None if stage.group else numbers[0]
    stage.note(answer, event.text, participant)
    if participant is not None:
        key = stage.ledger.fresh(f"check-in:{label}:{participant}")
        stage.keep(CheckIn(key, participant, label, answer, 0, None, spoken(event)))
    lines = ["unwell_stop", "unwell_help"]
    if answer == Command.FAINTED:
        lines.append("fainted_doctor")
    beats = tuple(Beat(line, rank=Rank.SAFETY, pause_s=1.0) for line in lines)
    watch = Script(beats, UNWELL_WATCH_S, may_skip=False, phase=Phase.CHECKING)
    asked = check_ins(f"{label} afterwards", numbers)
    return Next((watch, *asked, closing(1, answer, "unwell_end")))

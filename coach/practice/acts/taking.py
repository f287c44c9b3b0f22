"""Taking a count by voice: asked, read back, corrected; kept only after a yes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from coach.practice.acts.act import Act, Asks, Next, Prompt
from coach.practice.events import Event, Heard, Value
from coach.practice.kept import NOBODY, Pulse
from coach.practice.phases import Phase
from coach.practice.plan import PulseCount
from coach.practice.pulse import easily_confused, needs_longer_count, plausible, rate_bpm
from coach.practice.pulse import spread_bpm as spread_of
from coach.practice.stage import Stage, spoken
from coach.practice.words import Command, Situation

READ_BACK = {  # (in a group, easily confused)
    (False, False): "pulse_read",
    (False, True): "pulse_read_digits",
    (True, False): "pulse_read_number",
    (True, True): "pulse_read_digits_number",
}
MOST_DOUBTS = 2  # after so many numbers that cannot be, the count stays open ...
MOST_CORRECTIONS = 5  # ... and after so many that were not right


@dataclass(slots=True)
class Taking(Asks):
    """Takes the count of each participant in turn.

    Who does not answer is passed over and asked once more at the end; then it stays unknown. A
    number is never changed silently: what is implausible, or easily confused, chooses another
    question. A count of 26 or more in 15 s is followed by one over 30 s.
    """

    step: PulseCount
    start_s: float
    waiting: tuple[int, ...]
    longer: tuple[Act, ...] = ()  # played when a count was too fast for its window
    phase: Phase = Phase.TAKING
    may_skip: bool = True
    _second_pass: bool = False
    _missed: tuple[int, ...] = ()
    _fast: bool = False
    _doubts: int = 0
    _corrections: int = 0
    _beats: int | None = None
    _first: int | None = None
    _given: Heard | None = field(default=None, repr=False)
    _prompt: Prompt | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Ask the next participant."""
        if self._beats is not None:  # taken up again while a number was being read back
            self._confirm(self._beats, stage)
            return
        line = "pulse_ask_number" if stage.group else "pulse_ask"
        self._put(line, "pulse-ask", stage)

    def _put(self, line: str, moment: str, stage: Stage, **values: Value) -> None:
        number = self.waiting[0]
        self._prompt = Prompt(
            line,
            Situation.NUMBER,
            stage.moment(f"{moment}:{self.step.label}", number),
            {"participant": number, **values},
            tries=1 if stage.group and not self._second_pass else 3,
        )
        self._prompt.put(stage)

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Take a number, a yes, a no, a correction, or silence."""
        assert self._prompt is not None
        if isinstance(event, Heard) and event.participant in (None, self.waiting[0]):
            return None if self._is_late(event, stage) else self._heard(event, stage)
        if self._prompt.on(event, stage) == "spent":
            return self._silent(stage)
        return None

    def _heard(self, event: Heard, stage: Stage) -> Next | None:
        read_back = self._beats is not None
        match event.command:
            case _ if event.number is not None:
                self.leave(stage)
                return self._number(event, event.number, stage)
            case Command.YES if read_back:
                self.leave(stage)
                return self._confirmed(stage)
            case Command.NO if read_back:
                self.leave(stage)
                return self._not_so(stage)
            case Command.LOST_COUNT:
                self.leave(stage)
                stage.say("pulse_lost")
                return self._silent(stage)
        return None

    def _not_so(self, stage: Stage) -> Next | None:
        """A no without a number: asked again, but not for ever."""
        self._beats = None
        self._corrections += 1
        if self._corrections > MOST_CORRECTIONS:
            return self._silent(stage)
        self._put("pulse_ask_number" if stage.group else "pulse_ask_again", "pulse-ask", stage)
        return None

    def _number(self, event: Heard, beats: int, stage: Stage) -> Next | None:
        self._first = beats if self._first is None else self._first
        if self._beats is not None:
            self._corrections += 1
            if self._corrections > MOST_CORRECTIONS:
                return self._silent(stage)
        if plausible(beats, self.step.window_s):
            self._beats, self._given = beats, event
            self._confirm(beats, stage)
            return None
        self._beats = None
        self._doubts += 1
        if self._doubts > MOST_DOUBTS:
            return self._silent(stage)
        self._put("pulse_implausible", "pulse-ask", stage, beats=beats)
        return None

    def _confirm(self, beats: int, stage: Stage) -> None:
        """Read the number back."""
        line = READ_BACK[stage.group, easily_confused(beats)]
        rate = round(rate_bpm(beats, self.step.window_s))
        self._put(line, "pulse-read", stage, beats=beats, bpm=rate)

    def _confirmed(self, stage: Stage) -> Next | None:
        assert self._beats is not None
        assert self._given is not None
        beats, window_s = self._beats, self.step.window_s
        stage.keep(
            self._pulse(
                beats=beats,
                bpm=rate_bpm(beats, window_s),
                spread_bpm=spread_of(window_s),
                first_heard=self._first,
                corrected=self._first != beats,
                source=spoken(self._given),
            )
        )
        if not stage.group:  # there the next question tells it
            stage.say("kept")
        self._fast = self._fast or needs_longer_count(beats, window_s)
        return self._following(stage)

    def _pulse(self, **given: object) -> Pulse:
        number = self.waiting[0]
        empty = Pulse(
            f"pulse:{self.step.label}:{number}",
            number,
            self.step.label,
            self.step.place,
            self.step.window_s,
            self.start_s,
            None,
            None,
            None,
            self._first,
            False,
            NOBODY,
        )
        return replace(empty, **given)  # type: ignore[arg-type]

    def _silent(self, stage: Stage) -> Next | None:
        if stage.group and not self._second_pass:
            self._missed = (*self._missed, self.waiting[0])
        else:
            stage.keep(self._pulse())
            stage.say("pulse_unknown")
        return self._following(stage)

    def _following(self, stage: Stage) -> Next | None:
        self._beats = self._first = self._given = None
        self._doubts = self._corrections = 0
        self.waiting = self.waiting[1:]
        if not self.waiting and self._missed:
            self.waiting, self._missed, self._second_pass = self._missed, (), True
        if self.waiting:
            self.enter(stage)
            return None
        return Next(self.longer if self._fast else ())

"""Lines and tones one after the other, or at times within a stretch: talk, rest, breathing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coach.practice.acts.act import Next
from coach.practice.events import NOTHING, CueDone, CueDue, Event, Rank, Value
from coach.practice.phases import Phase
from coach.practice.stage import Stage
from coach.practice.words import Situation


@dataclass(frozen=True, slots=True)
class Beat:
    """One line or tone of a script, after what came before it or `at_s` into the script."""

    line: str = ""
    values: Mapping[str, Value] = field(default_factory=lambda: NOTHING)
    tone: str = ""
    at_s: float | None = None
    pause_s: float = 0.0  # silence after it
    rank: Rank = Rank.GUIDANCE
    moment: str = ""
    once: bool = False  # once begun it is not repeated after a pause


@dataclass(slots=True)
class Script:
    """Plays its beats and lasts at least `duration_s`; with an `end` the session ends there.

    Taken up again after a pause it repeats the beat that was cut and lasts as much longer as the
    pause did.
    """

    beats: tuple[Beat, ...]
    duration_s: float = 0.0
    end: tuple[int, str] | None = None
    may_skip: bool = True
    phase: Phase = Phase.SPEAKING
    situation: Situation = Situation.ANYTIME
    _index: int = 0
    _elapsed_s: float = 0.0
    _base_s: float = 0.0
    _added_s: float = 0.0
    _out: int | None = field(default=None, repr=False)

    def enter(self, stage: Stage) -> None:
        """Begin, or go on after a pause."""
        self._base_s = stage.now_s - self._elapsed_s
        stage.listen(self.situation)
        self._next(stage)

    def leave(self, stage: Stage) -> None:
        """Take back what is still to come."""
        self._elapsed_s = stage.now_s - self._base_s
        stage.drop(self._out)
        self._out = None
        if self._index < len(self.beats):
            beat, at_s = self.beats[self._index], self._mark_s()
            if beat.once and (at_s is None or at_s <= stage.now_s):
                self._index += 1

    def left_s(self, now_s: float) -> float | None:
        """What is left of a stretch with a length."""
        if not self.duration_s:
            return None
        return max(0.0, self._base_s + self.duration_s + self._added_s - now_s)

    def lengthen(self, seconds: float) -> None:
        """Add time; beats that have not begun move with the end."""
        self._added_s += seconds

    def _next(self, stage: Stage) -> None:
        """Send the next beat, or wait out the length, or for the end at once."""
        if self._index == len(self.beats):
            end_s = self._base_s + self.duration_s + (self._added_s if self.duration_s else 0.0)
            self._out = stage.wait(max(end_s, stage.now_s))
            return
        beat, at_s = self.beats[self._index], self._mark_s()
        if at_s is not None and at_s <= stage.now_s:
            at_s = None
        if beat.tone:
            self._out = stage.sound(beat.tone, rank=beat.rank, at_s=at_s, moment=beat.moment)
        else:
            self._out = stage.say(
                beat.line, beat.values, rank=beat.rank, at_s=at_s, moment=beat.moment
            )

    def _mark_s(self) -> float | None:
        """Room time at which the beat in hand is due."""
        at_s = self.beats[self._index].at_s
        return None if at_s is None else self._base_s + at_s + self._added_s

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Go on when a beat has sounded or a wait is over."""
        match event:
            case CueDone() if event.cue == self._out and self._index < len(self.beats):
                pause_s = self.beats[self._index].pause_s
                self._index += 1
                if pause_s > 0:
                    self._out = stage.wait(event.at_s + pause_s)
                else:
                    self._next(stage)
            case CueDue() if event.cue == self._out:
                if self._index == len(self.beats) and not self.left_s(stage.now_s):
                    self._out = None
                    return Next(end=self.end)
                self._next(stage)
        return None


def talk(*lines: str, pause_s: float = 0.5, **values: Value) -> Script:
    """A script of lines that share `values`."""
    return Script(tuple(Beat(line, values, pause_s=pause_s) for line in lines))


def closing(code: int, reason: str, *lines: str) -> Script:
    """Last lines of a session that ends with `code`; they cannot be skipped."""
    beats = tuple(Beat(line, rank=Rank.SAFETY, pause_s=0.3) for line in lines)
    return Script(beats, end=(code, reason), may_skip=False)

"""The pulse window: from one tone to another, counted or tapped."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from coach.practice.acts.act import Act, Next
from coach.practice.acts.script import talk
from coach.practice.acts.taking import Taking
from coach.practice.events import CueDone, Event, Knocked, Knocks, Rank
from coach.practice.kept import NOBODY, Pulse, Source
from coach.practice.phases import Phase
from coach.practice.plan import PulseCount
from coach.practice.pulse import tapped_rate_bpm
from coach.practice.stage import Stage
from coach.practice.words import Situation

MARK_AFTER_S = 1.0
LONGER_S = 30.0


@dataclass(slots=True)
class Counting:
    """Runs one window; a pause starts it anew, a half window counts nothing."""

    step: PulseCount
    phase: Phase = Phase.COUNTING
    may_skip: bool = True
    _mark: int | None = field(default=None, repr=False)
    _end: int | None = field(default=None, repr=False)
    _start_s: float = 0.0
    _taps_s: list[float] = field(default_factory=list, repr=False)

    def enter(self, stage: Stage) -> None:
        """Sound the first tone; nothing is spoken into the window."""
        self._taps_s, self._end = [], None
        stage.hush(Rank.GUIDANCE)
        knocks = Knocks.BEATS if self.step.by == "tap" else Knocks.OFF
        stage.listen(Situation.ANYTIME, knocks)
        self._mark = stage.sound(
            "count", at_s=stage.now_s + MARK_AFTER_S, moment=f"pulse:{self.step.label}"
        )

    def leave(self, stage: Stage) -> None:
        """Take the tones back."""
        stage.drop(self._mark, self._end)
        self._mark = self._end = None

    def left_s(self, now_s: float) -> float | None:
        """What is left of the window."""
        return max(0.0, self._start_s + self.step.window_s - now_s) if self._end else None

    def on(self, event: Event, stage: Stage) -> Next | None:
        """Time the window; gather taps; then ask for the number."""
        match event:
            case CueDone() if event.cue == self._mark:
                if event.started_s is None:
                    self.enter(stage)
                    return None
                self._mark, self._start_s = None, event.started_s
                self._end = stage.sound(
                    "count-end",
                    at_s=self._start_s + self.step.window_s,
                    moment=f"pulse-end:{self.step.label}",
                )
            case CueDone() if event.cue == self._end:
                if event.started_s is None:  # nobody heard where to stop: begin anew
                    self.enter(stage)
                    return None
                self._end = None
                return self._counted(stage)
            case Knocked():  # also while the first tone still sounds
                self._taps_s.append(event.onset_s)
        return None

    def _counted(self, stage: Stage) -> Next:
        if self.step.by == "tap":
            return self._tapped(stage)
        people = tuple(person.number for person in stage.people)
        return Next((Taking(self.step, self._start_s, people, self._longer(stage)),))

    def _longer(self, stage: Stage) -> tuple[Act, ...]:
        """A count over 30 s, for a rate too high for a short window; not in a group."""
        if stage.group or self.step.window_s >= LONGER_S:
            return ()
        step = replace(self.step, label=f"{self.step.label} {LONGER_S:g} s", window_s=LONGER_S)
        return (talk("pulse_longer"), Counting(step))

    def _tapped(self, stage: Stage) -> Next:
        end_s = self._start_s + self.step.window_s
        taps_s = [t for t in self._taps_s if self._start_s <= t <= end_s]
        rate = tapped_rate_bpm(taps_s)
        number = stage.people[0].number
        source = Source("tap", f"{len(taps_s)} taps", None, None, stage.now_s) if rate else NOBODY
        stage.keep(
            Pulse(
                f"pulse:{self.step.label}:{number}",
                number,
                self.step.label,
                self.step.place,
                self.step.window_s,
                self._start_s,
                len(taps_s) if rate else None,
                rate[0] if rate else None,
                rate[1] if rate else None,
                None,
                False,
                source,
            )
        )
        if rate is None:
            stage.say("taps_unclear")
        else:
            stage.say("taps_result", {"bpm": round(rate[0]), "spread": max(1, round(rate[1]))})
        return Next()

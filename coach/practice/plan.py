"""What a session consists of: a plan and its steps, checked when they are made.

A plan is data (config/plans/*.toml). Every wrong value raises ValueError with one clear line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from coach.practice.safety import (
    HARD_HOLD_CAP_S,
    HARD_TABLES_PER_DAY,
    HEALTH_QUESTIONS,
    PLACE_QUESTIONS,
    SAFE_ANSWERS,
    UNCHANGED_QUESTION,
)

FORBID = {"extra": "forbid"}
HOLD_KINDS = ("baseline", "main", "relaxed", "comfort", "co2", "o2")
PLACES = ("before", "relaxed", "after-hold", "morning", "practice")


def _need(condition: bool, reason: str) -> None:
    if not condition:
        raise ValueError(reason)


@dataclass(frozen=True, slots=True)
class Talk:
    """Lines spoken one after the other, `pause_s` of silence after each."""

    __pydantic_config__ = FORBID
    step: Literal["talk"]
    lines: tuple[str, ...]
    pause_s: float = 0.5

    def __post_init__(self) -> None:
        _need(len(self.lines) > 0, "lines must name at least one line")
        _need(0 <= self.pause_s <= 60, "pause_s must be between 0 and 60")


@dataclass(frozen=True, slots=True)
class Clearing:
    """Questions that have to be answered safely before a hold."""

    __pydantic_config__ = FORBID
    step: Literal["clearing"]
    questions: tuple[str, ...]

    def __post_init__(self) -> None:
        for question in self.questions:
            known = ", ".join(SAFE_ANSWERS)
            _need(question in SAFE_ANSWERS, f"questions: {question!r} is unknown; known: {known}")


@dataclass(frozen=True, slots=True)
class PulseCount:
    """A pulse counted (or tapped) over a window."""

    __pydantic_config__ = FORBID
    step: Literal["pulse-count"]
    label: str
    place: str
    window_s: float = 15.0
    by: Literal["count", "tap"] = "count"

    def __post_init__(self) -> None:
        _need(self.place in PLACES, f"place must be one of {', '.join(PLACES)}")
        _need(self.window_s in (15.0, 30.0, 60.0), "window_s must be 15, 30 or 60")


@dataclass(frozen=True, slots=True)
class Spoken:
    """A line at a time within its step."""

    __pydantic_config__ = FORBID
    at_s: float
    line: str


@dataclass(frozen=True, slots=True)
class Relaxation:
    """Guided relaxation: few lines, mostly silence."""

    __pydantic_config__ = FORBID
    step: Literal["relaxation"]
    label: str
    duration_s: float
    lines: tuple[Spoken, ...] = ()

    def __post_init__(self) -> None:
        _need(10 <= self.duration_s <= 3600, "duration_s must be between 10 and 3600")
        times = [line.at_s for line in self.lines]
        _need(times == sorted(times), "lines must stand in the order of their times")
        inside = all(0 <= t < self.duration_s for t in times)
        _need(inside, "every at_s must lie within duration_s")


@dataclass(frozen=True, slots=True)
class BreatheUp:
    """Easy breathing before a hold, longer out than in; `full_breaths` at its end."""

    __pydantic_config__ = FORBID
    step: Literal["breathe-up"]
    label: str
    duration_s: float
    in_s: float = 4.0
    out_s: float = 6.0
    full_breaths: int = 1

    def __post_init__(self) -> None:
        _need(10 <= self.duration_s <= 300, "duration_s must be between 10 and 300")
        _need(self.in_s >= 2, "in_s must be at least 2")
        _need(self.out_s >= self.in_s, "out_s must not be shorter than in_s")
        _need(self.full_breaths >= 0, "full_breaths must not be negative")

    @property
    def breaths_per_minute(self) -> float:
        """The pace of the breathe-up."""
        return 60.0 / (self.in_s + self.out_s)


@dataclass(frozen=True, slots=True)
class Hold:
    """A breath-hold with time calls, ended by the participant or at `cap_s`."""

    __pydantic_config__ = FORBID
    step: Literal["hold"]
    label: str
    hold: str
    cap_s: float
    call_every_s: float = 10.0
    until: Literal["word", "first contraction"] = "word"
    lead_in: str = "hold_lead_in"  # empty: the step before it leads in
    wait_for_start: bool = True
    target_s: float | None = None

    def __post_init__(self) -> None:
        _need(self.hold in HOLD_KINDS, f"hold must be one of {', '.join(HOLD_KINDS)}")
        _need(
            10 <= self.cap_s <= HARD_HOLD_CAP_S,
            f"cap_s must be between 10 and {HARD_HOLD_CAP_S:g} seconds",
        )
        _need(5 <= self.call_every_s <= 60, "call_every_s must be between 5 and 60")
        _need(self.call_every_s == int(self.call_every_s), "call_every_s must be whole seconds")
        if self.target_s is not None:
            _need(5 <= self.target_s <= self.cap_s, "target_s must lie between 5 and cap_s")


@dataclass(frozen=True, slots=True)
class Recovery:
    """Breathing again, watched for at least 30 s, then the check-in."""

    __pydantic_config__ = FORBID
    step: Literal["recovery"]
    watch_s: float = 30.0
    lines: tuple[Spoken, ...] = ()

    def __post_init__(self) -> None:
        _need(self.watch_s <= 600, "watch_s must be at most 600")
        inside = all(0 <= line.at_s < self.watch_s for line in self.lines)
        _need(inside, "every at_s must lie within watch_s")


@dataclass(frozen=True, slots=True)
class Rest:
    """Rest before the next hold: a time, or a multiple of the last hold, never under the floor.

    Counted from now, or from the end of the last hold, so that recovery and check-in lie within.
    """

    __pydantic_config__ = FORBID
    step: Literal["rest"]
    duration_s: float = 120.0
    times_last_hold: float | None = None
    counted_from: Literal["now", "hold end"] = "now"

    def __post_init__(self) -> None:
        _need(0 <= self.duration_s <= 1800, "duration_s must be between 0 and 1800")
        if self.times_last_hold is not None:
            _need(0 < self.times_last_hold <= 10, "times_last_hold must be between 0 and 10")


@dataclass(frozen=True, slots=True)
class Table:
    """A CO2 or O2 table computed from the person's best and read out before it starts."""

    __pydantic_config__ = FORBID
    step: Literal["table"]
    table: Literal["co2", "o2"]
    call_every_s: float = 15.0

    def __post_init__(self) -> None:
        _need(5 <= self.call_every_s <= 60, "call_every_s must be between 5 and 60")
        _need(self.call_every_s == int(self.call_every_s), "call_every_s must be whole seconds")


@dataclass(frozen=True, slots=True)
class Comparison:
    """The spoken summary of what this session has kept."""

    __pydantic_config__ = FORBID
    step: Literal["comparison"]


PlainStep = (
    Talk | Clearing | PulseCount | Relaxation | BreatheUp | Hold | Recovery | Rest | Table
    | Comparison
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rounds:
    """Steps repeated; `{round}` in a label becomes the number of the round."""

    __pydantic_config__ = FORBID
    step: Literal["rounds"]
    times: int
    steps: tuple[PlainStep, ...]

    def __post_init__(self) -> None:
        _need(1 <= self.times <= 12, "times must be between 1 and 12")
        _need(len(self.steps) > 0, "steps must not be empty")


Step = PlainStep | Rounds


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole session."""

    __pydantic_config__ = FORBID
    name: str
    title: str
    steps: tuple[Step, ...]

    def __post_init__(self) -> None:
        _need(len(self.steps) > 0, "steps must not be empty")
        asked: set[str] = set()
        labels: set[str] = set()
        flat = unrolled(self.steps)
        for number, step in enumerate(flat, 1):
            if isinstance(step, Clearing):
                asked.update(step.questions)
            if isinstance(step, Hold | Table):
                self._check_cleared(asked, number, step)
            if isinstance(step, Hold):
                after = flat[number : number + 1]
                _need(
                    bool(after) and isinstance(after[0], Recovery),
                    f"step {number}: a hold must be followed by a recovery step",
                )
            if isinstance(step, Hold | PulseCount):
                name = f"{step.step} {step.label}"
                _need(name not in labels, f"step {number}: label {step.label!r} is used twice")
                labels.add(name)
        tables = sum(1 for step in flat if isinstance(step, Table))
        _need(tables <= HARD_TABLES_PER_DAY, f"{tables} tables; one a day is the most")

    @staticmethod
    def _check_cleared(asked: set[str], number: int, step: Hold | Table) -> None:
        missing = [q for q in PLACE_QUESTIONS if q not in asked]
        if UNCHANGED_QUESTION not in asked:
            missing += [q for q in HEALTH_QUESTIONS if q not in asked]
        _need(
            not missing,
            f"step {number}: a {step.step} needs the clearing questions {', '.join(missing)} "
            f"before it",
        )


def unrolled(steps: tuple[Step, ...]) -> tuple[PlainStep, ...]:
    """The steps with rounds written out and `{round}` filled into labels."""
    flat: list[PlainStep] = []
    for step in steps:
        if isinstance(step, Rounds):
            for number in range(1, step.times + 1):
                flat.extend(_numbered(inner, number) for inner in step.steps)
        else:
            flat.append(step)
    return tuple(flat)


def _numbered(step: PlainStep, number: int) -> PlainStep:
    if isinstance(step, PulseCount | Relaxation | BreatheUp | Hold):
        return replace(step, label=step.label.replace("{round}", str(number)))
    return step

"""Plans for rehearsals: the shipped ones, and short ones of few steps."""

from __future__ import annotations

from functools import cache
from typing import Any, Literal

from coach.border import data_path
from coach.plans import load_plan
from coach.practice import plan as steps
from coach.practice.safety import HEALTH_QUESTIONS, PLACE_QUESTIONS, Person


@cache
def shipped(name: str) -> steps.Plan:
    """A plan of config/plans."""
    return load_plan(data_path("config", "plans", f"{name}.toml"))


CLEARING = steps.Clearing("clearing", (*PLACE_QUESTIONS, *HEALTH_QUESTIONS))
UNCHANGED = steps.Clearing("clearing", (*PLACE_QUESTIONS, "unchanged", "well"))
RECOVERY = steps.Recovery("recovery")
KNOWN = Person(1, best_s=180.0, cleared=True)


def plan(*parts: steps.Step) -> steps.Plan:
    """A plan of these steps."""
    return steps.Plan("short", "Short", parts)


def hold(label: str = "one", cap_s: float = 120.0, **given: Any) -> steps.Hold:
    """A hold that begins on the word."""
    step: dict[str, Any] = {"step": "hold", "label": label, "hold": "relaxed", "cap_s": cap_s}
    return steps.Hold(**(step | given))


def one_hold(**given: Any) -> steps.Plan:
    """Clearing, one hold, recovery."""
    return plan(CLEARING, hold(**given), RECOVERY)


def count(
    label: str = "before",
    window_s: float = 15.0,
    place: str = "before",
    by: Literal["count", "tap"] = "count",
) -> steps.PulseCount:
    """A pulse count."""
    return steps.PulseCount("pulse-count", label, place, window_s, by)

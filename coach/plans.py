"""Plans from files: config/plans/*.toml or a path, checked against the limits of the day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from coach.border import BadInput, data_path, parse, read_toml
from coach.practice import plan as steps
from coach.practice.guard import objections
from coach.practice.safety import Limits, Person
from coach.settings import SafetySettings

FORBID = {"extra": "forbid"}
_Plain = Annotated[steps.PlainStep, Field(discriminator="step")]


@dataclass(frozen=True, slots=True)
class _Rounds:
    """`Rounds` as it stands in a file: its steps tell by `step` what they are."""

    __pydantic_config__ = FORBID
    step: str
    times: int
    steps: tuple[_Plain, ...]


def plan_names() -> list[str]:
    """The shipped plans."""
    return sorted(path.stem for path in data_path("config", "plans").glob("*.toml"))


def find_plan(name: str) -> Path:
    """A plan by path, or by its name in config/plans. Raises BadInput."""
    for path in (Path(name), data_path("config", "plans", f"{name}.toml")):
        if path.is_file():
            return path
    known = ", ".join(plan_names())
    raise BadInput(f"{name}: there is no such plan; known plans: {known}, or give a file")


@dataclass(frozen=True, slots=True)
class _File:
    __pydantic_config__ = FORBID
    name: str
    title: str
    steps: tuple[dict[str, Any], ...]


def load_plan(path: Path) -> steps.Plan:
    """The plan of a file. Raises BadInput: file, key, reason."""
    file: _File = parse(_File, read_toml(path), str(path))
    read = tuple(_step(item, f"{path}: steps.{n}") for n, item in enumerate(file.steps, 1))
    try:
        return steps.Plan(file.name, file.title, read)
    except ValueError as error:
        raise BadInput(f"{path}: steps: {error}") from None


def _step(item: dict[str, Any], where: str) -> steps.Step:
    if item.get("step") == "rounds":
        rounds: _Rounds = parse(_Rounds, item, where)
        try:
            return steps.Rounds("rounds", rounds.times, rounds.steps)
        except ValueError as error:
            raise BadInput(f"{where}: {error}") from None
    step: steps.PlainStep = parse(_Plain, item, where)
    return step


def limits_of(settings: SafetySettings, where: str = "coach.toml") -> Limits:
    """The limits in force. Raises BadInput if one is looser than the hard one."""
    try:
        return Limits(
            settings.hold_cap_s,
            settings.rest_floor_s,
            settings.watch_s,
            settings.check_in_s,
            settings.full_breaths,
            settings.breaths_per_minute,
            settings.tables_per_day,
        )
    except ValueError as error:
        raise BadInput(f"{where}: safety.{error}") from None


def refuse_unsafe(
    plan: steps.Plan, where: str, people: Sequence[Person], limits: Limits, *, alone: bool
) -> None:
    """Raise BadInput for the first thing in the plan that a limit forbids."""
    for objection in objections(plan, people, limits, alone=alone):
        raise BadInput(f"{where}: {objection}")

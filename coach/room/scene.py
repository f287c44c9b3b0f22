"""A scene: a scripted room as data. Plan, noise, echo path, and who does what when.

An act hangs on a moment of the session (`after`, shell patterns allowed) or on a time (`at_s`).
`nth` counts the moments that match: 1, the default, is the first, "2+" the second and all later
ones, "each" all of them. `hears` lets an act depend on what the coach says there, so that a
participant says yes to the right number only. An act without `say`, `knock`, `taps_bpm` and
`play` is silence. `like` names another scene whose keys hold where this one says nothing; of a
participant in both, the acts after a moment replace all of the other's after that moment, and the
rest is added. In the same way everybody with a number does the acts of `everybody`, with that
number for "{number}".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, Literal

from coach.border import BadInput, data_path, parse, read_toml

FORBID = {"extra": "forbid"}


def _need(condition: bool, reason: str) -> None:
    if not condition:
        raise ValueError(reason)


@dataclass(frozen=True, slots=True)
class Echo:
    """The way from the loudspeaker back into the microphone."""

    __pydantic_config__ = FORBID
    delay_s: float = 0.06
    gain_db: float = -20.0  # of the direct sound
    reverberation_s: float = 0.25  # until the room's answer has fallen by 60 dB; 0 is none
    reverberation_db: float = -6.0  # its energy beside the direct sound's
    distortion: float = 0.0  # 0 a clean loudspeaker, 1 a hopelessly overdriven one

    def __post_init__(self) -> None:
        _need(0 <= self.delay_s <= 1, "delay_s must be between 0 and 1")
        _need(0 <= self.reverberation_s <= 1, "reverberation_s must be between 0 and 1")
        _need(self.gain_db <= 0, "gain_db must not be above 0")
        _need(0 <= self.distortion <= 1, "distortion must be between 0 and 1")


@dataclass(frozen=True, slots=True)
class RoomSpec:
    """What the microphone gets beside the people."""

    __pydantic_config__ = FORBID
    noise_db: float = -65.0  # RMS, relative to full scale
    echo: Echo = field(default_factory=Echo)

    def __post_init__(self) -> None:
        _need(self.noise_db <= 0, "noise_db must not be above 0")


@dataclass(frozen=True, slots=True)
class Act:
    """One thing that a participant does; `delay_s` runs to its first audible sound."""

    __pydantic_config__ = FORBID
    after: str = ""  # a moment's name or pattern: "hold:main", "clearing:*"
    edge: Literal["start", "end"] = "start"
    hears: str = ""  # only if the coach's words match "this|or that"; "!..." if they do not
    nth: int | str = 1
    delay_s: float = 0.5
    at_s: float | None = None  # room time instead of a moment
    every_s: float | None = None  # with at_s: again and again, not over own speech
    until_s: float = 1e9
    say: str | tuple[str, ...] = ()  # several texts are said in turn
    knock: int = 0
    taps_bpm: float = 0.0  # a steady beat of knocks, the true rate of a tapped count ...
    for_s: float = 0.0  # ... for so long
    play: str = ""  # a sound file, beside the scene
    gain_db: float = 0.0  # beside the participant's level
    means: Literal["", "end", "end-all"] = ""  # with this the hold truly ends, or everybody's
    count: int | None = None  # the true beats of the pulse count

    def __post_init__(self) -> None:
        _need(bool(self.after) != (self.at_s is not None), "needs either after or at_s")
        done = [bool(self.say), bool(self.knock), bool(self.taps_bpm), bool(self.play)]
        _need(sum(done) <= 1, "only one of say, knock, taps_bpm and play")
        _need(self.knock in (0, 1, 2), "knock must be 1 or 2")
        _need(not self.taps_bpm or 20 <= self.taps_bpm <= 240, "taps_bpm must be 20 to 240")
        _need(bool(self.taps_bpm) == (self.for_s > 0), "taps_bpm and for_s need each other")
        _need(self.delay_s >= 0, "delay_s must not be negative")
        counted = re.fullmatch(r"each|[1-9]\d*\+?", str(self.nth))
        _need(counted is not None, "nth must be 1 or more, '2+' or the like, or 'each'")
        _need(self.at_s is None or self.at_s >= 0, "at_s must not be negative")
        _need(self.every_s is None or self.at_s is not None, "every_s needs at_s")
        _need(self.every_s is None or self.every_s > 0, "every_s must be above 0")
        true_value = bool(self.means or self.taps_bpm) or self.count is not None
        labelled = ":" in self.after and "*" not in self.label
        _need(not true_value or labelled, "means, count and taps_bpm need an after with a label")

    @property
    def label(self) -> str:
        """The step's label in `after`: "main" of "hold:main"."""
        return [*self.after.split(":"), ""][1]

    def goes_with(self, text: str) -> bool:
        """Whether the act answers `text`, the words of the coach at its moment."""
        if not self.hears:
            return True
        patterns = self.hears.removeprefix("!").lower().split("|")
        matches = any(fnmatchcase(text.lower(), pattern) for pattern in patterns)
        return matches is not self.hears.startswith("!")

    def takes(self, reached: int) -> bool:
        """Whether the act is done when its moment comes for the `reached`-th time."""
        if self.nth == "each":
            return True
        first = int(str(self.nth).rstrip("+"))
        return reached == first or (str(self.nth).endswith("+") and reached > first)

    @property
    def texts(self) -> tuple[str, ...]:
        """What is said, in turn."""
        return (self.say,) if isinstance(self.say, str) else self.say


@dataclass(frozen=True, slots=True)
class Participant:
    """Somebody in the room; number 0 is there without taking part."""

    __pydantic_config__ = FORBID
    number: int
    name: str = ""
    voice: str = "espeak:en-gb+f3"
    level_db: float = -26.0  # RMS while speaking; a knock's peak lies 14 dB above
    delay_s: float = 0.006  # mouth to microphone
    best_s: float | None = None
    cleared: bool = False
    acts: tuple[Act, ...] = ()

    def __post_init__(self) -> None:
        _need(0 <= self.number <= 20, "number must be between 0 and 20")
        _need(self.level_db <= 0, "level_db must not be above 0")
        _need(0 <= self.delay_s <= 0.1, "delay_s must be between 0 and 0.1")


@dataclass(frozen=True, slots=True)
class Scene:
    """The whole scene.

    `plan` names a file of config/plans or a path beside the scene. Instead of a plan, `listen`
    lets people start what they like by voice until somebody says good night; `days` are other
    scenes beside this one, a day each, on the same records.
    """

    __pydantic_config__ = FORBID
    title: str
    plan: str = ""
    listen: bool = False
    days: tuple[str, ...] = ()
    seed: int = 1
    alone: bool = True  # False: an instructor or buddy sits beside them
    exit_code: int = 0  # how the session is meant to end
    limit_s: float = 3600.0  # a session still going on then is ended
    room: RoomSpec = field(default_factory=RoomSpec)
    participants: tuple[Participant, ...] = ()
    everybody: tuple[Act, ...] = ()  # what each participant does who does nothing else there

    def __post_init__(self) -> None:
        numbers = [person.number for person in self.participants if person.number]
        _need(len(set(numbers)) == len(numbers), "two participants have the same number")
        chosen = [bool(self.plan), self.listen, bool(self.days)]
        _need(sum(chosen) == 1, "needs one of plan, listen and days")


def _joined(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """The tables of a scene laid over those of the scene it is like."""
    joined = base | over
    if isinstance(base.get("room"), dict) and isinstance(over.get("room"), dict):
        joined["room"] = base["room"] | over["room"]
    people = {_number(person): person for person in _tables(base, "participants")}
    for person in _tables(over, "participants"):
        before = people.get(_number(person), {})
        people[_number(person)] = before | person | {"acts": _acts(before, person)}
    joined["participants"] = list(people.values())
    return joined


def _acts(base: dict[str, Any], over: dict[str, Any]) -> list[dict[str, Any]]:
    mine = _tables(over, "acts")
    moments = {act.get("after", "") for act in mine} - {""}
    return [act for act in _tables(base, "acts") if act.get("after") not in moments] + mine


def _anchor(tables: dict[str, Any], folder: Path) -> None:
    """Files are named beside the scene that names them, not the one that is like it."""
    plan = tables.get("plan")
    if isinstance(plan, str) and plan.endswith(".toml"):
        tables["plan"] = str(folder / plan)
    for person in _tables(tables, "participants"):
        for act in _tables(person, "acts"):
            if isinstance(act.get("play"), str):
                act["play"] = str(folder / act["play"])


def _number(person: dict[str, Any]) -> Any:
    return person.get("number")


def _tables(above: dict[str, Any], key: str) -> list[dict[str, Any]]:
    tables = above.get(key, [])
    if not (isinstance(tables, list) and all(isinstance(table, dict) for table in tables)):
        raise ValueError(f"{key}: must be tables, as in [[{key}]]")
    return tables


def scene_tables(path: Path, seen: tuple[Path, ...] = ()) -> dict[str, Any]:
    """The tables of a scene file, with those of the scene it is `like`. Raises BadInput."""
    tables = read_toml(path)
    like = tables.pop("like", None)
    try:
        _anchor(tables, path.parent.resolve())
    except ValueError as error:
        raise BadInput(f"{path}: {error}") from None
    if like is None:
        return tables
    if not isinstance(like, str):
        raise BadInput(f"{path}: like: must be the name of a scene")
    other = (path.parent / like).with_suffix(".toml").resolve()
    if other in seen:
        raise BadInput(f"{path}: like: {like} leads back to this scene")
    if not other.is_file():
        raise BadInput(f"{path}: like: there is no scene {other}")
    try:
        return _joined(scene_tables(other, (*seen, path.resolve(), other)), tables)
    except ValueError as error:
        raise BadInput(f"{path}: {error}") from None


def find_scene(name: str) -> Path:
    """A scene by path, or by its name in config/scenes. Raises BadInput."""
    shipped = data_path("config", "scenes", name).with_suffix(".toml")
    for path in (Path(name), shipped):
        if path.is_file():
            return path
    raise BadInput(f"{name}: there is no such scene, neither as a file nor as {shipped}")


def load_scene(path: Path) -> Scene:
    """The scene, with `plan` and every `play` as absolute paths to files. Raises BadInput.

    The acts of `everybody` stand among those of each participant.
    """
    scene: Scene = parse(Scene, scene_tables(path), str(path))
    people = tuple(_with_everybody_s(person, scene.everybody) for person in scene.participants)
    scene = replace(scene, participants=people, everybody=())
    for place, person in enumerate(scene.participants):
        for number, act in enumerate(person.acts):
            if act.play and not Path(act.play).is_file():
                where = f"participants.{place}.acts.{number}.play"
                raise BadInput(f"{path}: {where}: there is no file {act.play}")
    plan = str(_plan(scene.plan, path)) if scene.plan else ""
    return replace(scene, plan=plan, days=tuple(_day(name, path) for name in scene.days))


def _with_everybody_s(person: Participant, acts: tuple[Act, ...]) -> Participant:
    if not person.number:
        return person
    own = {act.after for act in person.acts} - {""}
    filled = [replace(a, after=a.after.replace("{number}", str(person.number))) for a in acts]
    return replace(person, acts=(*(a for a in filled if a.after not in own), *person.acts))


def _day(name: str, path: Path) -> str:
    found = (path.parent / name).with_suffix(".toml")
    if not found.is_file():
        raise BadInput(f"{path}: days: there is no scene {found}")
    return str(found)


def _plan(plan: str, path: Path) -> Path:
    shipped = data_path("config", "plans", f"{plan}.toml")
    found = Path(plan) if plan.endswith(".toml") else shipped
    if not found.is_file():
        raise BadInput(f"{path}: plan: there is no file {found}")
    return found

"""config/coach.toml and the user's own file as values.

Order: the shipped file, then the user's file (`--config`, else
$XDG_CONFIG_HOME/coach/coach.toml), key by key.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from coach.border import BadInput, data_path, parse, read_toml

FORBID = {"extra": "forbid"}
SPEEDS = (0.75, 1.4)  # of the voice: slower is a drawl, faster too fast to follow lying down


@dataclass(frozen=True, slots=True)
class VoiceSettings:
    """How the coach speaks."""

    __pydantic_config__ = FORBID
    name: Literal["natural", "espeak"] = "natural"
    lines: str = "en"
    speed: Annotated[float, Field(ge=SPEEDS[0], le=SPEEDS[1])] = 1.0  # 1.0 is its usual rate
    loudness_lufs: Annotated[float, Field(ge=-40, le=-10)] = -23.0  # EBU R 128's programme level
    cache: str = ""  # folder for rendered clips; empty: $XDG_CACHE_HOME/coach


@dataclass(frozen=True, slots=True)
class EarSettings:
    """How the coach hears."""

    __pydantic_config__ = FORBID
    model: str = ""  # folder of a Vosk model; empty: the shipped one
    minimum_confidence: Annotated[float, Field(ge=0, le=1)] = 0.6  # numbers need more
    knocks: bool = True


@dataclass(frozen=True, slots=True)
class RoomSettings:
    """Sound devices of the live room; found values are stored by `coach check --store`."""

    __pydantic_config__ = FORBID
    input: str = ""  # name (or part of it) or number; empty: the system's default
    output: str = ""
    rate_hz: Annotated[int, Field(ge=8000, le=192_000)] = 48_000
    block_s: Annotated[float, Field(ge=0.005, le=0.1)] = 0.02
    gain_db: Annotated[float, Field(ge=-40, le=24)] = 0.0
    # loudspeaker to microphone, as found by `coach check`
    delay_s: Annotated[float, Field(ge=-0.2, le=1)] = 0.0
    # how long before its mark a cue goes to the mixer
    lead_s: Annotated[float, Field(ge=0.1, le=5)] = 0.3
    # how long to try again when a device is gone
    reopen_s: Annotated[float, Field(ge=0, le=3600)] = 30.0


@dataclass(frozen=True, slots=True)
class RecordSettings:
    """Where results are kept."""

    __pydantic_config__ = FORBID
    folder: str = ""  # empty: $XDG_DATA_HOME/coach


@dataclass(frozen=True, slots=True)
class SafetySettings:
    """Limits; each may be made stricter than the hard one in practice/safety.py, never looser."""

    __pydantic_config__ = FORBID
    hold_cap_s: float = 150.0  # first lessons, and people without a best
    rest_floor_s: float = 60.0
    watch_s: float = 30.0
    check_in_s: float = 15.0
    full_breaths: int = 2
    breaths_per_minute: float = 8.0
    tables_per_day: int = 1


@dataclass(frozen=True, slots=True)
class ContactSettings:
    """What is done when nobody answers after a hold."""

    __pydantic_config__ = FORBID
    command: tuple[str, ...] = ()  # run without a shell; {participant} and {reason} are filled in


@dataclass(frozen=True, slots=True)
class ListenSettings:
    """`coach listen`."""

    __pydantic_config__ = FORBID
    name: Annotated[str, Field(pattern=r"^[a-z']+( [a-z']+)*$")] = "coach"  # words as spoken
    # how long it waits for a wish after its name
    awake_s: Annotated[float, Field(ge=5, le=600)] = 20.0


@dataclass(frozen=True, slots=True)
class ReminderSettings:
    """Practice days, as iCalendar day codes and a local time."""

    __pydantic_config__ = FORBID
    days: tuple[Literal["MO", "TU", "WE", "TH", "FR", "SA", "SU"], ...] = ()
    time: str = "18:00"
    plan: str = "three-holds"


@dataclass(frozen=True, slots=True)
class Settings:
    """The whole configuration."""

    __pydantic_config__ = FORBID
    voice: VoiceSettings = field(default_factory=VoiceSettings)
    ear: EarSettings = field(default_factory=EarSettings)
    room: RoomSettings = field(default_factory=RoomSettings)
    records: RecordSettings = field(default_factory=RecordSettings)
    safety: SafetySettings = field(default_factory=SafetySettings)
    contact: ContactSettings = field(default_factory=ContactSettings)
    listen: ListenSettings = field(default_factory=ListenSettings)
    reminders: ReminderSettings = field(default_factory=ReminderSettings)


def _xdg(variable: str, fallback: str) -> Path:
    return Path(os.environ.get(variable) or Path.home() / fallback) / "coach"


def user_config_path() -> Path:
    """Where the user's own settings lie, whether or not the file is there."""
    return _xdg("XDG_CONFIG_HOME", ".config") / "coach.toml"


def records_folder(settings: Settings) -> Path:
    """Folder of the database."""
    return Path(settings.records.folder or _xdg("XDG_DATA_HOME", ".local/share")).expanduser()


def cache_folder(settings: Settings) -> Path:
    """Folder of rendered clips."""
    return Path(settings.voice.cache or _xdg("XDG_CACHE_HOME", ".cache")).expanduser()


def _merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    merged = dict(base)
    for key, value in over.items():
        below = merged.get(key)
        both_tables = isinstance(below, dict) and isinstance(value, dict)
        merged[key] = _merged(below, value) if both_tables else value  # type: ignore[arg-type]
    return merged


def load_settings(user_file: Path | None = None) -> Settings:
    """The shipped settings with the user's laid over them. Raises BadInput."""
    shipped = data_path("config", "coach.toml")
    tables = read_toml(shipped)
    where = str(shipped)
    mine = user_file or user_config_path()
    if user_file is not None or mine.is_file():
        tables = _merged(tables, read_toml(mine))
        where = str(mine)
    settings: Settings = parse(Settings, tables, where)
    if settings.ear.model and not Path(settings.ear.model).expanduser().is_dir():
        raise BadInput(f"{where}: ear.model: {settings.ear.model} is not a folder")
    try:  # now, not when somebody does not answer
        _ = [part.format_map({"participant": 0, "reason": ""}) for part in settings.contact.command]
    except (KeyError, ValueError, IndexError):
        raise BadInput(
            f"{where}: contact.command: only {{participant}} and {{reason}} can stand in braces"
        ) from None
    return settings

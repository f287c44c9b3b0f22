"""How exact, how robust and how cheap the room is; beside it a plain script (plain_script.py).

    python -m benchmarks.room [--only PART,PART] [--speech FOLDER] [--json FILE]

Live, in a private sound server (10 minutes for each way of calling; let nothing else run):
`calls`        call onset error, simulated and live, and drift
`cost`         processor and memory of `coach listen` when nobody speaks, and of a hold

In computed rooms, faster than real time (about 7 minutes for an hour of sound, of each ear):
`double-talk`  words over the coach: heard, onset error, reaction, false commands
`own-voice`    the coach alone: what it takes for a command; echo that is taken away
`knocks`       heard, onset error, false ones
`drift`        echo that is taken away when the clocks of two devices part
`talk`         somebody talks on over and between the coach's lines
`speech`       recordings of other people (--speech) in a hold
`asleep`       the same while `coach listen` waits for its name

One run on one machine; the load of the machine is written beside the figures. A part that is run
again replaces its figures in the JSON file, the others stay.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import vosk

from benchmarks import calls, cost, drift, heard, talk
from benchmarks.plain_script import PlainEar
from coach.app.equipment import Equipment
from coach.settings import load_settings

NEEDS_SPEECH = ("speech", "asleep")


@cache
def ears() -> tuple[Equipment, PlainEar]:
    """Ours and the plain script's, with the same speech model."""
    vosk.SetLogLevel(-1)
    equipment = Equipment.of(load_settings())
    return equipment, PlainEar(vosk.Model(str(equipment.model.folder)))


def rows(figures: dict[str, Any], name: str = "") -> list[tuple[str, str]]:
    """The figures as lines of a table."""
    found: list[tuple[str, str]] = []
    for key, value in figures.items():
        title = f"{name} · {key}" if name else key
        found += rows(value, title) if isinstance(value, dict) else [(title, str(value))]
    return found


def options_of(arguments: list[str] | None = None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", help="parts to run; all of them if not given")
    parser.add_argument("--cues", type=int, default=120)
    parser.add_argument("--every", type=float, default=5.0, help="120 cues, 5 s apart: 10 minutes")
    parser.add_argument("--seconds", type=float, default=60.0, help="of processor measurement")
    parser.add_argument("--trials", type=int, default=60, help="words and knocks of each kind")
    parser.add_argument("--hours", type=float, default=1.0, help="of the coach's own speech")
    parser.add_argument("--minutes", type=float, default=32.0, help="of talk")
    parser.add_argument("--speech", type=Path, help="folder of other people's speech, WAV files")
    parser.add_argument("--speech-hours", type=float, default=100.0, help="at most of it")
    parser.add_argument("--json", type=Path)
    return parser.parse_args(arguments)


def main() -> None:
    options = options_of()
    parts: dict[str, Callable[[], dict[str, Any]]] = {
        "calls": lambda: calls.figures(options.cues, options.every),
        "cost": lambda: cost.figures(options.seconds),
        "double-talk": lambda: heard.double_talk(*ears(), options.trials),
        "own-voice": lambda: heard.own_voice(*ears(), options.hours),
        "knocks": lambda: heard.knocking(*ears(), options.trials),
        "drift": lambda: drift.figures(ears()[0]),
        "talk": lambda: talk.figures(*ears(), options.minutes),
        "speech": lambda: heard.others(*ears(), options.speech, "hold", options.speech_hours),
        "asleep": lambda: heard.others(*ears(), options.speech, "asleep", options.speech_hours),
    }
    wanted = options.only.split(",") if options.only else list(parts)
    if unknown := [part for part in wanted if part not in parts]:
        raise SystemExit(f"--only {unknown[0]}: no such part; there are: {', '.join(parts)}")
    if options.speech is None:
        wanted = [part for part in wanted if part not in NEEDS_SPEECH]
    for part in wanted:
        figures = parts[part]()
        figures["load"] = round(os.getloadavg()[0], 1)
        for name, value in rows({part: figures}):
            print(f"{name:<60} {value}", flush=True)
        if options.json:
            write(options.json, part, figures)


def write(path: Path, part: str, figures: dict[str, Any]) -> None:
    """Put a part's figures beside those of other parts."""
    found: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}
    found["machine"] = {"system": platform.platform(), "cores": os.cpu_count()}
    found[part] = figures
    path.write_text(json.dumps(found, indent=2, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()

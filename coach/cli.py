"""The commands. No logic: each reads its arguments and calls the composition root."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from coach import __version__
from coach.border import BadInput
from coach.ports import VoiceError

if TYPE_CHECKING:
    from coach.app.equipment import Equipment

BAD_INPUT = 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="coach", description="Hands-free voice coach for dry breath-hold practice."
    )
    parser.add_argument("--version", action="version", version=f"coach {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    demo = commands.add_parser("demo", help="a whole first lesson in a simulated room")
    demo.set_defaults(call=_demo)
    simulate = commands.add_parser("simulate", help="run a scene file")
    simulate.add_argument("scene", help="a file, or a name in config/scenes")
    simulate.set_defaults(call=_simulate)
    for sub in (demo, simulate):
        sub.add_argument("--out", type=Path, metavar="DIR", help="write record, sound, captions")
        _equipment_arguments(sub)

    run = commands.add_parser("run", help="a live session now, through the sound card")
    run.add_argument("plan", help="a name in config/plans, or a file")
    run.add_argument("--participants", type=_people, default=1, metavar="N", help="1 to 20")
    run.add_argument("--with-instructor", action="store_true", help="somebody is beside them")
    _equipment_arguments(run)
    run.set_defaults(call=_run)

    hear = commands.add_parser("hear", help="what the ear hears in recordings")
    hear.add_argument("files", nargs="+", metavar="FILE")
    hear.add_argument("--grammar", help="a file of grammars/, or a path")
    hear.add_argument("--json", action="store_true", help="one JSON object a line")
    _equipment_arguments(hear)
    hear.set_defaults(call=_hear)
    return parser


def _equipment_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--config", type=Path, metavar="FILE", help="settings of your own")
    parser.add_argument("--model", metavar="FOLDER", help="a Vosk model of your own")
    parser.add_argument("--voice", choices=("natural", "espeak"), help="how the coach speaks")


def _people(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 20:
        raise argparse.ArgumentTypeError("must be a number from 1 to 20")
    return int(text)


def _show(at_s: float, who: str, what: str) -> None:
    """One line of the conversation: room time, who, what."""
    print(f"{int(at_s // 60):3d}:{at_s % 60:04.1f}  {who:<6} {what}", flush=True)


def _equipment(arguments: argparse.Namespace) -> Equipment:
    from coach.app.equipment import Equipment
    from coach.settings import load_settings

    settings = load_settings(arguments.config)
    if arguments.voice:
        settings = replace(settings, voice=replace(settings.voice, name=arguments.voice))
    return Equipment.of(settings, arguments.model)


def _demo(arguments: argparse.Namespace) -> int:
    arguments.scene = "demo"
    return _simulate(arguments)


def _simulate(arguments: argparse.Namespace) -> int:
    from coach.app.simulated import simulate

    return simulate(arguments.scene, arguments.out, _equipment(arguments), _show, print)


def _run(arguments: argparse.Namespace) -> int:
    from coach.app.live import run_live

    numbers = range(1, arguments.participants + 1)
    alone = not arguments.with_instructor
    equipment = _equipment(arguments)
    return run_live(arguments.plan, numbers, alone=alone, equipment=equipment, show=_show)


def _hear(arguments: argparse.Namespace) -> int:
    from coach.ear.recordings import run_hear
    from coach.settings import load_settings

    code: int = run_hear(
        arguments.files,
        grammar=arguments.grammar,
        model=arguments.model,
        as_json=arguments.json,
        settings=load_settings(arguments.config).ear,
    )
    return code


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code. Bad input is one line and exit code 2."""
    arguments = _parser().parse_args(argv)
    try:
        code: int = arguments.call(arguments)
    except (BadInput, VoiceError) as error:
        print(f"coach: {error}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        return 1
    except OSError as error:
        what = error.strerror or str(error)
        where = f"{error.filename}: " if error.filename else ""
        print(f"coach: {where}{what}", file=sys.stderr)
        return 1
    return code


if __name__ == "__main__":
    sys.exit(main())

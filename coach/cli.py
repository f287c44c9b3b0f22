"""The commands. No logic: each reads its arguments and calls the composition root."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from coach import __version__
from coach.border import BadInput
from coach.plans import plan_names
from coach.ports import VoiceError
from coach.records.uses import USES
from coach.settings import Settings, load_settings, user_config_path

if TYPE_CHECKING:
    from coach.app.afterwards import Review
    from coach.app.equipment import Equipment

BAD_INPUT = 2
EARLY = 1

# --- arguments -------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """A wrong argument is one line, as any other bad input."""

    def error(self, message: str) -> NoReturn:
        self.exit(BAD_INPUT, f"{self.prog}: {message}; see `{self.prog} --help`\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="coach",
        description="Hands-free voice coach for dry breath-hold practice.",
        epilog="Dry land only, lying or seated, with somebody near. Not medical advice.",
    )
    parser.add_argument("--version", action="version", version=f"coach {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _sessions(commands)
    _listening(commands)
    _afterwards(commands)
    return parser


def _sessions(commands: argparse._SubParsersAction[_Parser]) -> None:
    demo = commands.add_parser("demo", help="a whole first lesson in a simulated room")
    simulate = commands.add_parser("simulate", help="any scene in the simulated room")
    simulate.add_argument("scene", metavar="SCENE", help="a file, or a name in config/scenes")
    for sub, call in ((demo, _demo), (simulate, _simulate)):
        sub.add_argument("--out", type=Path, metavar="DIR", help="write record, sound, captions")
        _ours(sub, call)
    run = commands.add_parser(
        "run",
        help="a live session now, through the sound card",
        description="A live session now, through microphone and loudspeaker. Try them with "
        "`coach check`. Say stop to end it, or press Ctrl-C: what there is so far is kept.",
        epilog=f"Plans: {', '.join(plan_names())}.",
    )
    run.add_argument("plan", metavar="PLAN", help="one of the plans below, or a file of your own")
    who = run.add_mutually_exclusive_group()
    who.add_argument(
        "--participants",
        type=_people,
        default=(1,),
        metavar="N",
        help="a group of so many, 1 to 20, with the numbers 1 to N",
    )
    who.add_argument(
        "--number", type=_number, metavar="K", help="who practises alone, if not number 1"
    )
    run.add_argument(
        "--with-instructor",
        action="store_true",
        help="an instructor is in the room; without one, a hold stays under the personal best",
    )
    _ours(run, _run)
    listen = commands.add_parser(
        "listen",
        help="stay ready: wait for the name, start by voice",
        description="Stay ready for hours, through microphone and loudspeaker. Say the name "
        "(listen.name in the settings, else coach), then help: it tells what can be said. "
        "Ctrl-C ends it; everything is kept.",
    )
    _ours(listen, _listen)


def _listening(commands: argparse._SubParsersAction[_Parser]) -> None:
    hear = commands.add_parser("hear", help="what the ear hears in recordings")
    hear.add_argument("files", nargs="+", type=Path, metavar="FILE")
    hear.add_argument("--grammar", metavar="G", help="a file of grammars/, or a path")
    hear.add_argument("--json", action="store_true", help="one JSON object a line")
    _ours(hear, _hear)
    check = commands.add_parser(
        "check",
        help="what works here, and how to mend what does not",
        description="What works here, and how to mend what does not, in less than two minutes: "
        "devices, noise, the way of the sound, its own words, and whether it hears you say stop. "
        "The exit code is 0 if a practice would work, else 1.",
    )
    check.add_argument("--json", action="store_true", help="one JSON object instead of the lines")
    check.add_argument(
        "--no-person", action="store_true", help="leave out what somebody has to say"
    )
    check.add_argument(
        "--store", action="store_true", help="write the found delay and gain into your settings"
    )
    check.add_argument(
        "--contact", action="store_true", help="also run contact.command of the settings as a test"
    )
    _ours(check, _check)


def _afterwards(commands: argparse._SubParsersAction[_Parser]) -> None:
    review = commands.add_parser("review", help="the spoken summary, last session or a span")
    review.add_argument("--next", action="store_true", help="what to practise next, and why")
    how = review.add_mutually_exclusive_group()
    how.add_argument("--text", action="store_true", help="print it (what happens without a choice)")
    how.add_argument("--speak", action="store_true", help="through the loudspeaker")
    how.add_argument("--wav", type=Path, metavar="FILE", help="into a sound file")
    report = commands.add_parser("report", help="the same to look at, as one HTML file")
    report.add_argument("--out", type=Path, default=Path("report.html"), metavar="FILE")
    for sub, call in ((review, _review), (report, _report)):
        _span(sub)
        sub.add_argument("--person", metavar="WHO", help="a name or number")
        _ours(sub, call)
    export = commands.add_parser("export", help="the records in another form, on standard output")
    export.add_argument("--format", choices=("csv", "json", "ics", "vtt"), required=True)
    export.add_argument("--session", default="last", help="for vtt: which one")
    _span(export)
    _ours(export, _export)
    records = commands.add_parser(
        "records",
        help="look after what is kept: " + ", ".join(USES),
        epilog="\n".join(f"{action} {use}" for action, use in USES.items()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    records.add_argument("action", choices=tuple(USES))
    records.add_argument("words", nargs="*", metavar="WORD")
    _ours(records, _records)


def _span(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--since", type=_day, metavar="DAY", help="such as 2026-11-01")
    parser.add_argument("--until", type=_day, metavar="DAY")


def _ours(parser: argparse.ArgumentParser, call: object) -> None:
    """What every command takes."""
    parser.add_argument("--config", type=Path, metavar="FILE", help="settings of your own")
    parser.add_argument("--model", metavar="FOLDER", help="a Vosk model of your own")
    parser.add_argument("--voice", choices=("natural", "espeak"), help="how the coach speaks")
    parser.set_defaults(call=call)


def _people(text: str) -> tuple[int, ...]:
    return tuple(range(1, _number(text) + 1))


def _number(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 20:
        raise argparse.ArgumentTypeError("must be a number from 1 to 20")
    return int(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError("must be a day such as 2026-11-01") from None


# --- commands ---------------------------------------------------------------------------


def _show(at_s: float, who: str, what: str) -> None:
    """One line of the conversation: room time, who, what."""
    print(f"{int(at_s // 60):3d}:{at_s % 60:04.1f}  {who:<8} {what}", flush=True)


def _settings(arguments: argparse.Namespace) -> Settings:
    settings = load_settings(arguments.config)
    if arguments.voice:
        settings = replace(settings, voice=replace(settings.voice, name=arguments.voice))
    return settings


def _equipment(arguments: argparse.Namespace) -> Equipment:
    from coach.app.equipment import Equipment

    return Equipment.of(_settings(arguments), arguments.model)


def _demo(arguments: argparse.Namespace) -> int:
    arguments.scene = "demo"
    return _simulate(arguments)


def _simulate(arguments: argparse.Namespace) -> int:
    from coach.app.simulated import simulate

    return simulate(arguments.scene, arguments.out, _equipment(arguments), _show, print)


def _run(arguments: argparse.Namespace) -> int:
    from coach.app.live import run_live

    numbers = (arguments.number,) if arguments.number else arguments.participants
    alone = not arguments.with_instructor
    equipment = _equipment(arguments)
    return run_live(arguments.plan, numbers, alone=alone, equipment=equipment, show=_show)


def _listen(arguments: argparse.Namespace) -> int:
    from coach.app.live import listen_live

    return listen_live(_equipment(arguments), _show)


def _hear(arguments: argparse.Namespace) -> int:
    from coach.ear.model import SpeechModel, find_model
    from coach.ear.recordings import run_hear

    settings = _settings(arguments)
    model = SpeechModel(find_model(arguments.model, settings.ear.model))
    return run_hear(
        arguments.files,
        arguments.grammar,
        model,
        arguments.json,
        settings.ear,
        settings.listen.name,
    )


def _check(arguments: argparse.Namespace) -> int:
    from coach.app.checking import check

    store = (arguments.config or user_config_path()) if arguments.store else None
    return check(
        _settings(arguments),
        arguments.model,
        as_json=arguments.json,
        ask=not arguments.no_person,
        store=store,
        contact=arguments.contact,
    )


def _made_review(arguments: argparse.Namespace) -> Review:
    from coach.app.afterwards import Review

    span = arguments.since, arguments.until
    what_next = getattr(arguments, "next", False)
    return Review(_settings(arguments), *span, arguments.person, what_next=what_next)


def _review(arguments: argparse.Namespace) -> int:
    review = _made_review(arguments)
    if arguments.wav:
        review.write(arguments.wav)
    elif arguments.speak:
        review.speak()
    else:
        review.print(print)
    return 0


def _report(arguments: argparse.Namespace) -> int:
    arguments.out.write_text(_made_review(arguments).page(), encoding="utf-8")
    print(f"written: {arguments.out}")
    return 0


def _export(arguments: argparse.Namespace) -> int:
    from coach.app.afterwards import export

    settings = _settings(arguments)
    span = arguments.since, arguments.until
    sys.stdout.write(export(settings, arguments.format, *span, arguments.session))
    return 0


def _records(arguments: argparse.Namespace) -> int:
    from coach.app.afterwards import records

    return records(_settings(arguments), arguments.action, arguments.words, print)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code. Bad input is one line and exit code 2."""
    arguments = _parser().parse_args(argv)
    try:
        code: int = arguments.call(arguments)
        sys.stdout.flush()
    except (BadInput, VoiceError) as error:
        print(f"coach: {error}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        sys.stderr.close()
        return EARLY
    except KeyboardInterrupt:  # where nothing is kept that has to be ended in order
        return EARLY
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        print(f"coach: {where}{error.strerror or error}", file=sys.stderr)
        return EARLY
    return code


if __name__ == "__main__":
    sys.exit(main())

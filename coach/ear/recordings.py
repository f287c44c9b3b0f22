"""What the ear hears in recordings: `coach hear`."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal, TextIO

import numpy as np
import soundfile
import soxr

from coach.border import BadInput
from coach.ear.grammar import grammar_path, load_grammar
from coach.ear.listener import Listener
from coach.ear.model import SpeechModel
from coach.ports import EAR_RATE_HZ, Audio, Block
from coach.practice.events import Heard, Knocks
from coach.settings import EarSettings

DEFAULT_GRAMMAR = "recording"
BLOCK_S = 0.1
LEAD_S = 0.5  # silence before and behind, so that a recording may begin and end with speech
TRAIL_S = 1.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing heard in a recording; times in seconds of the recording."""

    file: str
    kind: Literal["command", "number"]
    value: str | int  # the command's name or the number
    text: str
    onset_s: float
    end_s: float
    confidence: float


def read_recording(path: Path) -> Audio:
    """A sound file of any rate, width and number of channels at EAR_RATE_HZ. Raises BadInput."""
    if not path.is_file():
        raise BadInput(f"{path}: there is no such file")
    try:
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError, OSError):
        raise BadInput(
            f"{path}: is not a sound file that can be read; give WAV, FLAC, OGG or MP3"
        ) from None
    if not np.isfinite(samples).all():
        raise BadInput(f"{path}: has samples that are not numbers; export it again")
    mono: Audio = samples.mean(axis=1, dtype=np.float32)
    if rate_hz == EAR_RATE_HZ:
        return mono
    converted: Audio = soxr.resample(mono, rate_hz, EAR_RATE_HZ).astype(np.float32)
    return converted


def hear_samples(
    samples: Audio,
    model: SpeechModel,
    grammar: str = DEFAULT_GRAMMAR,
    settings: EarSettings | None = None,
    name_of_coach: str = "coach",
) -> list[Heard]:
    """What is heard in samples at EAR_RATE_HZ; times from their start."""
    ear = Listener(model, settings, name_of_coach)
    ear.attend(grammar, Knocks.OFF)
    silences = np.zeros(round(LEAD_S * EAR_RATE_HZ)), np.zeros(round(TRAIL_S * EAR_RATE_HZ))
    padded = np.concatenate([silences[0], samples, silences[1]]).astype(np.float32)
    heard: list[Heard] = []
    step = round(BLOCK_S * EAR_RATE_HZ)
    for at in range(0, len(padded), step):
        part = padded[at : at + step]
        block = Block(at / EAR_RATE_HZ - LEAD_S, part, np.zeros_like(part))
        heard += [event for event in ear.feed(block) if isinstance(event, Heard)]
    return heard


def hear(
    paths: Sequence[Path],
    grammar: str | None,
    model: SpeechModel,
    settings: EarSettings | None = None,
    name_of_coach: str = "coach",
) -> Iterator[Finding | BadInput]:
    """Findings of the files in order; a file that cannot be read gives its BadInput instead."""
    name = grammar or DEFAULT_GRAMMAR
    load_grammar(grammar_path(name), name_of_coach)  # a bad one is told before all else
    for path in paths:
        try:
            samples = read_recording(path)
        except BadInput as problem:
            yield problem
            continue
        for event in hear_samples(samples, model, name, settings, name_of_coach):
            yield from findings(str(path), event)


def findings(file: str, event: Heard) -> Iterator[Finding]:
    """What one event says: a command, a number, or both ("no, fifteen")."""
    said = event.text, round(event.onset_s, 3), round(event.end_s, 3), round(event.confidence, 3)
    if event.command is not None and event.command != "number":
        yield Finding(file, "command", str(event.command), *said)
    if event.number is not None:
        yield Finding(file, "number", event.number, *said)


def run_hear(
    paths: Sequence[Path],
    grammar: str | None,
    model: SpeechModel,
    as_json: bool = False,
    settings: EarSettings | None = None,
    name_of_coach: str = "coach",
    out: TextIO | None = None,
    errors: TextIO | None = None,
) -> int:
    """Print what is heard; 0, or 2 if a file was no sound file. A bad grammar raises BadInput."""
    out, errors = out or sys.stdout, errors or sys.stderr
    code = 0
    for found in hear(paths, grammar, model, settings, name_of_coach):
        if isinstance(found, BadInput):
            print(found, file=errors)
            code = 2
        elif as_json:
            print(json.dumps(asdict(found)), file=out, flush=True)
        else:
            print(_line(found), file=out, flush=True)
    return code


def _line(found: Finding) -> str:
    return (
        f"{found.file}: {found.onset_s:.2f}-{found.end_s:.2f} s  {found.kind} {found.value}"
        f'  "{found.text}"  confidence {found.confidence:.2f}'
    )

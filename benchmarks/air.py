"""Computed rooms whose truth is known, and what two ears make of them.

Rooms: reverberation 0.3 s, a loudspeaker that distorts a little, pink noise at -60 dB. Voices are
synthetic, so the figures compare ways of hearing; they do not predict people.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchmarks.plain_script import CHUNK_S, PlainEar
from coach.app.equipment import Equipment
from coach.ear.frames import level_db
from coach.ports import EAR_RATE_HZ, Audio, Block
from coach.practice.events import Heard, Knocked, Knocks
from coach.room.echo import EchoPath, noise_loop
from coach.room.scene import Echo

FRAMES = EAR_RATE_HZ // 50
CHUNK = round(CHUNK_S * EAR_RATE_HZ)
SPEECH_DB = -26.0
NOISE_DB = -60.0
NEAR_S = 1.0  # an event this near to a word answers it


@dataclass(frozen=True, slots=True)
class Said:
    """What a person did in a track, a word or "knock 2", and when it sounded."""

    what: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Noticed:
    """What an ear made of it: a command or "knock 2", its onset, and when it was told."""

    what: str
    onset_s: float
    at_s: float
    text: str = ""


def at_level(samples: Audio, db: float) -> Audio:
    """The samples with that level while they sound."""
    loud = samples[np.abs(samples) > 0.02 * np.abs(samples).max()]
    return samples * np.float32(10 ** ((db - level_db(loud)) / 20))


def lines_without_values(equipment: Equipment) -> list[str]:
    """Their names."""
    lines = equipment.lines
    return sorted(name for name in lines.names() if not lines.values_of(name))


def coach_speech(equipment: Equipment) -> list[Audio]:
    """Every line that needs no values, as the coach speaks it."""
    texts = [equipment.lines.text(name, {}) for name in lines_without_values(equipment)]
    return [equipment.voice.speak(text, EAR_RATE_HZ).samples for text in texts]


def track(pieces: Sequence[Audio], gap_s: float) -> Audio:
    """Pieces one after the other with silence between."""
    gap = np.zeros(round(gap_s * EAR_RATE_HZ), np.float32)
    return np.concatenate([part for piece in pieces for part in (gap, piece)] + [gap])


def echo_of(played: Audio, echo_db: float, rng: np.random.Generator, delay_s: float) -> Audio:
    """What comes back of it, at a level of its own."""
    path = EchoPath(Echo(delay_s, 0.0, 0.3, -6.0, 0.05), EAR_RATE_HZ, FRAMES, rng)
    whole = len(played) // FRAMES * FRAMES
    heard = np.concatenate(
        [path.through(played[at : at + FRAMES]) for at in range(0, whole, FRAMES)]
    )
    return at_level(np.pad(heard, (0, len(played) - whole)), echo_db)


def with_noise(samples: Audio, rng: np.random.Generator) -> Audio:
    noise = noise_loop(NOISE_DB, EAR_RATE_HZ, rng)
    repeats = -(-len(samples) // len(noise))
    noisy = samples + np.tile(noise, repeats)[: len(samples)]
    return np.asarray(np.clip(noisy, -1, 1), np.float32)


def blocks(microphone: Audio, played: Audio) -> Iterator[Block]:
    for at in range(0, len(microphone), 2 * FRAMES):
        end = at + 2 * FRAMES
        yield Block(at / EAR_RATE_HZ, microphone[at:end], played[at:end])


def heard_in(
    equipment: Equipment, microphone: Audio, played: Audio, situation: str = "hold"
) -> list[Noticed]:
    """Every command and knock that the coach's ear finds."""
    ear = equipment.ear()
    ear.attend(situation, Knocks.MARKS if situation.endswith("hold") else Knocks.OFF)
    found = []
    for block in blocks(microphone, played):
        for event in ear.feed(block):
            if isinstance(event, Heard):
                what = event.command or event.text
                found.append(Noticed(what, event.onset_s, event.at_s, event.text))
            elif isinstance(event, Knocked):
                found.append(Noticed(f"knock {event.count}", event.onset_s, event.at_s))
    return found


def plainly_heard(ear: PlainEar, microphone: Audio) -> list[Noticed]:
    """The same of the plain script's ear.

    It is let listen all the time. In the script it does not while it speaks, and hears nothing
    that is said then.
    """
    ear.begin()
    found = []
    for at in range(0, len(microphone), CHUNK):
        now_s = (at + CHUNK) / EAR_RATE_HZ
        samples = microphone[at : at + CHUNK]
        if word := ear.words(samples):
            found.append(Noticed(word, now_s, now_s, word))
        found += [Noticed(f"knock {count}", at_s, now_s) for at_s, count in ear.knocks(samples)]
    return found


def commands(found: Iterable[Noticed]) -> list[Noticed]:
    """Without the knocks."""
    return [one for one in found if not one.what.startswith("knock")]


def knocks(found: Iterable[Noticed], count: int) -> list[Noticed]:
    """Only knocks of that many."""
    return [one for one in found if one.what == f"knock {count}"]


def matched(said: Sequence[Said], noticed: Sequence[Noticed]) -> dict[str, Any]:
    """What was said against what was noticed; nothing answers more than once."""
    errors, waits, left = [], [], list(noticed)
    for one in said:
        for event in left:
            near = one.start_s - NEAR_S < event.onset_s < one.end_s + NEAR_S
            if event.what == one.what and near:
                errors.append(abs(event.onset_s - one.start_s))
                waits.append(event.at_s - one.end_s)
                left.remove(event)
                break
    return {
        "heard": f"{len(errors)} of {len(said)}",
        "onset_error_p50_s": _percentile(errors, 50),
        "onset_error_p95_s": _percentile(errors, 95),
        "reaction_p50_s": _percentile(waits, 50),
        "reaction_p95_s": _percentile(waits, 95),
        "false": len(left),
    }


def _percentile(values: list[float], which: float) -> float | None:
    return round(float(np.percentile(values, which)), 3) if values else None

"""Air for the ear's tests: voices at exact times, noise, knocks, the coach's echo."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from coach.ear.scripted import Knock, Said
from coach.ports import EAR_RATE_HZ, Audio, Block, Ear, EarEvent
from coach.voice.choose import participant_voice

NOISE_DB = -62.0
NATURAL = "natural"
BRITON = "espeak:en-gb+m3@150"


@cache
def clip(text: str, voice: str = NATURAL) -> Audio:
    """`text` in a voice, without silence before and behind."""
    samples: Audio = participant_voice(voice).speak(text, EAR_RATE_HZ).samples
    power = np.convolve(samples**2, np.ones(160) / 160, "same")
    loud = np.flatnonzero(power > power.max() * 1e-3)
    trimmed: Audio = samples[loud[0] : loud[-1]]
    return trimmed


def said(text: str, onset_s: float, voice: str = NATURAL) -> Said:
    """`text` in the air from `onset_s` to the end of its clip."""
    return Said(onset_s, onset_s + len(clip(text, voice)) / EAR_RATE_HZ, text)


def knock_sound(seed: int = 0) -> Audio:
    """A knuckle on wood: a click and two modes that ring for some 15 ms."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(0.12 * EAR_RATE_HZ)) / EAR_RATE_HZ
    ring = np.sin(2 * np.pi * 180 * t) + 0.6 * np.sin(2 * np.pi * 420 * t)
    sound = (ring + 0.5 * rng.standard_normal(len(t)) * (t < 0.004)) * np.exp(-t / 0.015)
    scaled: Audio = (0.3 * sound / np.abs(sound).max()).astype(np.float32)
    return scaled


@dataclass(frozen=True, slots=True)
class Air:
    """What the microphone and the loudspeaker have, from room time 0."""

    microphone: Audio
    played: Audio

    def blocks(self, block_s: float = 0.02) -> Iterator[Block]:
        """The air in blocks of a size."""
        step = round(block_s * EAR_RATE_HZ)
        for at in range(0, len(self.microphone), step):
            yield Block(
                at / EAR_RATE_HZ, self.microphone[at : at + step], self.played[at : at + step]
            )


def air(
    script: Sequence[Said | Knock],
    length_s: float,
    voice: str = NATURAL,
    coach: Mapping[float, Audio] | None = None,
    noise_db: float = NOISE_DB,
    echo_db: float = -6.0,
) -> Air:
    """The script in a noisy room, with what the coach plays coming back from it."""
    rng = np.random.default_rng(7)
    frames = round(length_s * EAR_RATE_HZ)
    microphone = (rng.standard_normal(frames) * 10 ** (noise_db / 20)).astype(np.float32)
    played = np.zeros(frames, np.float32)
    for item in script:
        if isinstance(item, Said):
            _lay(microphone, item.onset_s, clip(item.text, voice))
        else:
            for number in range(item.count):
                _lay(microphone, item.onset_s + 0.3 * number, knock_sound())
    for start_s, samples in (coach or {}).items():
        _lay(played, start_s, samples)
    if coach:
        microphone += np.convolve(played, _room(echo_db))[:frames].astype(np.float32)
    return Air(microphone, played)


def _lay(into: Audio, at_s: float, samples: Audio) -> None:
    at = round(at_s * EAR_RATE_HZ)
    into[at : at + len(samples)] += samples[: len(into) - at]


def _room(echo_db: float) -> Audio:
    """Response of a small room, 20 ms away, a quarter second of reverberation."""
    rng = np.random.default_rng(3)
    t = np.arange(round(0.25 * EAR_RATE_HZ)) / EAR_RATE_HZ
    tail = rng.standard_normal(len(t)) * np.exp(-t / 0.04)
    response = np.concatenate([np.zeros(320), tail])
    response[320] = 4 * np.abs(tail).max()
    scaled: Audio = response / np.sqrt(np.sum(response**2)) * 10 ** (echo_db / 20)
    return scaled


def listen(ear: Ear, air: Air, block_s: float = 0.02) -> list[EarEvent]:
    """All events of the air."""
    return [event for block in air.blocks(block_s) for event in ear.feed(block)]

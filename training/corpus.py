"""A corpus on disk: ``NAME.opus`` (clips joined, 16 kHz mono) and ``NAME.json`` (what is where)."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

RATE = 16000
Sound = npt.NDArray[np.float32]
LONGEST_S = 5.0
_OPUS_DELAY_SAFE_GAP = 320


@dataclass(frozen=True, slots=True)
class Clip:
    """``frames`` samples at ``start`` of the joined sound: ``words`` said by ``speaker``."""

    start: int
    frames: int
    words: tuple[str, ...]
    speaker: str
    split: str = "train"


def trimmed(
    sound: Sound, margin_s: float = 0.03, floor_db: float = -40.0, longest_s: float = LONGEST_S
) -> Sound | None:
    """The part with speech in it, peak at half scale; None if there is none or it is too long.

    Speech is what lies less than ``-floor_db`` under the loudest 10 ms.
    """
    if len(sound) < 800:
        return None
    power = np.convolve(sound * sound, np.ones(160, np.float32) / 160, "same")
    loud = np.flatnonzero(power > max(float(power.max()) * 10 ** (floor_db / 10), 1e-8))
    if not len(loud):
        return None
    margin = int(margin_s * RATE)
    cut = sound[max(0, loud[0] - margin) : loud[-1] + margin]
    if not 0.1 * RATE <= len(cut) <= longest_s * RATE:
        return None
    return (cut * (0.5 / float(np.abs(cut).max()))).astype(np.float32)


def write(path: Path, said: Iterable[tuple[Sound, tuple[str, ...], str]]) -> list[Clip]:
    """Join (sound, words, speaker) into ``path``.opus and .json; returns the index."""
    clips: list[Clip] = []
    position = 0
    gap = np.zeros(_OPUS_DELAY_SAFE_GAP, np.float32)
    with soundfile.SoundFile(
        path.with_suffix(".opus"), "w", RATE, 1, format="OGG", subtype="OPUS"
    ) as out:
        for sound, words, speaker in said:
            out.write(np.concatenate([sound, gap]))
            clips.append(Clip(position, len(sound), words, speaker))
            position += len(sound) + len(gap)
    rows = [[c.start, c.frames, " ".join(c.words), c.speaker, c.split] for c in clips]
    path.with_suffix(".json").write_text(json.dumps(rows), "utf-8")
    return clips


def read(path: Path) -> tuple[npt.NDArray[np.int16], list[Clip]]:
    """The joined sound and the index of ``path``.opus and .json."""
    sound, rate = soundfile.read(path.with_suffix(".opus"), dtype="int16")
    if rate != RATE:
        raise ValueError(f"{path}.opus: {rate} Hz, expected {RATE}")
    return sound, read_index(path)


def read_index(path: Path) -> list[Clip]:
    """The index alone; both our own form and the human recordings' are read."""
    raw = json.loads(path.with_suffix(".json").read_text("utf-8"))
    if isinstance(raw, dict):
        return [
            Clip(c["start"], c["frames"], (c["word"],), c["speaker"], c["split"])
            for c in raw["clips"]
        ]
    return [
        Clip(start, frames, tuple(text.split()), who, split)
        for start, frames, text, who, split in raw
    ]

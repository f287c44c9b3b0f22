"""Batches of utterances: which clips, joined how, and the graph of what they say."""

import random
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor

from training import corpus
from training.augment import Segments
from training.corpus import RATE, Clip
from training.kokoro import read_shards
from training.lexicon import HERE, Lexicon, build_lexicon, read_words
from training.lfmmi import Numerator, Phones, Walk, spell, stack
from training.phones import GROUPS

MOST_CLIPS = 3
LONGEST_S = 5.0
OUTPUT_STEP = 480  # samples per output frame
EARLY_TOLERANCE_S, LATE_TOLERANCE_S = 0.05, 0.06
SPEECH_FLOOR_DB = -34.0


def speech_bounds(sound: npt.NDArray[np.int16]) -> tuple[int, int]:
    """First and last sample of a clip that is not far under its loudest 10 ms."""
    power = np.concatenate([[0.0], np.cumsum(sound.astype(np.float64) ** 2)])
    local = power[160:] - power[:-160]
    loud = np.flatnonzero(local > local.max() * 10 ** (SPEECH_FLOOR_DB / 10))
    return int(loud[0]) + 80, int(loud[-1]) + 80


@dataclass(frozen=True, slots=True)
class Source:
    """One corpus in the joined sound: its clips with their speech bounds, and its weight."""

    clips: list[tuple[Clip, int, int]]
    weight: float
    human: bool


@dataclass(slots=True)
class Pool:
    """All training sound, joined, and the clips by source."""

    sound: npt.NDArray[np.int16]
    sources: list[Source]
    lexicon: Lexicon
    phones: Phones = field(init=False)

    def __post_init__(self) -> None:
        rng = random.Random(1)
        clips = [clip for source in self.sources for clip, _, _ in source.clips]
        walks = []
        for clip in rng.choices(clips, k=60000):
            walk = [0]
            for word in clip.words:
                walk += [GROUPS.index(p) for p in rng.choice(self.lexicon[word])]
                walk += [0] if rng.random() < 0.35 else []
            walks.append(walk if walk[-1] == 0 else [*walk, 0])
        self.phones = Phones.counted(walks)


def full_lexicon(extra: Sequence[str] = ()) -> Lexicon:
    """Vocabulary, other words and whatever else the recordings say."""
    words = [*read_words(), *read_words(HERE / "other_words.txt"), *extra]
    return build_lexicon(dict.fromkeys(words))


def _shards(folder: Path) -> tuple[npt.NDArray[np.int16], list[Clip]]:
    """What :mod:`training.kokoro` wrote so far."""
    sounds, clips, position = [np.zeros(0, np.int16)], [], 0
    for sound, words, speaker in read_shards(folder):
        sounds.append((sound * 32768).astype(np.int16))
        clips.append(Clip(position, len(sound), words, speaker))
        position += len(sound)
    return np.concatenate(sounds), clips


def load_pool(weighted: Sequence[tuple[Path, float]]) -> Pool:
    """Read corpora (files or folders of shards) with their weights; "human*" are recordings."""
    joined, sources, offset = [], [], 0
    for path, weight in weighted:
        sound, clips = _shards(path) if path.is_dir() else corpus.read(path)
        kept = []
        for clip in clips:
            if clip.split == "train" and 1200 <= clip.frames <= LONGEST_S * RATE:
                onset, offset_ = speech_bounds(sound[clip.start : clip.start + clip.frames])
                moved = Clip(clip.start + offset, clip.frames, clip.words, clip.speaker)
                kept.append((moved, onset, offset_))
        if kept:
            sources.append(Source(kept, weight, path.name.startswith("human")))
        joined.append(sound)
        offset += len(sound)
    words = {w for source in sources for clip, _, _ in source.clips for w in clip.words}
    return Pool(np.concatenate(joined), sources, full_lexicon(sorted(words)))


@dataclass(frozen=True, slots=True)
class Batch:
    """Clips to assemble, the samples they fill, what they say and in which output frames."""

    segments: Segments
    samples: int
    numerator: Numerator
    speech_time: Tensor

    def to(self, device: torch.device) -> "Batch":
        s = self.segments
        parts = (s.start, s.length, s.begin, s.speed, s.human)
        moved = Segments(*(t.to(device, non_blocking=True) for t in parts))
        time = self.speech_time.to(device, non_blocking=True)
        return Batch(moved, self.samples, self.numerator.to(device), time)


@dataclass(frozen=True, slots=True)
class _Utterance:
    clips: list[tuple[Clip, int, int]]
    begins: list[int]
    speed: float
    human: bool
    samples: int

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(word for clip, _, _ in self.clips for word in clip.words)

    @property
    def speech(self) -> tuple[float, float]:
        """Seconds from the first sound to the last."""
        first = self.begins[0] + self.clips[0][1] / self.speed
        last = self.begins[-1] + self.clips[-1][2] / self.speed
        return first / RATE, last / RATE


class Batches(torch.utils.data.IterableDataset[Batch]):
    """Batches without end; every worker has dice of its own."""

    def __init__(self, pool: Pool, size: int, seed: int, human_balance: float = 0.6) -> None:
        self.pool, self.size, self.seed = pool, size, seed
        self.human_balance = human_balance

    def __iter__(self) -> Iterator[Batch]:
        info = torch.utils.data.get_worker_info()
        rng = random.Random(self.seed * 1000 + (info.id if info else 0))
        draw = self._drawer(rng)
        walks: dict[tuple[str, ...], Walk] = {}
        while True:
            drawn = sorted(
                (self._utterance(draw, rng) for _ in range(self.size * 16)), key=lambda u: u.samples
            )
            groups = [drawn[i : i + self.size] for i in range(0, len(drawn), self.size)]
            rng.shuffle(groups)
            for group in groups:
                for utterance in group:
                    if utterance.words not in walks:
                        walks[utterance.words] = spell(utterance.words, self.pool.lexicon)
                yield self._batch(group, [walks[u.words] for u in group])

    def _drawer(self, rng: random.Random):  # type: ignore[no-untyped-def]
        """A function giving a source and one of its clips; rare human words come up more often."""
        weights = [source.weight for source in self.pool.sources]
        tables = []
        for source in self.pool.sources:
            share: dict[tuple[str, ...], int] = defaultdict(int)
            for clip, _, _ in source.clips:
                share[clip.words] += 1
            power = self.human_balance - 1 if source.human else 0.0
            each = [share[clip.words] ** power for clip, _, _ in source.clips]
            tables.append(np.cumsum(each))

        def draw(human: bool | None = None):  # type: ignore[no-untyped-def]
            while True:
                number = rng.choices(range(len(weights)), weights)[0]
                source = self.pool.sources[number]
                if human is None or source.human == human:
                    break
            place = int(np.searchsorted(tables[number], rng.random() * tables[number][-1]))
            return source, source.clips[place]

        return draw

    def _utterance(self, draw, rng: random.Random) -> _Utterance:  # type: ignore[no-untyped-def]
        source, first = draw()
        clips = [first]
        if rng.random() < (0.3 if source.human else 0.08):
            for _ in range(rng.randint(1, MOST_CLIPS - 1)):
                _, another = draw(source.human)
                if sum(c.frames for c, _, _ in clips) + another[0].frames < 3.5 * RATE:
                    clips.append(another)
        speed = rng.uniform(0.86, 1.16) if source.human else rng.uniform(0.8, 1.22)
        at = int(rng.uniform(0.08, 0.6) * RATE)
        begins = []
        for clip, _, _ in clips:
            begins.append(at)
            at += int(clip.frames / speed + rng.uniform(0.0, 0.35) * RATE)
        at += int(rng.uniform(0.15, 0.6) * RATE)
        return _Utterance(clips, begins, speed, source.human, at)

    def _batch(self, group: list[_Utterance], walks: list[Walk]) -> Batch:
        samples = OUTPUT_STEP * -(-max(u.samples for u in group) // OUTPUT_STEP) + 240
        start, length, begin = np.zeros((3, len(group), MOST_CLIPS), np.int64)
        speech = np.zeros((len(group), 2))
        for b, utterance in enumerate(group):
            for k, ((clip, _, _), at) in enumerate(
                zip(utterance.clips, utterance.begins, strict=True)
            ):
                start[b, k], length[b, k], begin[b, k] = clip.start, clip.frames, at
            speech[b] = utterance.speech
        frames = (samples - 240) // OUTPUT_STEP
        moment = np.arange(frames)[None] * 0.03
        inside = (moment >= speech[:, :1] - EARLY_TOLERANCE_S) & (
            moment <= speech[:, 1:] + LATE_TOLERANCE_S
        )
        segments = Segments(
            torch.from_numpy(start),
            torch.from_numpy(length),
            torch.from_numpy(begin),
            torch.tensor([[u.speed] for u in group]),
            torch.tensor([[u.human] for u in group]),
        )
        return Batch(segments, samples, stack(walks, self.pool.phones), torch.from_numpy(inside))

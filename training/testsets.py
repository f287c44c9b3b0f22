"""What recognisers are tried on: single utterances, and long speech meant for nobody."""

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby, product
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from training import corpus
from training.corpus import RATE, Sound
from training.situations import DIGIT_WORDS, GRAMMARS
from training.texts import below_hundred
from training.voices import to_rate

PROMPTS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")  # asterisk-core-sounds-en-g722
SPHINX_DATA = Path("/usr/share/pocketsphinx/test/data")  # pocketsphinx-testdata
# Words of the hold grammar that are really said there, found with a large-vocabulary recogniser.
PROMPTS_THAT_SAY = {"demo-congrats": frozenset({"help"}), "vm-helpexit": frozenset({"help"})}
STREAM_S = 600.0
PAUSE_S = 0.25  # between two sentences of a stream
RANKS = "ace two three four five six seven eight nine ten jack queen king lady".split()  # noqa: SIM905
SUITS = "clubs hearts diamonds spades".split()  # noqa: SIM905


@dataclass(frozen=True, slots=True)
class Item:
    """One utterance; its ``key`` seeds the conditions, so that they are the same for everybody."""

    key: str
    sound: Sound
    said: str


@dataclass(frozen=True, slots=True)
class Trial:
    """Utterances that are heard with one grammar."""

    name: str
    grammar: str
    phrases: Sequence[str]
    items: Sequence[Item]


def trial(name: str, grammar: str, items: Iterable[Item], most: int | None = None) -> Trial:
    """The items that a grammar of :mod:`training.situations` holds, ``most`` of them by lot."""
    phrases = GRAMMARS[grammar]
    allowed = set(phrases)
    fitting = [item for item in items if item.said in allowed]
    random.Random(0).shuffle(fitting)
    return Trial(name, grammar, phrases, fitting[:most])


def foreign(items: Iterable[Item], grammar: str, most: int | None = None) -> list[Item]:
    """Items that hold no word of the grammar."""
    known = {word for phrase in GRAMMARS[grammar] for word in phrase.split()}
    others = [item for item in items if not known & set(item.said.split())]
    random.Random(1).shuffle(others)
    return others[:most]


def to_float(samples: npt.NDArray[np.int16]) -> Sound:
    return (samples / np.float32(32768)).astype(np.float32)


def clips_of(path: Path, split: str | None = None) -> list[Item]:
    """The clips of a corpus, or of one ``split`` of it."""
    sound, clips = corpus.read(path)
    return [
        Item(
            f"{path.name}:{clip.start}",
            to_float(sound[clip.start : clip.start + clip.frames]),
            " ".join(clip.words),
        )
        for clip in clips
        if split is None or clip.split == split
    ]


def read_g722(path: Path) -> Sound:
    import av

    with av.open(str(path), format="g722") as container:
        parts = [frame.to_ndarray().reshape(-1) for frame in container.decode(audio=0)]
    return to_float(np.concatenate(parts))


def number_prompts(folder: Path = PROMPTS) -> list[Item]:
    """The numbers of Debian's telephone prompts (one woman): 0..20, the tens, "hundred", "oh"."""
    said = {str(n): " ".join(below_hundred(n)) for n in [*range(21), *range(30, 100, 10)]}
    said |= {"oh": "oh", "hundred": "hundred"}
    files = [(folder / "digits" / f"{name}.g722", words) for name, words in said.items()]
    return [Item(path.name, read_g722(path), words) for path, words in files if path.is_file()]


def sphinx_trials(folder: Path = SPHINX_DATA) -> list[Trial]:
    """The test utterances of pocketsphinx that come with what they say, each with its grammar."""
    if not folder.is_dir():
        return []
    moves = [
        f"go {way} {distance} {unit}"
        for way, distance, unit in product(
            ("forward", "backward"), RANKS[1:10], ("meter", "meters")
        )
    ]
    cards = [*(f"{rank} of {suit}" for rank, suit in product(RANKS, SUITS)), *RANKS]
    drawn = [
        (
            folder / "cards" / f"{line.split('(')[1][:3]}.wav",
            " ".join(line.split("<")[1].split()[1:]),
        )
        for line in (folder / "cards" / "cards.transcription").read_text("ascii").splitlines()
    ]
    lone = {
        "moves": (moves, [(folder / "goforward.raw", "go forward ten meters")]),
        "digits": (
            DIGIT_WORDS,
            [(folder / "tidigits" / "dhd.2934z.raw", "two nine three four zero")],
        ),
        "cards": (cards, drawn),
    }
    return [
        Trial("pocketsphinx data", name, phrases, [_sphinx_item(*f) for f in files])
        for name, (phrases, files) in lone.items()
    ]


def _sphinx_item(path: Path, said: str) -> Item:
    if path.suffix == ".wav":
        sound, rate = soundfile.read(path, dtype="float32")
        return Item(path.name, to_rate(sound, rate), said)
    return Item(path.name, to_float(np.fromfile(path, "<i2")), said)


@dataclass(frozen=True, slots=True)
class Passage:
    """Seconds of a stream, and the words that were really said there."""

    start_s: float
    end_s: float
    words: frozenset[str]


@dataclass(frozen=True, slots=True)
class Stream:
    """Long speech that is meant for nobody."""

    name: str
    sound: Sound
    passages: Sequence[Passage]

    @property
    def hours(self) -> float:
        return len(self.sound) / RATE / 3600

    def really_said(self, word: str, at_s: float) -> bool:
        return any(p.start_s <= at_s <= p.end_s and word in p.words for p in self.passages)


def joined(name: str, said: Iterable[tuple[Sound, frozenset[str]]]) -> Stream:
    """Sentences one after another."""
    pause = np.zeros(round(PAUSE_S * RATE), np.float32)
    parts, passages, at = [pause], [], len(pause)
    for sound, words in said:
        parts += [sound, pause]
        until = at + len(sound) + len(pause)
        passages.append(Passage(at / RATE - PAUSE_S, until / RATE, words))
        at = until
    return Stream(name, np.concatenate(parts), passages)


def read_streams(path: Path, length_s: float = STREAM_S) -> list[Stream]:
    """What :mod:`training.read_aloud` made, by synthesiser, in streams of about ten minutes."""
    sound, clips = corpus.read(path)
    streams = []
    for engine, of_engine in groupby(clips, key=lambda clip: clip.speaker.split(":")[0]):
        spoken: list[tuple[Sound, frozenset[str]]] = []
        for clip in of_engine:
            cut = to_float(sound[clip.start : clip.start + clip.frames])
            spoken.append((cut, frozenset(clip.words)))
            if sum(len(s) for s, _ in spoken) >= length_s * RATE:
                streams.append(joined(engine, spoken))
                spoken = []
        if spoken:
            streams.append(joined(engine, spoken))
    return streams


def prompt_stream(folder: Path = PROMPTS) -> Stream | None:
    """Telephone prompts of a human, numbers aside; their texts do not come with them."""
    spoken = [
        (sound, PROMPTS_THAT_SAY.get(path.stem, frozenset()))
        for path in sorted(folder.glob("*.g722"))
        if len(sound := read_g722(path)) > 1.2 * RATE
    ]
    return joined("telephone prompts", spoken) if spoken else None


def book_stream(folder: Path = SPHINX_DATA) -> Stream | None:
    """Five sentences of a novel, read by a human."""
    transcripts = folder / "librivox" / "transcription"
    if not transcripts.is_file():
        return None
    spoken = []
    for line in transcripts.read_text("ascii").splitlines():
        words, name = line.replace("<s>", "").replace("</s>", "").rstrip(")").split("(")
        sound, rate = soundfile.read(folder / "librivox" / f"{name}.wav", dtype="float32")
        spoken.append((to_rate(sound, rate), frozenset(words.split())))
    return joined("book", spoken)


def noise_stream(path: Path) -> Stream:
    """Rooms and appliances without speech."""
    sound, rate = soundfile.read(path, dtype="float32")
    return Stream("background", to_rate(sound, rate), [])


def babble(streams: Sequence[Stream], voices: int = 5) -> list[Stream]:
    """``voices`` streams at once, equally loud, as often as there are such sets."""
    sums = []
    for first in range(len(streams) // voices):
        together = streams[first :: len(streams) // voices][:voices]
        length = min(len(s.sound) for s in together)
        levels = [s.sound[:length] / np.sqrt(np.mean(s.sound[:length] ** 2)) for s in together]
        total = np.sum(levels, 0)
        total = (total * (0.5 / np.abs(total).max())).astype(np.float32)
        sums.append(Stream("babble", total, [p for s in together for p in s.passages]))
    return sums

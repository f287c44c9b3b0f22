"""Held-out voices read long texts: ``python -m training.read_aloud --out read --hours 2.4``.

What comes out is a corpus (see :mod:`training.corpus`) of whole sentences: speech that is meant for
nobody, in which :mod:`training.evaluate` counts the commands that were heard all the same.
"""

import argparse
import random
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from training import corpus
from training.corpus import RATE
from training.voices import Said, espeak, festival, flite

TEXTS = Path("/usr/share/common-licenses")  # on every Debian machine, plain English, 200 kB
READERS = (espeak, festival, flite)
FEWEST_WORDS, MOST_WORDS = 4, 40
LONGEST_S = 30.0


def sentences(text: str) -> list[list[str]]:
    """The sentences of plain text as small words; what has digits or an address is left out."""
    found = []
    for sentence in re.split(r"(?<=[.;:!?])\s+|\n\s*\n", text):
        words = re.sub(r"[^\w\s'@/]|_", " ", sentence).lower().split()
        plain = all(re.fullmatch(r"[a-z]+('[a-z]+)?", word) for word in words)
        if plain and FEWEST_WORDS <= len(words) <= MOST_WORDS:
            found.append(words)
    return found


def read_texts(folder: Path) -> list[list[str]]:
    """The sentences of all files of ``folder``, each once: licences borrow from each other."""
    files = sorted(path for path in folder.iterdir() if path.is_file() and not path.is_symlink())
    all_of_them = [
        tuple(s) for path in files for s in sentences(path.read_text("utf-8", "replace"))
    ]
    return [list(sentence) for sentence in dict.fromkeys(all_of_them)]


def _for(seconds: float, said: Said) -> Said:
    spent = 0.0
    for sound, words, speaker in said:
        yield sound, words, speaker
        spent += len(sound) / RATE
        if spent >= seconds:
            return


def read(texts: Sequence[list[str]], hours: float, seed: int) -> Said:
    """Every reader reads for the same time, from a place of its own, over and over if need be."""
    rng = random.Random(seed)
    for number, reader in enumerate(READERS):
        first = number * len(texts) // len(READERS)
        endless = _round_and_round([*texts[first:], *texts[:first]])
        said = reader(endless, rng, held_out=True, longest_s=LONGEST_S)
        yield from _for(hours * 3600 / len(READERS), said)


def _round_and_round(texts: Sequence[list[str]]) -> Iterator[list[str]]:
    while True:
        yield from texts


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.read_aloud", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="path without ending")
    parser.add_argument("--texts", type=Path, default=TEXTS, help="folder of plain texts")
    parser.add_argument("--hours", type=float, default=2.4)
    parser.add_argument("--seed", type=int, default=0)
    o = parser.parse_args(arguments)
    o.out.parent.mkdir(parents=True, exist_ok=True)
    clips = corpus.write(o.out, read(read_texts(o.texts), o.hours, o.seed))
    print(f"{len(clips)} sentences, {sum(c.frames for c in clips) / RATE / 3600:.2f} h")


if __name__ == "__main__":
    main()

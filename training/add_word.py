"""Teach the ear a word without training: ``python -m training.add_word WORD [--phones ...]``."""

import argparse
import sys
from pathlib import Path

from training.graph import write_graph
from training.lexicon import LexiconError, build_lexicon, parse_phones, read_pronunciations

MODEL = Path(__file__).parent.parent / "coach" / "ear" / "model"


def add_word(word: str, phones: str | None, model: Path) -> list[str]:
    """Add ``word`` to the model's graph; returns its pronunciations. A known word gains one."""
    lexicon_path = model / "graph" / "lexicon.txt"
    if not lexicon_path.is_file():
        raise LexiconError(f"{model}: no graph/lexicon.txt there; is it one of our model folders?")
    lexicon = read_pronunciations(lexicon_path)
    said = [parse_phones(phones, word)] if phones else build_lexicon([word])[word]
    lexicon[word] = list(dict.fromkeys(lexicon.get(word, []) + said))
    write_graph(lexicon, model / "graph")
    return [" ".join(reading) for reading in lexicon[word]]


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="training.add_word", description=__doc__)
    parser.add_argument("word", help="in small letters, as the grammars write it")
    parser.add_argument("--phones", help='ARPAbet, e.g. "HH OW L D"; otherwise from CMUdict')
    parser.add_argument("--model", type=Path, default=MODEL, help="the model folder to change")
    options = parser.parse_args(arguments)
    word = options.word.lower()
    if not word or any(c.isspace() for c in word) or word.startswith(("[", "<", "#")):
        print(f"add_word: {options.word!r} is not one word", file=sys.stderr)
        return 2
    try:
        readings = add_word(word, options.phones, options.model)
    except LexiconError as fault:
        print(f"add_word: {fault}", file=sys.stderr)
        return 2
    print(f"{word}: {', '.join(readings)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

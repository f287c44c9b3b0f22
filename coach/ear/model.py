"""The speech model: a Vosk folder, found and checked before Vosk sees it.

Vosk ends the process on a broken folder or grammar, so both are looked through first.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import vosk

from coach.border import BadInput
from coach.ear.grammar import Grammar
from coach.ports import EAR_RATE_HZ

UNKNOWN = "[unk]"
# Published models come in two layouts; any of the names will do for each part.
PARTS = (
    ("am/final.mdl", "final.mdl"),
    ("conf/mfcc.conf", "mfcc.conf"),
    ("graph/words.txt", "words.txt"),
    ("graph/HCLr.fst", "HCLr.fst"),
    ("graph/Gr.fst", "Gr.fst"),
)

log = logging.getLogger(__name__)
vosk.SetLogLevel(-1)  # Vosk writes to stderr; what a user must know is said by this module


class SpeechModel:
    """A loaded Vosk model and the words it knows."""

    def __init__(self, folder: Path) -> None:
        check_folder(folder)
        self.folder = folder
        self._words = read_words(folder)
        if UNKNOWN not in self._words:
            raise BadInput(
                f"{folder}: has no word {UNKNOWN}, so it would press any speech into a command; "
                "use a model that has it"
            )
        if folder != shipped_model():
            try_to_load(folder)
        self._model = vosk.Model(str(folder))
        self._usable: dict[Grammar, Grammar] = {}  # so that what is missing is told once

    @property
    def words(self) -> frozenset[str]:
        """Every word that can be recognised."""
        return self._words

    def missing(self, words: Iterable[str]) -> list[str]:
        """The words that the model does not know."""
        return sorted(set(words) - self._words)

    def unknown(self, cost: int) -> str:
        """The word that stands for anything else, at the cost nearest to `cost`.

        The shipped model has several: at +3 other speech is most easily taken for a phrase,
        at -2 a phrase most easily for other speech; `[unk]` is 0, and all that others have.
        """
        word = f"[unk{cost:+d}]"
        return word if word in self._words else UNKNOWN

    def recogniser(self, phrases: Iterable[str]) -> vosk.KaldiRecognizer:
        """A recogniser of the phrases at EAR_RATE_HZ; words the model lacks are left out."""
        recogniser = vosk.KaldiRecognizer(self._model, EAR_RATE_HZ, json.dumps(list(phrases)))
        recogniser.SetWords(True)
        return recogniser

    def usable(self, grammar: Grammar) -> Grammar:
        """The grammar without phrases that the model cannot hear.

        Logs which words are missing; raises BadInput if a command is lost altogether.
        """
        if grammar not in self._usable:
            self._usable[grammar] = self._without_missing(grammar)
        return self._usable[grammar]

    def _without_missing(self, grammar: Grammar) -> Grammar:
        missing = set(self.missing(grammar.words))
        if not missing:
            return grammar
        kept = {p: m for p, m in grammar.meanings.items() if not missing.intersection(p.split())}
        commands = {m.command for m in grammar.meanings.values()}
        lost = sorted(c for c in commands - {m.command for m in kept.values()} if c is not None)
        words = ", ".join(sorted(missing))
        if lost:
            raise BadInput(
                f"{self.folder}: the model lacks {words}, so {grammar.name}.jsgf cannot give "
                f"{', '.join(lost)}; use words that are in its words.txt"
            )
        log.warning("%s: the model lacks %s; phrases with them are left out", grammar.name, words)
        return Grammar(grammar.name, kept)


def shipped_model() -> Path:
    """The model that comes with the coach."""
    return Path(__file__).parent / "model"


def find_model(argument: str | None = None, configured: str = "") -> Path:
    """The folder to use: the argument, else the configuration's, else the shipped one."""
    for given in (argument, configured):
        if given:
            folder = Path(given).expanduser()
            check_folder(folder)
            return folder
    return shipped_model()


def check_folder(folder: Path) -> None:
    """Raises BadInput if the folder is not a Vosk model that takes grammars at run time."""
    if not folder.is_dir():
        raise BadInput(f"{folder}: there is no such folder; name the folder of a Vosk model")
    for names in PARTS:
        found = [folder / name for name in names if (folder / name).is_file()]
        if not found:
            raise BadInput(
                f"{folder}: is not a Vosk model that takes grammars: it lacks {names[0]}"
            )
        if found[0].stat().st_size == 0:
            raise BadInput(f"{found[0]}: is empty; fetch the model again")


def try_to_load(folder: Path) -> None:
    """Load the model in a process of its own: a damaged file would end this one."""
    code = f"import sys, vosk; vosk.KaldiRecognizer(vosk.Model(sys.argv[1]), {EAR_RATE_HZ})"
    trial = [sys.executable, "-c", code, str(folder)]
    if subprocess.run(trial, capture_output=True, check=False).returncode != 0:
        raise BadInput(f"{folder}: cannot be loaded by Vosk; its files are damaged or not a model")


def read_words(folder: Path) -> frozenset[str]:
    """The words of words.txt that can be said, and `[unk]`."""
    path = next(path for name in PARTS[2] if (path := folder / name).is_file())
    words = set()
    try:
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            fields = line.split()
            if len(fields) != 2 or not fields[1].isdecimal():
                raise BadInput(f"{path}:{number}: is not a word and its number")
            words.add(fields[0])
    except UnicodeDecodeError:
        raise BadInput(f"{path}: is not text") from None
    return frozenset(word for word in words if not word.startswith(("<", "#")))

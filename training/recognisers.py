"""Recognisers under test, all with the same verbs: Vosk models and PocketSphinx."""

import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from training.corpus import RATE, Sound

BLOCK = 1600
LONGEST_UTTERANCE_S = 8.0  # as in the ear; in babble Vosk finds no end, and its lattice grows
SPHINX_FRAME_S = 0.01


@dataclass(frozen=True, slots=True)
class Word:
    """A word heard, with its seconds in the sound and the recogniser's confidence, 0..1."""

    text: str
    start_s: float
    end_s: float
    confidence: float


class Recogniser(Protocol):
    """Whatever can be evaluated."""

    def unknown(self, wished: str) -> str:
        """The word for foreign words: the wished one, the nearest there is, or ""."""
        ...

    def words(self, sound: Sound, phrases: Sequence[str]) -> list[Word]:
        """The words of ``phrases`` heard in ``sound``; foreign ones are left out."""
        ...


def text(words: Sequence[Word]) -> str:
    return " ".join(word.text for word in words)


def confidence(words: Sequence[Word]) -> float:
    """That of the least certain word; 0 where nothing was heard."""
    return min((word.confidence for word in words), default=0.0)


def pcm(sound: Sound) -> bytes:
    """16-bit little-endian samples."""
    return (np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes()


class Vosk:
    """A Vosk model folder."""

    def __init__(self, folder: Path) -> None:
        import vosk

        vosk.SetLogLevel(-2)  # no warnings either: it has one for every partial word
        self._vosk = vosk
        self._model = vosk.Model(str(folder))

    def unknown(self, wished: str) -> str:
        return wished if self._model.vosk_model_find_word(wished) >= 0 else "[unk]"

    def session(self, phrases: Sequence[str]) -> Any:
        """A recogniser of Vosk's own, to be fed by hand."""
        session = self._vosk.KaldiRecognizer(self._model, RATE, json.dumps(list(phrases)))
        session.SetWords(True)
        return session

    def words(self, sound: Sound, phrases: Sequence[str]) -> list[Word]:
        session = self.session(phrases)
        raw, step = pcm(sound), 2 * BLOCK
        found, began = [], 0
        for first in range(0, len(raw), step):
            ended = session.AcceptWaveform(raw[first : first + step])
            if ended or first - began >= LONGEST_UTTERANCE_S * 2 * RATE or first + step >= len(raw):
                result = session.Result() if ended else session.FinalResult()
                found += json.loads(result).get("result", [])
                began = first
        return [
            Word(w["word"], w["start"], w["end"], w["conf"])
            for w in found
            if not w["word"].startswith("[unk")
        ]


class PocketSphinx:
    """The pocketsphinx package with the model it brings. It has no word for foreign words."""

    def __init__(self) -> None:
        self._decoders: dict[str, Any] = {}

    def unknown(self, wished: str) -> str:  # noqa: ARG002
        return ""

    def words(self, sound: Sound, phrases: Sequence[str]) -> list[Word]:
        decoder = self._decoder(phrases)
        decoder.start_utt()
        decoder.process_raw(pcm(sound), full_utt=True)
        decoder.end_utt()
        if decoder.hyp() is None:
            return []
        return [
            Word(
                s.word.split("(")[0],
                s.start_frame * SPHINX_FRAME_S,
                s.end_frame * SPHINX_FRAME_S,
                1,
            )
            for s in decoder.seg()
            if s.word[0] not in "<[("
        ]

    def _decoder(self, phrases: Sequence[str]) -> Any:
        import pocketsphinx

        choice = " | ".join(p for p in phrases if not p.startswith("["))
        if choice not in self._decoders:
            grammar = f"#JSGF V1.0; grammar g; public <g> = {choice};"
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "phrases.gram"
                path.write_text(grammar, "utf-8")
                self._decoders[choice] = pocketsphinx.Decoder(
                    lm=None, jsgf=str(path), loglevel="FATAL"
                )
        return self._decoders[choice]

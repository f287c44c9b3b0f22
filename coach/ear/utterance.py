"""One utterance: its samples, a recogniser fed with them, and the words it gives."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
from vosk import KaldiRecognizer

from coach.ear.frames import FRAME
from coach.ear.word import Word, is_unknown
from coach.ports import EAR_RATE_HZ, Audio

CHUNK_FRAMES = 6  # the recogniser is fed in steps of 60 ms
STEADY_FRAMES = (24, 36, 48)  # so long no word has come or gone
_FIELDS = ("start", "end", "conf")


class Utterance:
    """Samples from shortly before a sound began, and what is recognised in them.

    The recogniser lives as long as the utterance, so its clock is the utterance's. `settle`
    ends it at a pause; when the speech goes on it is made anew and fed from the start.
    """

    def __init__(
        self, make_recogniser: Callable[[], KaldiRecognizer], start_s: float, before: list[Audio]
    ) -> None:
        self._make_recogniser = make_recogniser
        self._recogniser = make_recogniser()
        self._frames: list[Audio] = []
        self._fed = 0  # frames the recogniser has had
        self._final: list[Word] | None = None
        self._text = ""  # the known words so far ...
        self._text_from = 0  # ... and from which frame on they have been these
        self.start_s = start_s
        self.ended_by_recogniser = False
        for frame in before:
            self.add(frame)

    @property
    def duration_s(self) -> float:
        """Seconds of samples so far."""
        return len(self._frames) * FRAME / EAR_RATE_HZ

    @property
    def end_s(self) -> float:
        """Room time of the last sample so far."""
        return self.start_s + self.duration_s

    def add(self, frame: Audio) -> bool:
        """Take one frame; whether the recogniser has moved on."""
        self._frames.append(frame)
        if len(self._frames) - self._fed < CHUNK_FRAMES or self._final is not None:
            return False
        self._catch_up()
        return True

    @property
    def steady_text(self) -> str:
        """The known words so far, when they have been the same for one of STEADY_FRAMES.

        Vosk's partial words with times lag behind by seconds: a word whose neighbours are not
        known yet would look as if it stood alone.
        """
        steady = self._fed - self._text_from in STEADY_FRAMES and self._final is None
        return self._text if steady else ""

    def settle(self) -> list[Word]:
        """The words up to now, as if the speech had ended here."""
        if self._final is None:
            self._catch_up()
        if self._final is None:
            self._final = self._words(json.loads(self._recogniser.FinalResult()).get("result", []))
        return self._final

    def resume(self) -> None:
        """The speech goes on after `settle`."""
        if self._final is not None and not self.ended_by_recogniser:
            self._recogniser = self._make_recogniser()
            self._final = None
            self._fed = 0
            self._catch_up()

    def _catch_up(self) -> None:
        new = self._frames[self._fed :]
        self._fed = len(self._frames)
        if not new:
            return
        samples = np.clip(np.concatenate(new) * 32768.0, -32768, 32767).astype("<i2")
        if self._recogniser.AcceptWaveform(samples.tobytes()):
            self._final = self._words(json.loads(self._recogniser.Result()).get("result", []))
            self.ended_by_recogniser = True
            return
        said = json.loads(self._recogniser.PartialResult()).get("partial", "").split()
        text = " ".join(word for word in said if not is_unknown(word))
        if text != self._text:
            self._text, self._text_from = text, self._fed

    def _words(self, raw: list[dict[str, float | str]]) -> list[Word]:
        """Rounded: Vosk's means over alternatives differ from run to run in the last digits."""
        words = []
        for each in raw:
            start_s, end_s, confidence = (round(float(each[key]), 2) for key in _FIELDS)
            text = str(each["word"])
            words.append(Word(text, self.start_s + start_s, self.start_s + end_s, confidence))
        return words

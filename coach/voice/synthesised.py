"""The port `Voice` over any synthesiser: cache first, else render and finish."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from coach.ports import Audio, Clip, VoiceError
from coach.settings import SPEEDS
from coach.voice.cache import ClipCache, key
from coach.voice.loudness import METER_RATE_HZ
from coach.voice.spoken import is_call
from coach.voice.studio import Apart, Here, Studio
from coach.voice.synthesiser import Synthesiser, Utterance

_BRISK = 1.25  # a time call has to be over in 1.2 s, running speech wants time to be understood
_FINISH = 3  # raise it when render.py makes other samples of the same speech


class SynthesisedVoice:
    """Speaks with one synthesiser at one loudness (LUFS)."""

    def __init__(self, synthesiser: Synthesiser, loudness_lufs: float, cache: Path | None) -> None:
        self._synthesiser = synthesiser
        self._studio: Studio = Here(synthesiser)
        self._loudness_lufs = loudness_lufs
        self._cache = ClipCache(cache)

    @property
    def name(self) -> str:
        """Which voice this is, for the record."""
        return self._synthesiser.name

    def move_out(self) -> None:
        """From now on make clips in a process of its own, and load it now (see studio.py)."""
        self._studio.close()
        self._studio = Apart(self._synthesiser)
        self._studio.make([Utterance("one", 1.0)], METER_RATE_HZ, self._loudness_lufs)

    @contextmanager
    def ready(self) -> Iterator[None]:
        """Meanwhile new texts are spoken without delay, however long the silences are."""
        self._studio.stay(True)
        try:
            yield
        finally:
            self._studio.stay(False)

    def close(self) -> None:
        """Give back what was loaded; the next text loads it again."""
        self._studio.close()

    def speak(self, text: str, rate_hz: int, speed: float = 1.0) -> Clip:
        """See coach.ports.Voice."""
        return self.speak_all([text], rate_hz, speed)[0]

    def speak_all(self, texts: Iterable[str], rate_hz: int, speed: float = 1.0) -> list[Clip]:
        """One clip per text, in order; faster than one after the other. Raises VoiceError."""
        if not SPEEDS[0] <= speed <= SPEEDS[1]:
            raise VoiceError(f"speed {speed:g} is outside {SPEEDS[0]:g} to {SPEEDS[1]:g}")
        wanted = list(texts)
        samples = {text: self._cache.get(self._key(text, rate_hz, speed)) for text in wanted}
        missing = [text for text, found in samples.items() if found is None]
        if missing:
            samples |= self._rendered(missing, rate_hz, speed)
        else:
            self._studio.expect()
        return [
            Clip(text, known, rate_hz) for text in wanted if (known := samples[text]) is not None
        ]

    def _rendered(self, texts: list[str], rate_hz: int, speed: float) -> dict[str, Audio]:
        for text in texts:
            if not re.search(r"\w", text):
                raise VoiceError(f"the text {text!r} has nothing that can be spoken")
        rendered: dict[str, Audio] = {}
        utterances = [Utterance(text, speed * _briskness(text)) for text in texts]
        made = self._studio.make(utterances, rate_hz, self._loudness_lufs)
        for text, samples in zip(texts, made, strict=True):
            if not len(samples):
                raise VoiceError(f"the voice {self.name} cannot speak the text {text!r}")
            self._cache.put(self._key(text, rate_hz, speed), samples)
            rendered[text] = samples
        return rendered

    def _key(self, text: str, rate_hz: int, speed: float) -> str:
        voice = (self._synthesiser.name, self._synthesiser.version)
        return key(_FINISH, *voice, text, rate_hz, speed, self._loudness_lufs)


def _briskness(text: str) -> float:
    return _BRISK if is_call(text) else 1.0

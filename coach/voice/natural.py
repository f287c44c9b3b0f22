"""The natural voice: hibari-tts, offline, 24 kHz."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from threading import Lock
from typing import Any

import numpy as np

from coach.ports import VoiceError
from coach.voice.synthesiser import Raw, Utterance, package_version

RATE_HZ = 24_000
PACE = 0.65  # model speed of our usual rate; at 1.0 it reads lines at 180-220 words a minute
_THREADS = 1  # more would be faster, but must not take the processor from the ear
_NOISE = 0  # fixed noise: the same text gives the same samples


def is_installed() -> bool:
    """Whether the package of the natural voice is there."""
    return find_spec("hibari") is not None


class NaturalSynthesiser:
    """The model's own speaker. The model is loaded with the first text (0.5 to 1 s, 130 MB).

    `pitch` other than 1.0 gives another speaker: the speech is made slower or faster by that
    factor and played at another rate, which moves pitch and formants alike.
    """

    def __init__(self, pitch: float = 1.0) -> None:
        self._pitch = pitch
        self._model: Any = None
        self._lock = Lock()

    def __reduce__(self) -> tuple[type[NaturalSynthesiser], tuple[float]]:
        return NaturalSynthesiser, (self._pitch,)  # another process loads a model of its own

    @property
    def name(self) -> str:
        """Name for the record."""
        return "natural" if self._pitch == 1.0 else f"natural:{self._pitch:g}"

    @property
    def version(self) -> str:
        """Version of the package and of the choices made here."""
        return f"{package_version('hibari-tts')} {PACE} {_NOISE}"

    def render(self, utterances: Sequence[Utterance]) -> list[Raw]:
        """See Synthesiser."""
        with self._lock:
            if self._model is None:
                self._model = _load()
            return [self._one(utterance) for utterance in utterances]

    def _one(self, utterance: Utterance) -> Raw:
        speed = PACE * utterance.speed / self._pitch
        samples = self._model(utterance.text, speed=speed, seed=_NOISE)
        return Raw(np.asarray(samples, dtype=np.float32), round(RATE_HZ * self._pitch))


class _Frugal:
    """The model's onnxruntime session, which gives its working memory back after every text.

    Else it keeps the most that any text has needed: 10 MB for each second of speech.
    """

    def __init__(self, session: Any) -> None:
        from onnxruntime import RunOptions

        self._session = session
        self._options = RunOptions()
        self._options.add_run_config_entry("memory.enable_memory_arena_shrinkage", "cpu:0")

    def run(self, outputs: Sequence[str] | None, inputs: Mapping[str, Any]) -> Any:
        """As onnxruntime.InferenceSession.run."""
        return self._session.run(outputs, inputs, self._options)


def _load() -> Any:
    try:
        from hibari import Hibari

        model = Hibari(threads=_THREADS)
        model.sess = _Frugal(model.sess)
        return model
    except Exception as error:  # the exceptions of onnxruntime have no common base
        raise VoiceError(
            f"the natural voice cannot be loaded ({error}); "
            'install hibari-tts again, or set voice.name = "espeak"'
        ) from error

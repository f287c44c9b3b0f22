"""The voice that always works: pyttsx3 on eSpeak NG, rendered to files by `espeak_worker`."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile

from coach.ports import VoiceError
from coach.voice.synthesiser import Raw, Utterance, package_version

PACE_WPM = 112  # eSpeak NG's own count of words a minute for our usual rate
_WORKER = Path(__file__).with_name("espeak_worker.py")
_UNKNOWN_VOICE = 2


class EspeakSynthesiser:
    """An eSpeak NG voice: a language code with or without a variant, as "en-gb", "en-us+f3"."""

    def __init__(
        self, voice: str = "en-gb", words_per_minute: int = PACE_WPM, limit_s: float = 20.0
    ) -> None:
        self._voice = voice
        self._words_per_minute = words_per_minute
        self._limit_s = limit_s  # for one text; each further one adds a twentieth

    @property
    def name(self) -> str:
        """Name for the record."""
        return f"espeak:{self._voice}"

    @property
    def version(self) -> str:
        """Version of the packages and the pace."""
        packages = f"{package_version('pyttsx3')} {package_version('espeakng-loader')}"
        return f"{packages} {self._words_per_minute}"

    def render(self, utterances: Sequence[Utterance]) -> list[Raw]:
        """See Synthesiser."""
        texts = [(u.text, round(self._words_per_minute * u.speed)) for u in utterances]
        limit_s = self._limit_s * (1 + len(texts) / 20)
        try:
            with TemporaryDirectory(prefix="coach-voice-") as folder:
                job = {"voice": self._voice, "folder": folder, "texts": texts}
                self._work(json.dumps(job), limit_s)
                return [self._read(Path(folder, f"{n}.wav"), t) for n, (t, _) in enumerate(texts)]
        except OSError as error:
            raise VoiceError(
                f"the voice {self.name} cannot be used: {error}; is the temporary folder writable?"
            ) from error

    def _work(self, job: str, limit_s: float) -> None:
        worker = subprocess.Popen(
            # -P: this folder's modules must not stand in for the standard library's
            [sys.executable, "-P", str(_WORKER)],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,  # pyttsx3 prints what it saves
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,  # so that its forks can be ended with it
        )
        try:
            _, said = worker.communicate(job, timeout=limit_s)
        except subprocess.TimeoutExpired:
            raise VoiceError(
                f"the voice {self.name} did not answer within {limit_s:g} s; "
                "the machine may be too busy, try again"
            ) from None
        finally:
            if worker.poll() is None:
                os.killpg(worker.pid, signal.SIGKILL)
                worker.communicate()
        if worker.returncode == _UNKNOWN_VOICE:
            raise VoiceError(f"eSpeak NG: {said.strip()}")
        if worker.returncode:
            why = said.strip().splitlines()[-1:] or [f"it ended with {worker.returncode}"]
            raise VoiceError(
                f"the voice {self.name} cannot be used: {why[0]}; "
                "install pyttsx3 and espeakng-loader again"
            )

    def _read(self, path: Path, text: str) -> Raw:
        # pyttsx3 swallows its errors: only the file tells whether it wrote
        try:
            samples, rate_hz = soundfile.read(path, dtype="float32")
        except (OSError, soundfile.SoundFileError):
            raise VoiceError(f"the voice {self.name} rendered nothing for {text!r}") from None
        return Raw(np.asarray(samples, dtype=np.float32), int(rate_hz))

"""What one would script in an afternoon with the same packages: speak, sleep, listen, repeat.

    python -m benchmarks.plain_script

Written fairly: the clips are rendered before the hold, the marks are absolute times so that
errors do not add up, the recogniser has the same model and a closed grammar with [unk], and it
is kept warm. It uses what the packages' own examples show: `sd.play`, `sd.rec`, `sd.wait`.
"""

from __future__ import annotations

import json
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import sounddevice as sd
import vosk

from coach.ear.model import find_model
from coach.ports import Audio
from coach.settings import VoiceSettings
from coach.voice.choose import open_voice
from coach.voice.tones import tone

RATE_HZ = 48_000
EAR_HZ = 16_000
CHUNK_S = 0.25  # how long it listens before it looks at the clock again
ENDS = ("done", "stop", "up")
KNOCK_LEVEL = 0.05  # of full scale
KNOCK_FRAMES = EAR_HZ // 100
QUIET_BEFORE = 10  # of these frames
PAIR_S = (0.12, 0.6)


class PlainEar:
    """Words that end a hold, and knocks, in recordings that follow each other."""

    def __init__(self, model: vosk.Model) -> None:
        self._recogniser = vosk.KaldiRecognizer(model, EAR_HZ, json.dumps([*ENDS, "[unk]"]))
        self.begin()

    def begin(self) -> None:
        """A new hold."""
        self._recogniser.Reset()
        self._heard_frames = 0
        self._quiet = 0
        self._knocked_s = -1.0

    def words(self, samples: Audio) -> str:
        """The word that ends the hold, or nothing."""
        if self._recogniser.AcceptWaveform((samples * 32767).astype(np.int16).tobytes()):
            text = json.loads(self._recogniser.Result())["text"]
        else:
            text = json.loads(self._recogniser.PartialResult())["partial"]
        word = next((word for word in text.split() if word in ENDS), "")
        if word:
            self._recogniser.Reset()
        return word

    def knocks(self, samples: Audio) -> list[tuple[float, int]]:
        """Loud moments after quiet ones: when in the hold, and 2 for the second of a pair."""
        found = []
        for at in range(0, len(samples), KNOCK_FRAMES):
            loud = np.abs(samples[at : at + KNOCK_FRAMES]).max() > KNOCK_LEVEL
            if loud and self._quiet >= QUIET_BEFORE:
                now_s = self._heard_frames / EAR_HZ
                second = PAIR_S[0] < now_s - self._knocked_s < PAIR_S[1]
                found.append((now_s, 2 if second else 1))
                self._knocked_s = now_s
            self._quiet = 0 if loud else self._quiet + 1
            self._heard_frames += KNOCK_FRAMES
        return found


class PlainCoach:
    """A coach in one thread."""

    def __init__(self) -> None:
        vosk.SetLogLevel(-1)
        self.voice = open_voice(VoiceSettings(), Path(tempfile.mkdtemp()))
        self.ear = PlainEar(vosk.Model(str(find_model(None, ""))))

    def listen(self, seconds: float) -> bool:
        """Record, then recognise: whether the hold was ended."""
        samples = sd.rec(round(seconds * EAR_HZ), EAR_HZ, 1, "float32")
        sd.wait()
        knocked = self.ear.knocks(samples[:, 0])
        return bool(self.ear.words(samples[:, 0])) or any(count == 2 for _, count in knocked)

    def hold(self, call_every_s: float, cap_s: float, says: list[Any]) -> dict[str, Any]:
        """One hold; returns its length and how often it has called."""
        self.ear.begin()
        sd.play(tone("hold", RATE_HZ).samples, RATE_HZ)
        started_s = time.monotonic()
        sd.wait()
        calls = 0
        while (elapsed_s := time.monotonic() - started_s) < cap_s:
            if elapsed_s >= (calls + 1) * call_every_s and calls < len(says):
                sd.play(says[calls], RATE_HZ)
                sd.wait()
                calls += 1
                continue
            next_s = (calls + 1) * call_every_s - elapsed_s
            if next_s < CHUNK_S:
                time.sleep(max(0.0, next_s))  # nothing is heard meanwhile
            elif self.listen(CHUNK_S):
                break
        return {"held_s": time.monotonic() - started_s, "calls": calls}


def main() -> None:
    """The script as a person would start it: one hold of at most two minutes."""
    coach = PlainCoach()
    words = ["ten", "twenty", "thirty", "forty", "fifty", "one minute"]
    says = [coach.voice.speak(word, RATE_HZ).samples for word in words]
    print(f"you held for {coach.hold(10.0, 120.0, says)['held_s']:.1f} seconds")


if __name__ == "__main__":
    main()

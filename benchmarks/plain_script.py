"""What one would script in an afternoon with the same packages: speak, sleep, listen, repeat.

    python -m benchmarks.plain_script

Written fairly: the clips are rendered before the hold, the marks are absolute times so that
errors do not add up, the recogniser has the same model and a closed grammar with [unk], and it
is kept warm. It uses what the packages' own examples show: `sd.play`, `sd.rec`, `sd.wait`.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import sounddevice as sd
import vosk

from coach.ear.model import find_model
from coach.settings import VoiceSettings
from coach.voice.choose import open_voice
from coach.voice.tones import tone

RATE_HZ = 48_000
EAR_HZ = 16_000
CHUNK_S = 0.25  # how long it listens before it looks at the clock again
WORDS = ["done", "stop", "up", "[unk]"]


class PlainCoach:
    """A coach in one thread."""

    def __init__(self) -> None:
        vosk.SetLogLevel(-1)
        self.voice = open_voice(VoiceSettings(), Path(tempfile.mkdtemp()))
        model = vosk.Model(str(find_model(None, "")))
        self.recogniser = vosk.KaldiRecognizer(model, EAR_HZ, json.dumps(WORDS))

    def listen(self, seconds: float) -> str:
        """Record, then recognise: the word that ends the hold, or nothing."""
        samples = sd.rec(round(seconds * EAR_HZ), EAR_HZ, 1, "int16")
        sd.wait()
        self.recogniser.AcceptWaveform(samples.tobytes())
        words = json.loads(self.recogniser.PartialResult())["partial"].split()
        return next((word for word in words if word in ("done", "stop", "up")), "")

    def hold(self, call_every_s: float, cap_s: float, says: list[Any]) -> dict[str, Any]:
        """One hold; returns its length, and when it noticed what."""
        self.recogniser.Reset()
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


def burst_calls(count: int, every_s: float) -> dict[str, Any]:
    """A hold whose calls are noise bursts, to be found in a recording of the room."""
    random = np.random.default_rng(7)
    burst = (0.25 * random.standard_normal(round(0.05 * RATE_HZ))).astype(np.float32)
    coach = PlainCoach()
    print("ready", flush=True)
    return coach.hold(every_s, (count + 1) * every_s, [burst] * count)


def main() -> None:
    """The script as a person would start it: one hold of at most two minutes."""
    coach = PlainCoach()
    words = ["ten", "twenty", "thirty", "forty", "fifty", "one minute"]
    says = [coach.voice.speak(word, RATE_HZ).samples for word in words]
    print(f"you held for {coach.hold(10.0, 120.0, says)['held_s']:.1f} seconds")


if __name__ == "__main__":
    sys.exit(main())

"""Somebody in the room: hears what the coach says (reads its lines) and answers with sound.

Their recordings are played by other programs into the air, beside the coach's echo; the whole
air is recorded by yet another, and that recording is the truth.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from threading import Timer

import numpy as np
import pytest
import soundfile

from coach.ports import Audio
from coach.room.people import knock_samples
from coach.voice.choose import participant_voice
from tests.room.live.conftest import ROOT
from tests.soundserver import SoundServer

RATE_HZ = 48_000


class Person:
    """Answers in a synthetic voice that is not the coach's, and knocks."""

    def __init__(self, server: SoundServer) -> None:
        self._server = server
        self._voice = participant_voice("espeak:en-us+m3@150")
        self._air = server.folder / "air.wav"
        noise = np.random.default_rng(1).standard_normal(RATE_HZ * 400) * 0.0005
        self._play("noise", noise.astype(np.float32))
        server.guest(
            "parecord", f"--device={server.air}.monitor", "--latency-msec=10", f"--rate={RATE_HZ}",
            "--channels=1", "--format=s16le", "--file-format=wav", str(self._air),
        )  # fmt: skip

    def say(self, text: str, level: float = 1.0) -> None:
        """Say it now."""
        self._play(text, self._voice.speak(text, RATE_HZ).samples * np.float32(level))

    def knock(self, times: int) -> None:
        """Knock on the floor now."""
        self._play(f"knock {times}", self.knocks(times))

    @staticmethod
    def knocks(times: int) -> Audio:
        """The sound of it."""
        samples = knock_samples(times, RATE_HZ)
        quiet: Audio = (samples * 0.3 / np.abs(samples).max()).astype(np.float32)
        return quiet

    def recording(self) -> Audio:
        """Everything that was in the air, from the beginning."""
        data = self._air.read_bytes()[44:]  # the header is only completed at the end
        samples: Audio = np.frombuffer(data[: len(data) // 2 * 2], np.int16).astype(np.float32)
        return samples / np.float32(32768)

    def _play(self, name: str, samples: Audio) -> None:
        path = self._server.folder / f"{name}.wav"
        if not path.exists():
            soundfile.write(path, samples, RATE_HZ)
        self._server.guest("paplay", f"--device={self._server.air}", str(path))


def coach(server: SoundServer, *arguments: str) -> subprocess.Popen[str]:
    """Start the real command in the sound server; records and settings are its own."""
    return subprocess.Popen(
        [sys.executable, "-u", "-m", "coach.cli", *arguments],
        cwd=ROOT,
        env={
            **server.environment,
            "XDG_CONFIG_HOME": str(server.folder / "config"),
            "XDG_DATA_HOME": str(server.folder / "data"),
        },
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )


def lived(
    process: subprocess.Popen[str], react: Callable[[str], None], limit_s: float = 300.0
) -> str:
    """Let the person react to every line until the coach ends; returns all lines.

    Fails with what the coach said if it does not end in time, which is no measure of its speed.
    """
    late: list[bool] = []

    def end() -> None:
        late.append(True)
        process.kill()

    limit = Timer(limit_s, end)
    limit.start()
    said = []
    assert process.stdout is not None
    for line in process.stdout:
        said.append(line)
        react(line)
    process.wait(timeout=20)
    process.stdout.close()
    limit.cancel()
    text = "".join(said)
    if late:
        pytest.fail(f"the coach did not end within {limit_s:g} s; it said:\n{text}")
    return text

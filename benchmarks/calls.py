"""Call onset error: simulated, live in a sound server, and the plain script's.

The live room is a private PulseAudio with a null sink (tests/soundserver.py), recorded by another
program.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from benchmarks.inside import BURST_HZ, burst, speak_cues
from coach.ports import Audio
from coach.room.scene import find_scene, load_scene
from coach.room.simulated import SimulatedRoom
from coach.voice.choose import participant_voice
from tests.soundserver import SoundServer

ROOT = Path(__file__).parents[1]
SIMULATED_EVERY_S = 2.0


def figures(count: int, every_s: float) -> dict[str, Any]:
    """Each with `count` calls, `every_s` apart."""
    found: dict[str, Any] = {"simulated": _simulated(count)}
    for name, case in (("live", "live"), ("plain script", "plain")):
        samples, told = _recorded(case, count, every_s)
        found[name] = _errors(_onsets_s(samples, BURST_HZ, count, every_s), every_s) | told
    return found


def _simulated(count: int) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        room = SimulatedRoom(load_scene(find_scene("nobody-there")), participant_voice)
        speak_cues(room, count, SIMULATED_EVERY_S)
        room.save(path := Path(folder) / "simulated.wav")
        heard, rate_hz = soundfile.read(path, dtype="float32")
    return _errors(_onsets_s(heard, rate_hz, count, SIMULATED_EVERY_S), SIMULATED_EVERY_S)


def _recorded(case: str, count: int, every_s: float) -> tuple[Audio, dict[str, Any]]:
    """A case of inside.py in a sound server of its own, recorded; what it told, or why nothing."""
    server = SoundServer().start()
    try:
        path = server.folder / "room.raw"
        server.guest(
            "parecord", "--device=room.monitor", "--latency-msec=10", f"--rate={BURST_HZ}",
            "--channels=1", "--format=s16le", "--raw", str(path),
        )  # fmt: skip
        command = [sys.executable, "-m", "benchmarks.inside", case, str(count), str(every_s)]
        try:
            done = subprocess.run(
                command, cwd=ROOT, env=server.environment, text=True, check=False,
                capture_output=True, timeout=count * every_s + 60.0,
            )  # fmt: skip
        except subprocess.TimeoutExpired:  # seen with streams that are opened for every sound
            told = {"ended_early": "it hung"}
        else:
            last = (done.stderr if done.returncode else done.stdout).strip().splitlines()[-1:]
            said = last[0] if last else "it told nothing"
            told = {"ended_early": said} if done.returncode else json.loads(said)
        time.sleep(0.3)
        samples: Audio = np.frombuffer(path.read_bytes(), np.int16).astype(np.float32)
        return samples / np.float32(32768), told
    finally:
        server.close()


def _onsets_s(recorded: Audio, rate_hz: int, count: int, every_s: float) -> np.ndarray:
    """Where the calls begin; the first is looked for everywhere, the others near their marks."""
    if not recorded.any():
        return np.zeros(0)
    wanted = burst(rate_hz)
    size = 1 << (len(recorded) + len(wanted)).bit_length()
    spectrum = np.fft.rfft(recorded, size) * np.conj(np.fft.rfft(wanted, size))
    match = np.abs(np.fft.irfft(spectrum, size))[: len(recorded)]
    first = int(np.argmax(match > 0.7 * match.max()))
    first += int(np.argmax(match[first : first + 200]))
    found = []
    for number in range(count):
        low = max(0, first + round((number * every_s - 0.45 * every_s) * rate_hz))
        piece = match[low : low + round(0.9 * every_s * rate_hz)]
        if len(piece) and piece.max() > 0.3 * match[first]:
            found.append((low + int(np.argmax(piece))) / rate_hz)
    return np.array(found)


def _errors(found_s: np.ndarray, every_s: float) -> dict[str, float]:
    """Errors about their median, since a recording does not know when the room began.

    A call that never came is missing in `calls`.
    """
    if not len(found_s):
        return {"calls": 0}
    marks_s = np.round((found_s - found_s[0]) / every_s) * every_s
    late_s = found_s - marks_s
    error_ms = np.abs(late_s - np.median(late_s)) * 1000
    slope = np.polyfit(marks_s, late_s, 1)[0] if len(marks_s) > 2 else 0.0
    return {
        "calls": len(found_s),
        "p50_ms": round(float(np.percentile(error_ms, 50)), 3),
        "p95_ms": round(float(np.percentile(error_ms, 95)), 3),
        "max_ms": round(float(error_ms.max()), 3),
        "drift_ms_in_10_min": round(float(slope) * 600_000, 3),
    }

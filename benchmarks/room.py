"""How exact, how robust and how cheap the room is; beside it a plain script (plain_script.py).

    python -m benchmarks.room [--only calls,listen] [--cues 120] [--every 2.5] [--json FILE]

`calls`   call onset error, simulated and live, and drift; the live room is a private PulseAudio
          with a null sink (tests/soundserver.py), recorded by another program
`listen`  processor and memory of `coach listen` when nobody speaks, and of a hold
`air`     the ear in computed rooms (benchmarks/air.py): double talk, own voice, knocks

One run on one machine; the load of the machine is written beside the figures.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr

from benchmarks import air, plain_script
from coach.app.equipment import Equipment
from coach.ports import Audio, Block, Clip
from coach.practice.events import CueDone, CueDue, Knocks, Rank
from coach.room.live import LiveRoom
from coach.room.scene import find_scene, load_scene
from coach.room.simulated import SimulatedRoom
from coach.room.speaker import Speaker
from coach.settings import RoomSettings, load_settings
from coach.voice.choose import participant_voice
from coach.voice.studio import IDLE_S
from tests.soundserver import SoundServer

ROOT = Path(__file__).parents[1]
RECORD_HZ = 48_000
FIRST_S = 2.0
TICKS = os.sysconf("SC_CLK_TCK")


def burst(rate_hz: int) -> Audio:
    """A call that is found again to the sample; the same as in plain_script.py."""
    random = np.random.default_rng(7)
    samples = (0.25 * random.standard_normal(round(0.05 * RECORD_HZ))).astype(np.float32)
    return samples if rate_hz == RECORD_HZ else soxr.resample(samples, RECORD_HZ, rate_hz)


def onsets_s(recorded: Audio, rate_hz: int, count: int, every_s: float) -> np.ndarray:
    """Where the bursts begin; the first is looked for everywhere, the others near their marks."""
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


def onset_figures(found_s: np.ndarray, every_s: float) -> dict[str, float]:
    """Errors about their median, since a recording does not know when the room began.

    A call that never came is missing in `cues`.
    """
    marks_s = np.round((found_s - found_s[0]) / every_s) * every_s
    late_s = found_s - marks_s
    error_ms = np.abs(late_s - np.median(late_s)) * 1000
    slope = np.polyfit(marks_s, late_s, 1)[0] if len(marks_s) > 2 else 0.0
    return {
        "cues": len(found_s),
        "p50_ms": round(float(np.percentile(error_ms, 50)), 3),
        "p95_ms": round(float(np.percentile(error_ms, 95)), 3),
        "max_ms": round(float(error_ms.max()), 3),
        "drift_ms_in_10_min": round(float(slope) * 600_000, 3),
    }


# --- calls -------------------------------------------------------------------------------


def speak_cues(room: Any, count: int, every_s: float) -> list[float]:
    """Calls at marks, on the way that a session uses; returns the room times of their starts."""
    speaker = Speaker(room.mixer, room.calendar, room.now_s, RoomSettings().lead_s)
    clip = Clip("burst", burst(room.rate_hz), room.rate_hz)
    for cue in range(count):
        speaker.say(cue, clip, Rank.TIMING, FIRST_S + cue * every_s)
    started_s: list[float] = []
    for moment in room.moments():
        if isinstance(moment, CueDue):
            speaker.due(moment)
        elif isinstance(moment, CueDone):
            speaker.done(moment)
            assert moment.started_s is not None
            started_s.append(moment.started_s)
            if len(started_s) == count:
                break
    return started_s


def live_cues(count: int, every_s: float) -> dict[str, Any]:
    """Inside a sound server: calls through real streams."""
    room = LiveRoom(RoomSettings())
    begun_s, begun_room_s = time.monotonic(), room.heard_s()
    print("ready", flush=True)
    started_s = speak_cues(room, count, every_s)
    time.sleep(0.5)
    apart_s = (room.heard_s() - begun_room_s) - (time.monotonic() - begun_s)
    xruns = room.xruns
    room.close()
    return {"started_s": started_s, "xruns": xruns, "apart_ms": round(apart_s * 1000, 3)}


def recorded(case: str, count: int, every_s: float) -> tuple[Audio, dict[str, Any]]:
    """Run a case of this module in a sound server of its own, and record the room meanwhile."""
    server = SoundServer().start()
    try:
        path = server.folder / "room.raw"
        server.guest(
            "parecord", "--device=room.monitor", "--latency-msec=10", f"--rate={RECORD_HZ}",
            "--channels=1", "--format=s16le", "--raw", str(path),
        )  # fmt: skip
        command = [sys.executable, "-m", "benchmarks.room", "--inside", case]
        command += ["--cues", str(count), "--every", str(every_s)]
        try:
            done = subprocess.run(
                command, cwd=ROOT, env=server.environment, text=True, check=False,
                capture_output=True,
                timeout=count * every_s + 60.0,
            )  # fmt: skip
            told = {"ended_early": done.stderr.strip().splitlines()[-1:]}
            if not done.returncode:
                told = json.loads(done.stdout.splitlines()[-1])
        except subprocess.TimeoutExpired:  # seen with streams that are opened for every sound
            told = {"ended_early": ["hung"]}
        time.sleep(0.3)
        samples: Audio = np.frombuffer(path.read_bytes(), np.int16).astype(np.float32)
        return samples / np.float32(32768), told
    finally:
        server.close()


def calls(count: int, every_s: float) -> dict[str, Any]:
    """Call onset errors: simulated, live, and the plain script's."""
    with tempfile.TemporaryDirectory() as folder:
        room = SimulatedRoom(load_scene(find_scene("nobody-there")), participant_voice)
        speak_cues(room, min(count, 200), 2.0)
        room.save(path := Path(folder) / "simulated.wav")
        heard, rate_hz = soundfile.read(path, dtype="float32")
    simulated = onset_figures(onsets_s(heard, rate_hz, min(count, 200), 2.0), 2.0)
    samples, told = recorded("live", count, every_s)
    live = onset_figures(onsets_s(samples, RECORD_HZ, count, every_s), every_s)
    live |= {"xruns": told["xruns"], "room_against_machine_clock_ms": told["apart_ms"]}
    samples, told = recorded("plain", count, every_s)
    plain: dict[str, Any] = onset_figures(onsets_s(samples, RECORD_HZ, count, every_s), every_s)
    plain["ended_early"] = told.get("ended_early", [])
    return {"simulated": simulated, "live": live, "plain script": plain}


# --- processor and memory ------------------------------------------------------------------


def used(pid: int, seconds: float) -> dict[str, float]:
    """Share of one core and resident memory of a process over a span."""

    def ticks() -> int:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return int(fields[11]) + int(fields[12])

    before, begun_s = ticks(), time.monotonic()
    time.sleep(seconds)
    share = (ticks() - before) / TICKS / (time.monotonic() - begun_s)
    status = Path(f"/proc/{pid}/status").read_text()
    (resident,) = [line.split()[1] for line in status.splitlines() if line.startswith("VmRSS")]
    return {"core_percent": round(100 * share, 1), "resident_mb": round(int(resident) / 1024)}


def listen(seconds: float) -> dict[str, Any]:
    """What it costs to be ready, in a room with a little noise; and to be in a hold."""
    server = SoundServer().start()
    try:
        noise = np.random.default_rng(1).standard_normal(RECORD_HZ * 900) * 0.0005
        soundfile.write(path := server.folder / "noise.wav", noise, RECORD_HZ)
        server.guest("paplay", str(path))
        found: dict[str, Any] = {}
        gone_s = IDLE_S + 20.0  # by then the voice of `listen` has given back what it held
        for name, wait_s, command in (
            ("coach listen, idle", gone_s, ["coach.cli", "listen"]),
            ("ear in a hold", 15.0, ["benchmarks.room", "--inside", "hold"]),
            ("plain script, listening", 15.0, ["benchmarks.room", "--inside", "plain-listen"]),
        ):
            process = server.guest(sys.executable, "-m", *command)
            time.sleep(wait_s)
            found[name] = used(process.pid, seconds)
            process.kill()
        return found
    finally:
        server.close()


def hold() -> None:
    """Inside a sound server: a room and an ear that attends a hold, without end."""
    room = LiveRoom(RoomSettings())
    ear = Equipment.of(load_settings()).ear()
    ear.attend("hold", Knocks.MARKS)
    for moment in room.moments():
        if isinstance(moment, Block):
            ear.feed(moment)


def plain_listen() -> None:
    """Inside a sound server: the plain script listens without end."""
    coach = plain_script.PlainCoach()
    while True:
        coach.listen(plain_script.CHUNK_S)


# --- the table -------------------------------------------------------------------------------


def rows(figures: dict[str, Any], name: str = "") -> list[tuple[str, str]]:
    """The figures as lines of a table."""
    found: list[tuple[str, str]] = []
    for key, value in figures.items():
        title = f"{name} · {key}" if name else key
        found += rows(value, title) if isinstance(value, dict) else [(title, str(value))]
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--only", default="calls,listen,air")
    parser.add_argument("--cues", type=int, default=120)
    parser.add_argument("--every", type=float, default=5.0, help="120 cues, 5 s apart: 10 minutes")
    parser.add_argument("--seconds", type=float, default=60.0, help="of processor measurement")
    parser.add_argument("--trials", type=int, default=60, help="words in double talk, each level")
    parser.add_argument("--hours", type=float, default=1.0, help="of the coach's own speech")
    parser.add_argument("--speech", type=Path, help="folder of other people's speech, WAV files")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--inside", help=argparse.SUPPRESS)
    options = parser.parse_args()
    inside: dict[str, Callable[[], Any]] = {
        "live": lambda: live_cues(options.cues, options.every),
        "plain": lambda: plain_script.burst_calls(options.cues, options.every),
        "hold": hold,
        "plain-listen": plain_listen,
    }
    if options.inside:
        print(json.dumps(inside[options.inside]()))
        return
    parts: dict[str, Callable[[], dict[str, Any]]] = {
        "calls": lambda: calls(options.cues, options.every),
        "listen": lambda: listen(options.seconds),
        "air": lambda: air.figures(options.trials, options.hours, options.speech),
    }
    figures: dict[str, Any] = {
        "machine": {"system": platform.platform(), "cores": os.cpu_count()},
    }
    for part in options.only.split(","):
        figures[part] = parts[part]()
        figures[part]["load"] = round(os.getloadavg()[0], 1)
        for name, value in rows({part: figures[part]}):
            print(f"{name:<60} {value}", flush=True)
    if options.json:
        options.json.write_text(json.dumps(figures, indent=2) + "\n")


if __name__ == "__main__":
    main()

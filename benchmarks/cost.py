"""Processor and memory of what listens, with every process that it has started."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from coach.voice.studio import IDLE_S
from tests.soundserver import SoundServer

RATE_HZ = 48_000
TICKS = os.sysconf("SC_CLK_TCK")
BEGIN_S = 15.0  # until a start is over


def figures(seconds: float) -> dict[str, Any]:
    """To be ready, and to be in a hold, in a room with a little noise in which nobody speaks."""
    server = SoundServer().start()
    try:
        frames = round((3 * seconds + IDLE_S + 120) * RATE_HZ)
        noise = np.random.default_rng(1).standard_normal(frames) * 0.0005
        soundfile.write(path := server.folder / "noise.wav", noise, RATE_HZ)
        server.guest("paplay", str(path))
        return {
            name: _used(server.guest(sys.executable, "-m", *command), wait_s, seconds)
            for name, wait_s, command in (
                # by then the voice of `listen` has given back what it held
                ("coach listen, idle", IDLE_S + 20.0, ["coach.cli", "listen"]),
                ("room and ear in a hold", BEGIN_S, ["benchmarks.inside", "hold"]),
                ("plain script", BEGIN_S, ["benchmarks.inside", "plain-listen"]),
            )
        }
    finally:
        server.close()


def _used(process: subprocess.Popen[bytes], wait_s: float, seconds: float) -> dict[str, Any]:
    """Share of one core and memory over a span that begins after `wait_s`."""
    time.sleep(wait_s)
    before, begun_s = _ticks(process.pid), time.monotonic()
    time.sleep(seconds)
    if process.poll() is not None:
        return {"ended_early": f"exit code {process.returncode}"}
    share = (_ticks(process.pid) - before) / TICKS / (time.monotonic() - begun_s)
    tree = [process.pid, *_descendants(process.pid)]
    found = {
        "core_percent": round(100 * share, 1),
        "memory_mb": round(sum(_memory_kb(pid) for pid in tree) / 1024),
        "processes": len(tree),
    }
    process.kill()
    process.wait()
    return found


def _ticks(root: int) -> int:
    """Of a process, those it has started, and those of them that have ended."""
    fields = _stat()
    return sum(
        sum(map(int, fields[pid][11:15])) for pid in (root, *_descendants(root)) if pid in fields
    )


def _descendants(root: int) -> list[int]:
    children = [pid for pid, fields in _stat().items() if int(fields[1]) == root]
    return [pid for child in children for pid in (child, *_descendants(child))]


def _stat() -> dict[int, list[str]]:
    """The fields of /proc/PID/stat after the name of the program."""
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            found[int(folder.name)] = (folder / "stat").read_text().rsplit(")", 1)[1].split()
        except OSError:  # it has just ended
            continue
    return found


def _memory_kb(pid: int) -> int:
    """What it has alone and its part of what is shared (PSS)."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:  # it has just ended
        return 0
    return next(int(line.split()[1]) for line in lines if line.startswith("Pss:"))

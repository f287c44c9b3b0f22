from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Timer
from typing import Any

import pytest

from tests.soundserver import SoundServer, missing

ROOT = Path(__file__).parents[3]
Later = Callable[..., None]  # seconds, what to call, with what


def cannot_run() -> None:
    """Skip the test where there is no sound server."""
    if lacking := missing():
        pytest.skip(f"needs a real sound server; missing: {lacking}")


@pytest.fixture
def echo_db() -> float | None:
    """How loud the room gives back what is played; None is a dead room."""
    return None


@pytest.fixture
def server(echo_db: float | None) -> Iterator[SoundServer]:
    """A sound server of its own for the test."""
    cannot_run()
    server = SoundServer(echo_db)
    try:
        yield server.start()
    finally:
        server.close()


@pytest.fixture
def later(server: SoundServer) -> Iterator[Later]:
    """Lets things happen some seconds from now; none of them outlives the test or its server."""
    timers: list[Timer] = []

    def begin(after_s: float, action: Callable[..., object], *arguments: object) -> None:
        timers.append(timer := Timer(after_s, action, arguments))
        timer.start()

    yield begin
    for timer in timers:
        timer.cancel()
    for timer in timers:
        timer.join()


def start(server: SoundServer, case: str, *arguments: str) -> subprocess.Popen[str]:
    """Run a case of child.py inside the sound server's environment."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.room.live.child", case, *arguments],
        cwd=ROOT,
        env=server.environment,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def result(process: subprocess.Popen[str], timeout_s: float = 60.0) -> Any:
    """What the case found; its last line is JSON."""
    out, errors = process.communicate(timeout=timeout_s)
    assert process.returncode == 0, errors
    return json.loads(out.splitlines()[-1])

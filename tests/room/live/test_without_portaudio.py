"""A machine without PortAudio: live commands say how to mend it, everything else works.

The loader is led to a file that has the library's name and is none.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.room.live.conftest import ROOT

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="the trick is one of the Linux loader"
)


def coach(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    for name in ("libportaudio.so.2", "libportaudio.so"):
        (folder / name).write_text("")
    mine = {name: str(folder) for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "LD_LIBRARY_PATH")}
    return subprocess.run(
        [sys.executable, "-m", "coach.cli", *arguments],
        cwd=ROOT,
        env={**os.environ, **mine},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.mark.parametrize("command", ["run relaxation", "listen"])
def test_live_commands_say_in_one_line_how_to_install_it(tmp_path: Path, command: str) -> None:
    done = coach(tmp_path, *command.split())
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("coach: the sound library PortAudio is missing")
    for way in (
        "Debian/Ubuntu: sudo apt install libportaudio2",
        "Fedora: sudo dnf install portaudio",
        "macOS: brew install portaudio",
        "Windows: pip install",
    ):
        assert way in done.stderr
    assert done.stdout == ""


def test_the_check_reports_it_as_something_to_mend(tmp_path: Path) -> None:
    done = coach(tmp_path, "check", "--no-person")
    assert done.returncode == 1
    assert "MEND  sound: the sound library PortAudio is missing" in done.stdout
    assert "voice: " in done.stdout  # what else there is, is told all the same


def test_what_needs_no_sound_card_works_without_it(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "quiet.wav", np.zeros(16_000, np.float32), 16_000)
    heard = coach(tmp_path, "hear", str(tmp_path / "quiet.wav"))
    assert heard.returncode == 0, heard.stderr
    reviewed = coach(tmp_path, "review")
    assert reviewed.returncode == 0, reviewed.stderr
    # leaving at once is the shortest scene
    simulated = coach(tmp_path, "simulate", "nobody-there")
    assert "Traceback" not in simulated.stderr
    assert simulated.returncode in (0, 1)

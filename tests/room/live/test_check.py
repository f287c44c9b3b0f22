"""`coach check` in a real sound server, with a room's noise and with a person."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from coach.voice.choose import participant_voice
from tests.room.live.conftest import ROOT
from tests.soundserver import SoundServer

pytestmark = pytest.mark.sound_server


@pytest.fixture
def echo_db() -> float:
    """A room whose echo is 40 ms late and 15 dB down."""
    return -15.0


@pytest.fixture
def room(server: SoundServer) -> SoundServer:
    """The room is not dead: its noise has -66 dB up to 24 kHz."""
    noise = np.random.default_rng(1).standard_normal(48_000 * 240) * 0.0005
    path = server.folder / "noise.wav"
    soundfile.write(path, noise.astype(np.float32), 48_000, subtype="FLOAT")
    server.guest("paplay", f"--device={server.air}", str(path))
    return server


def check(server: SoundServer, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "coach.cli", "check", *arguments],
        cwd=ROOT,
        env={
            **server.environment,
            "XDG_CONFIG_HOME": str(server.folder),
            "PYTHONUNBUFFERED": "",  # a line must come in time without it, too
        },
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def test_a_good_room_is_found_good_and_its_figures_are_stored(room: SoundServer) -> None:
    config = room.folder / "coach" / "coach.toml"
    config.parent.mkdir()
    config.write_text("# mine\n[listen]\nname = 'buddy'\n")
    out, errors = (process := check(room, "--json", "--no-person", "--store")).communicate(
        timeout=180
    )
    report: dict[str, Any] = json.loads(out)
    figures = report["figures"]
    bad = {finding["what"] for finding in report["findings"] if not finding["well"]}
    assert bad <= {"gaps"}, errors + out  # the machine that tests may be busy
    assert process.returncode == (1 if bad else 0)
    assert report["well"] is not bool(bad)
    assert [device["name"] for device in report["devices"]] == ["pulse", "default"]
    # a third of that noise's band reaches the ear
    assert figures["noise_floor_db"] == pytest.approx(-66.0 - 4.8, abs=1.5)
    assert figures["delay_s"] == pytest.approx(0.04, abs=0.03)
    assert figures["echo_loss_db"] == pytest.approx(15.0, abs=1.0)
    assert figures["cancelled_db"] > 15.0
    assert figures["own_words_s"] > 15.0
    assert figures["own_words_triggers"] == 0
    stored = tomllib.loads(config.read_text())
    assert stored["room"] == {"delay_s": figures["delay_s"], "gain_db": figures["gain_db"]}
    assert stored["listen"] == {"name": "buddy"}
    assert config.read_text().startswith("# mine\n")


@pytest.mark.long  # most of a minute of real time
def test_a_muted_microphone_is_told_in_plain_words(server: SoundServer) -> None:
    out, _ = (process := check(server, "--no-person")).communicate(timeout=180)
    assert process.returncode == 1
    assert "MEND  room: noise -120 dB" in out
    assert "it is muted, not allowed to this program, or the wrong one (room.input)" in out
    assert re.search(r"^to mend: \d$", out, re.MULTILINE)


@pytest.fixture
def word(room: SoundServer, tmp_path: Path) -> Path:
    """ "stop" as a file, in a voice that is not the coach's."""
    clip = participant_voice("espeak:en-us+m3").speak("stop", 48_000)
    soundfile.write(path := tmp_path / "stop.wav", clip.samples, clip.rate_hz)
    return path


def lines(process: subprocess.Popen[str]) -> Iterator[str]:
    assert process.stdout is not None
    yield from process.stdout


def test_somebody_who_says_stop_is_heard_in_silence_and_over_the_coach(
    room: SoundServer, word: Path
) -> None:
    process = check(room)
    said = []
    begun = False
    for line in lines(process):
        said.append(line)
        if line.startswith("stop in silence:") and not begun:
            begun = True
            # They say it every two seconds, whatever they were asked. A player may hang on a busy
            # machine when its stream is opened, and must not silence them for good.
            say = f"timeout 4 paplay --device={room.air} {word}"
            room.guest("sh", "-c", f"while :; do {say}; sleep 1.6; done")
    process.communicate(timeout=10)
    text = "".join(said)
    assert "well  stop in silence: heard 3 of 3" in text, text
    assert re.search(r"well  stop over the coach: heard [23] of 3", text), text


@pytest.mark.long  # most of a minute of real time
def test_a_person_who_is_not_heard_is_told_what_to_do(room: SoundServer) -> None:
    out, _ = (process := check(room)).communicate(timeout=180)
    assert process.returncode == 1
    assert "MEND  stop in silence: heard 0 of 3" in out
    assert "come nearer, speak up" in out


@pytest.mark.long  # most of a minute of real time
def test_the_contact_is_called_for_a_test_without_a_shell(room: SoundServer) -> None:
    config = room.folder / "contact.toml"
    called = room.folder / "called"
    config.write_text(
        f"[contact]\ncommand = [{sys.executable!r}, '-c', "
        f'\'import sys; open("{called}", "w").write(" ".join(sys.argv[1:]))\', '
        "'{participant}', '{reason}; touch nothing']\n"
    )
    out, _ = check(room, "--no-person", "--contact", "--config", str(config)).communicate(
        timeout=180
    )
    assert "well  contact: test call made" in out
    assert called.read_text() == "0 test call; touch nothing"

"""`coach run` as a person meets it: real streams, a real sound server, their voice in the air.

What was kept is compared with a recording of the air that another program made.
"""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from coach.ports import Audio
from coach.settings import VoiceSettings
from coach.voice.choose import open_voice
from coach.voice.tones import tone
from tests.room.live.conftest import Later
from tests.room.live.person import RATE_HZ, Person, coach, lived
from tests.soundserver import SoundServer

pytestmark = pytest.mark.sound_server

QUESTIONS = [
    "dry", "posture", "near", "heart", "seizures", "fainting", "pregnancy", "lungs", "surgery",
]  # fmt: skip
YES_TO = ("a dry place", "lying down", "somebody near", "Is that right")
PLAN = f"""
name = "short"
title = "A short one"
[[steps]]
step = "clearing"
questions = {json.dumps(QUESTIONS)}
[[steps]]
step = "hold"
label = "only"
hold = "baseline"
cap_s = 60.0
call_every_s = 5.0
lead_in = "hold_lead_in_plain"
[[steps]]
step = "recovery"
[[steps]]
step = "pulse-count"
label = "once"
place = "practice"
window_s = 15.0
"""


@pytest.fixture
def echo_db() -> float:
    """A room with an echo."""
    return -15.0


@pytest.fixture
def plan(server: SoundServer) -> Path:
    path = server.folder / "short.toml"
    path.write_text(PLAN)
    return path


def answer(person: Person, line: str, later: Later) -> None:
    """What somebody who is well says to a question, half a second after it."""
    said = ""
    if "How many beats" in line:
        said = "twenty two"
    elif "Are you okay" in line:
        said = "i am okay"
    elif "Say begin" in line:
        said = "begin"
    elif "?" in line:
        said = "yes" if any(words in line for words in YES_TO) else "no"
    if said and "  coach  " in line:
        later(0.6, person.say, said)


def record(server: SoundServer) -> Any:
    """The session as it is exported."""
    process = coach(server, "export", "--format", "json")
    text = lived(process, lambda _: None)
    assert process.returncode == 0, text
    (session,) = json.loads(text)["sessions"]
    return session


def found_s(air: Audio, sound: Audio, after_s: float = 0.0) -> float:
    """When `sound` begins in the recording of the air: where the two are most alike after a time.

    Likeness, not loudness: speech is louder than a tone.
    """
    heard = air[round(after_s * RATE_HZ) :].astype(np.float64)
    size = 1 << (len(heard) + len(sound)).bit_length()
    match = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(sound, size)), size)
    power = np.concatenate([[0.0], np.cumsum(heard**2)])
    around = power[len(sound) :] - power[: -len(sound)]
    alike = np.abs(match[: len(around)]) / np.sqrt(around + 1e-3 * around.max())
    return after_s + int(np.argmax(alike)) / RATE_HZ


@pytest.mark.long  # minutes of real time
def test_a_lesson_in_the_air_is_kept_as_it_was(
    server: SoundServer, plan: Path, later: Later
) -> None:
    person = Person(server)
    process = coach(server, "run", str(plan))

    def react(line: str) -> None:
        answer(person, line, later)
        if "(hold tone)" in line:
            later(7.4, person.knock, 2)

    text = lived(process, react)
    assert process.returncode == 0, text
    session = record(server)
    air = person.recording()
    tone_s = found_s(air, tone("hold", RATE_HZ).samples)
    knock_s = found_s(air, Person.knocks(2), after_s=tone_s + 5.0)
    (hold,) = session["holds"]
    # Bar of the project: 0.15 s. By hand on a stopwatch the human reaction alone is a few tenths of
    # a second (NIST, Stopwatch and Timer Calibrations, SP 960-12, 2009; from memory).
    assert hold["duration_s"] == pytest.approx(knock_s - tone_s, abs=0.15), text
    assert hold["ended_by"] == "knock"
    # the call: 5 s after the tone, in the air
    call = open_voice(VoiceSettings(), server.folder / "voice").speak("five", RATE_HZ)
    call_s = found_s(air[: round(knock_s * RATE_HZ)], call.samples, after_s=tone_s + 3.0)
    assert call_s - tone_s == pytest.approx(5.0, abs=0.03)
    (pulse,) = session["pulses"]
    assert pulse["beats"] == 22
    assert pulse["bpm"] == 88
    # the last first: it begins as the first one sounds
    last_s = found_s(air, tone("count-end", RATE_HZ).samples, after_s=knock_s)
    first_s = found_s(air[: round(last_s * RATE_HZ)], tone("count", RATE_HZ).samples, knock_s)
    assert last_s - first_s == pytest.approx(15.0, abs=0.03)


def test_a_hold_is_timed_through_a_lost_device_and_kept_when_the_program_is_ended(
    server: SoundServer, plan: Path, later: Later
) -> None:
    person = Person(server)
    process = coach(server, "run", str(plan))
    marks_s: dict[str, float] = {}

    def lose() -> None:
        server.stop()
        time.sleep(1.0)
        server.start()

    def end() -> None:
        marks_s["end"] = time.monotonic()
        person.knock(2)

    def react(line: str) -> None:
        answer(person, line, later)
        if "(hold tone)" in line:
            marks_s["start"] = time.monotonic()
            later(2.0, lose)
        if "  room   back" in line or "  room     back" in line:
            later(6.0, end)
        if "Are you okay" in line:
            process.terminate()

    text = lived(process, react)
    assert process.returncode == 1, text
    assert "lost: " in text
    assert "I could not hear you for a moment" in text
    assert "the microphone gives nothing" not in text
    session = record(server)
    assert session["outcome"]["code"] == 1  # SIGTERM came before the lesson was over
    (hold,) = session["holds"]
    assert hold["ended_by"] == "knock"
    # by the watch of somebody beside them; the line comes when the tone of 0.35 s is over
    by_watch_s = marks_s["end"] - marks_s["start"] + 0.35
    assert hold["duration_s"] == pytest.approx(by_watch_s, abs=0.7), text


def test_a_muted_microphone_is_told_when_the_session_ends(server: SoundServer, plan: Path) -> None:
    server.call("pactl", "set-source-mute", f"{server.air}.monitor", "1")
    process = coach(server, "run", str(plan))

    def react(line: str) -> None:
        if "  coach  " in line:
            process.terminate()

    text = lived(process, react)
    assert "the microphone gives nothing, not even noise: it is muted" in text, text

"""What the ear hears in computed rooms: double talk, its own voice, knocks, other speech."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr

from benchmarks.air import (
    SPEECH_DB,
    Noticed,
    Said,
    at_level,
    coach_speech,
    commands,
    echo_of,
    heard_in,
    knocks,
    lines_without_values,
    matched,
    plainly_heard,
    track,
    with_noise,
)
from benchmarks.people import held_out_voices, said
from benchmarks.plain_script import PlainEar
from coach.app.equipment import Equipment
from coach.ear.frames import FRAME, level_db
from coach.ear.own_voice import OwnVoice
from coach.ports import EAR_RATE_HZ, Audio
from coach.room.people import knock_samples

WORDS = ("stop", "done")
ECHO_TO_SPEECH_DB = (0.0, 6.0, 12.0)
LINE_GAP_S = 0.6
OVER_S = 2.5  # a line is long enough for a word to be said over it


def double_talk(equipment: Equipment, plain: PlainEar, trials: int) -> dict[str, Any]:
    """Words said over the coach, at several levels of its echo."""
    speech = [line for line in coach_speech(equipment) if len(line) > OVER_S * EAR_RATE_HZ]
    voices = held_out_voices()
    found: dict[str, Any] = {"voices": ", ".join(voices)}
    for over_db in ECHO_TO_SPEECH_DB:
        rng = np.random.default_rng(round(over_db) + 11)
        lines = [speech[i] for i in np.resize(rng.permutation(len(speech)), trials)]
        played = track(lines, 1.5)
        person: Audio = np.zeros_like(played)
        words: list[Said] = []
        at = 0
        for number, line in enumerate(lines):
            at += round(1.5 * EAR_RATE_HZ)
            word = WORDS[number % len(WORDS)]
            clip = said(voices[number // len(WORDS) % len(voices)], word)
            start = at + round(rng.uniform(0.5, 1.2) * EAR_RATE_HZ)
            person[start : start + len(clip)] += at_level(clip, SPEECH_DB)
            words.append(Said(word, start / EAR_RATE_HZ, (start + len(clip)) / EAR_RATE_HZ))
            at += len(line)
        echo = echo_of(played, SPEECH_DB + over_db, rng, 0.06)
        microphone = with_noise(echo + person, rng)
        ours = commands(heard_in(equipment, microphone, played))
        stops = [word for word in words if word.what == "stop"]
        found[f"echo {over_db:+.0f} dB"] = {
            **matched(words, ours),
            "stop alone": matched(stops, ours)["heard"],
            "plain script": matched(words, commands(plainly_heard(plain, microphone))),
        }
    return found


def own_voice(equipment: Equipment, plain: PlainEar, hours: float) -> dict[str, Any]:
    """Nobody is there; the coach speaks in rooms of several kinds."""
    clips = coach_speech(equipment)
    speech = track(clips, LINE_GAP_S)
    ends_s = np.cumsum([len(clip) / EAR_RATE_HZ + LINE_GAP_S for clip in clips])
    names = [*lines_without_values(equipment), "after the last"]
    rng = np.random.default_rng(4)
    seconds, took_s = 0.0, 0.0
    ours: list[Noticed] = []
    plains: list[Noticed] = []
    losses: list[float] = []
    what: list[str] = []
    while seconds < hours * 3600:
        delay_s, echo_db = rng.uniform(0.01, 0.2), rng.uniform(-35.0, -15.0)
        microphone = with_noise(echo_of(speech, echo_db, rng, delay_s), rng)
        began_s = time.perf_counter()
        found = heard_in(equipment, microphone, speech)
        took_s += time.perf_counter() - began_s
        ours += found
        for one in commands(found):
            line = names[int(np.searchsorted(ends_s, one.onset_s))]
            what.append(f"{one.text!r} in {line}, echo {echo_db:.0f} dB")
        plains += plainly_heard(plain, microphone)
        losses.append(echo_loss(microphone, speech))
        seconds += len(speech) / EAR_RATE_HZ
    return {
        "hours": round(seconds / 3600, 2),
        "false_commands": len(commands(ours)),
        "what": what,
        "false_double_knocks": len(knocks(ours, 2)),
        "false_single_knocks": len(knocks(ours, 1)),
        "echo_taken_away_db": round(float(np.median(losses)), 1),
        "ear_of_real_time": round(took_s / seconds, 3),
        "plain script": {
            "false_commands": len(commands(plains)),
            "false_double_knocks": len(knocks(plains, 2)),
            "false_single_knocks": len(knocks(plains, 1)),
            "echo_taken_away_db": 0.0,
        },
    }


def echo_loss(microphone: Audio, played: Audio) -> float:
    """By how much the canceller lowers the coach, after ten seconds."""
    own = OwnVoice()
    end = min(len(played), 60 * EAR_RATE_HZ) // FRAME * FRAME
    cleaned = [
        own.cancel(microphone[at : at + FRAME], played[at : at + FRAME])
        for at in range(0, end, FRAME)
    ]
    after = 10 * EAR_RATE_HZ
    return level_db(microphone[after:end]) - level_db(np.concatenate(cleaned)[after:])


def knocking(equipment: Equipment, plain: PlainEar, count: int) -> dict[str, Any]:
    """Single and double knocks in a quiet room and over the coach."""
    found: dict[str, Any] = {}
    speech = track(coach_speech(equipment), LINE_GAP_S)
    for times, name in ((1, "single"), (2, "double")):
        for over in ("silence", "the coach"):
            rng = np.random.default_rng(6)
            frames = round((count * 3.0 + 10.0) * EAR_RATE_HZ)
            played = np.resize(speech, frames) if over == "the coach" else np.zeros(frames)
            played = played.astype(np.float32)
            person, truth = _knocks(times, count, frames, rng)
            echo = echo_of(played, SPEECH_DB, rng, 0.06) if played.any() else played
            microphone = with_noise(echo + person, rng)
            ours = knocks(heard_in(equipment, microphone, played), times)
            plains = knocks(plainly_heard(plain, microphone), times)
            found[f"{name} in {over}"] = {
                **matched(truth, ours),
                "plain script": matched(truth, plains),
            }
    return found


def _knocks(
    times: int, count: int, frames: int, rng: np.random.Generator
) -> tuple[Audio, list[Said]]:
    sound = knock_samples(times, EAR_RATE_HZ)
    track: Audio = np.zeros(frames, np.float32)
    truth = []
    for number in range(count):
        at = round((10.0 + number * 3.0 + rng.uniform(0, 0.5)) * EAR_RATE_HZ)
        peak = 10 ** (rng.uniform(-24.0, -10.0) / 20)
        track[at : at + len(sound)] += sound * np.float32(peak)
        end_s = (at + len(sound)) / EAR_RATE_HZ
        truth.append(Said(f"knock {times}", at / EAR_RATE_HZ, end_s))
    return track, truth


def others(
    equipment: Equipment, plain: PlainEar, folder: Path, situation: str, most_hours: float
) -> dict[str, Any]:
    """Recordings of other people in that situation, while the coach is silent."""
    seconds = 0.0
    ours: list[Noticed] = []
    plains: list[Noticed] = []
    what: list[str] = []
    for path in sorted(folder.rglob("*.wav")):
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
        samples = at_level(soxr.resample(samples[:, 0], rate_hz, EAR_RATE_HZ), SPEECH_DB)
        samples = samples[: round((most_hours * 3600 - seconds) * EAR_RATE_HZ)]
        found = heard_in(equipment, samples, np.zeros_like(samples), situation)
        ending = commands(found) + knocks(found, 2)
        what += [f"{one.text or one.what!r} {path.name} {one.onset_s:.1f} s" for one in ending]
        ours += found
        plains += plainly_heard(plain, samples)
        seconds += len(samples) / EAR_RATE_HZ
        if seconds >= most_hours * 3600:
            break
    hours = seconds / 3600
    return {
        "hours": round(hours, 2),
        "false_commands": len(commands(ours)),
        "false_commands_per_hour": round(len(commands(ours)) / hours, 2),
        "what": what,
        "false_double_knocks": len(knocks(ours, 2)),
        "false_single_knocks": len(knocks(ours, 1)),
        "plain script": {
            "false_commands_per_hour": round(len(commands(plains)) / hours, 2),
            "false_double_knocks": len(knocks(plains, 2)),
            "false_single_knocks": len(knocks(plains, 1)),
        },
    }

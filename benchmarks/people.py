"""People for the computed rooms: synthetic voices that no part of the ear has been made with.

All of them come from ordinary packages (Debian: flite, festival, festvox-kdlpc16k; eSpeak NG comes
with the coach), and are rendered when the benchmark runs.
"""

from __future__ import annotations

import io
import shutil
import subprocess
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile
import soxr

from coach.ports import EAR_RATE_HZ, Audio
from coach.voice.choose import participant_voice

FESTIVAL_VOICES = Path("/usr/share/festival/voices/english")
OUTSIDE_DB = -30.0  # below its loudest moment a clip has not begun, or has ended


def held_out_voices() -> list[str]:
    """The voices that this machine has; training/voices.py keeps the same ones apart."""
    voices = ["espeak:en-gb+Michael@160", "espeak:en-us+linda@150", "espeak:en-gb-scotland+f4@150"]
    if shutil.which("flite"):
        voices.append("flite:awb")
    if shutil.which("text2wave") and (FESTIVAL_VOICES / "ked_diphone").is_dir():
        voices.append("festival:ked_diphone")
    return voices


@cache
def said(voice: str, text: str) -> Audio:
    """The text in that voice, without the silence around it."""
    kind, _, name = voice.partition(":")
    if kind == "flite":
        samples = _programs_sound(f"flite -voice {name} -o OUT -t", [text])
    elif kind == "festival":
        samples = _programs_sound(f"text2wave -eval (voice_{name}) -o OUT", [], text)
    else:
        samples = participant_voice(voice).speak(text, EAR_RATE_HZ).samples
    power = np.convolve(samples**2, np.ones(160) / 160, "same")
    sounding = np.flatnonzero(power > power.max() * 10 ** (OUTSIDE_DB / 10))
    return samples[sounding[0] : sounding[-1]]


def _programs_sound(command: str, arguments: list[str], typed: str = "") -> Audio:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        words = [str(path) if word == "OUT" else word for word in command.split()]
        subprocess.run([*words, *arguments], input=typed, text=True, check=True, timeout=60)
        samples, rate_hz = soundfile.read(io.BytesIO(path.read_bytes()), dtype="float32")
    resampled: Audio = soxr.resample(samples, rate_hz, EAR_RATE_HZ)
    return resampled

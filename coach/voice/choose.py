"""Which voice: the coach's from the settings, a participant's from its name in a scene."""

from __future__ import annotations

import re
from pathlib import Path

from coach.ports import VoiceError
from coach.settings import VoiceSettings
from coach.voice import natural
from coach.voice.espeak import PACE_WPM, EspeakSynthesiser
from coach.voice.natural import NaturalSynthesiser
from coach.voice.synthesised import SynthesisedVoice
from coach.voice.synthesiser import Synthesiser

_PARTICIPANT_LUFS = -23.0  # a scene moves it by its own gains
_ESPEAK = re.compile(r"espeak:(?P<voice>[^@\s]+)(?:@(?P<rate>\d+))?")
_NATURAL = re.compile(r"natural(?::(?P<pitch>\d+(?:\.\d+)?))?")


def open_voice(settings: VoiceSettings, cache: Path) -> SynthesisedVoice:
    """The coach's voice; eSpeak NG where the natural one is not installed. Its name tells which.

    `settings.speed` is left to the caller, who gives a speed with each text.
    """
    wants_natural = settings.name == "natural" and natural.is_installed()
    synthesiser: Synthesiser = NaturalSynthesiser() if wants_natural else EspeakSynthesiser()
    return SynthesisedVoice(synthesiser, settings.loudness_lufs, cache / "clips")


def participant_voice(name: str, cache: Path | None = None) -> SynthesisedVoice:
    """A voice for somebody in a scene. Raises VoiceError for a name that is none.

    "espeak:en-us+m3" is an eSpeak NG language with a variant, "espeak:en-gb@170" with a rate in
    words a minute; "natural" is the natural voice, "natural:0.85" the same as of a larger person
    (pitch and formants times 0.7 to 1.4).
    """
    return SynthesisedVoice(_synthesiser(name), _PARTICIPANT_LUFS, cache and cache / "clips")


def _synthesiser(name: str) -> Synthesiser:
    if found := _ESPEAK.fullmatch(name):
        rate = int(found["rate"] or PACE_WPM)
        if 80 <= rate <= 300:
            return EspeakSynthesiser(found["voice"], rate)
    elif found := _NATURAL.fullmatch(name):
        pitch = float(found["pitch"] or 1.0)
        if 0.7 <= pitch <= 1.4:
            return NaturalSynthesiser(pitch)
    raise VoiceError(
        f"{name!r} is not a voice; write espeak:LANGUAGE, espeak:LANGUAGE+VARIANT@RATE "
        "(rate 80 to 300), natural, or natural:PITCH (0.7 to 1.4)"
    )

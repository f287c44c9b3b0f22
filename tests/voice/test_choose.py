from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from coach.ports import Voice, VoiceError
from coach.voice.choose import participant_voice
from coach.voice.synthesiser import package_version
from tests.voice.conformance import RATE_HZ, centroid_hz

NAMES = ("espeak:en-us+m3", "espeak:en-gb+f2", "espeak:en-gb", "natural", "natural:0.8")
TEXT = "Twenty two, and I feel fine today."


def test_the_people_of_a_scene_sound_different() -> None:
    voices: list[Voice] = [participant_voice(name) for name in NAMES]
    clips = [voice.speak(TEXT, RATE_HZ) for voice in voices]
    pairs = [(a, b) for n, a in enumerate(clips) for b in clips[n + 1 :]]
    assert not any(np.array_equal(a.samples, b.samples) for a, b in pairs)


def test_a_lower_natural_voice_is_lower_and_as_fast() -> None:
    usual, low = (participant_voice(n).speak(TEXT, RATE_HZ) for n in ("natural", "natural:0.8"))
    assert centroid_hz(low) < 0.9 * centroid_hz(usual)
    assert low.duration_s == pytest.approx(usual.duration_s, rel=0.15)


def test_a_rate_makes_a_participant_talk_faster() -> None:
    slow, fast = (participant_voice(f"espeak:en-us@{r}").speak(TEXT, RATE_HZ) for r in (110, 200))
    assert fast.duration_s < 0.75 * slow.duration_s


def test_names_of_voices_come_back() -> None:
    assert [participant_voice(name).name for name in NAMES] == list(NAMES)


def test_two_rates_of_one_voice_do_not_share_clips(tmp_path: Path) -> None:
    slow, fast = (participant_voice(f"espeak:en-us@{r}", tmp_path) for r in (110, 200))
    assert slow.speak("ten", RATE_HZ).duration_s > fast.speak("ten", RATE_HZ).duration_s


@pytest.mark.parametrize(
    "name", ["", "robot", "espeak:", "espeak:en us", "espeak:en-us@9", "natural:5", "natural:low"]
)
def test_a_name_that_is_no_voice_is_refused_with_the_way_to_write_one(name: str) -> None:
    with pytest.raises(VoiceError, match=r"is not a voice; write espeak:LANGUAGE") as refused:
        participant_voice(name)
    assert repr(name) in str(refused.value)


def test_a_package_without_a_version_stops_nobody() -> None:
    assert package_version("hibari-tts").startswith("hibari-tts 0.")
    assert package_version("no-such-package") == "no-such-package not installed"

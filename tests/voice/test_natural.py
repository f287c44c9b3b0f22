from __future__ import annotations

import sys
from pathlib import Path

import pytest

from coach.ports import VoiceError
from coach.settings import VoiceSettings
from coach.voice.choose import open_voice
from coach.voice.natural import NaturalSynthesiser
from coach.voice.synthesised import SynthesisedVoice
from tests.voice.conformance import RATE_HZ, TARGET_LUFS, VoiceConformance


@pytest.fixture(scope="module")
def voice(tmp_path_factory: pytest.TempPathFactory) -> SynthesisedVoice:
    return open_voice(VoiceSettings(name="natural"), tmp_path_factory.mktemp("cache"))


@pytest.fixture(scope="module")
def stranger(tmp_path_factory: pytest.TempPathFactory) -> SynthesisedVoice:
    return SynthesisedVoice(NaturalSynthesiser(), TARGET_LUFS, tmp_path_factory.mktemp("other"))


class TestNatural(VoiceConformance):
    def test_it_is_the_voice_that_was_asked_for(self, voice: SynthesisedVoice) -> None:
        assert voice.name == "natural"

    def test_a_script_it_cannot_read_is_refused_and_not_silence(
        self, voice: SynthesisedVoice
    ) -> None:
        with pytest.raises(VoiceError, match="cannot speak the text '日本'"):
            voice.speak("日本", RATE_HZ)


def test_without_its_package_espeak_speaks_instead(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "hibari", None)
    voice = open_voice(VoiceSettings(name="natural"), tmp_path)
    assert voice.name == "espeak:en-gb"
    assert voice.speak("ten", RATE_HZ).duration_s > 0.2


def test_a_damaged_model_is_one_clear_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    damaged = tmp_path / "model.onnx"
    damaged.write_bytes(b"not a model")
    monkeypatch.setattr("hibari.tts.voice_path", lambda name: str(damaged))
    with pytest.raises(VoiceError, match=r"cannot be loaded .*install hibari-tts again") as failed:
        SynthesisedVoice(NaturalSynthesiser(), TARGET_LUFS, tmp_path).speak("ten", RATE_HZ)
    assert "\n" not in str(failed.value)

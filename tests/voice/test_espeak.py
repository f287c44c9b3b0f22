from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from coach.ports import VoiceError
from coach.settings import VoiceSettings
from coach.voice.choose import open_voice
from coach.voice.espeak import EspeakSynthesiser
from coach.voice.synthesised import SynthesisedVoice
from coach.voice.synthesiser import Utterance
from tests.voice.conformance import TARGET_LUFS, VoiceConformance

TEN = [Utterance("ten", 1.0)]


@pytest.fixture(scope="module")
def voice(tmp_path_factory: pytest.TempPathFactory) -> SynthesisedVoice:
    return open_voice(VoiceSettings(name="espeak"), tmp_path_factory.mktemp("cache"))


@pytest.fixture(scope="module")
def stranger(tmp_path_factory: pytest.TempPathFactory) -> SynthesisedVoice:
    return SynthesisedVoice(EspeakSynthesiser(), TARGET_LUFS, tmp_path_factory.mktemp("other"))


class TestEspeak(VoiceConformance):
    def test_it_is_the_voice_that_was_asked_for(self, voice: SynthesisedVoice) -> None:
        assert voice.name == "espeak:en-gb"


def test_a_long_text_is_written_to_its_end() -> None:
    once, often = EspeakSynthesiser().render(
        [Utterance("Breathe out slowly. ", 1.0), Utterance("Breathe out slowly. " * 30, 1.0)]
    )
    assert len(often.samples) > 25 * len(once.samples)


def test_the_same_line_is_spoken_alike_each_time() -> None:
    # two hundred: pyttsx3's first rate once overtook ours in one line of a hundred
    line = Utterance("The end of one hold is not known.", 1.0)
    clips = EspeakSynthesiser().render([line] * 200)
    assert {clip.samples.tobytes() for clip in clips} == {clips[0].samples.tobytes()}


def test_a_breathy_voice_gives_the_same_samples_a_second_later() -> None:
    # eSpeak NG makes breath of random numbers that it starts from the time in whole seconds
    (first,) = EspeakSynthesiser("en-us+f3").render(TEN)
    time.sleep(1.1)
    (second,) = EspeakSynthesiser("en-us+f3").render(TEN)
    np.testing.assert_array_equal(first.samples, second.samples)


@pytest.mark.parametrize(
    ("name", "wrong", "offered"),
    [("en-xx", "voice 'en-xx'", "en-us"), ("en-us+nobody", "variant 'nobody'", "f3")],
)
def test_an_unknown_voice_is_named_and_the_known_ones_are_listed(
    name: str, wrong: str, offered: str
) -> None:
    with pytest.raises(VoiceError, match=f"there is no {wrong}; there are: .*{offered}"):
        EspeakSynthesiser(name).render(TEN)


def test_a_synthesiser_that_does_not_answer_is_given_up() -> None:
    with pytest.raises(VoiceError, match="did not answer within"):
        EspeakSynthesiser(limit_s=0.005).render(TEN)


def test_a_broken_package_is_one_clear_line(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "pyttsx3.py").write_text("raise ImportError('half installed')\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(VoiceError, match=r"half installed; install pyttsx3 .* again$") as failed:
        EspeakSynthesiser().render(TEN)
    assert "\n" not in str(failed.value)


def test_a_package_that_writes_nothing_is_noticed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "wave.py").write_text("def open(*args):\n    raise OSError('disk full')\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(VoiceError, match="rendered nothing for 'ten'"):
        EspeakSynthesiser().render(TEN)


def test_a_temporary_folder_that_is_gone_is_one_clear_line(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    with pytest.raises(VoiceError, match="temporary folder"):
        EspeakSynthesiser().render(TEN)

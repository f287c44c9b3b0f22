"""`coach hear` on files as people have them."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
import soxr

from coach.border import BadInput
from coach.ear.model import SpeechModel
from coach.ear.recordings import read_recording, run_hear
from coach.ports import EAR_RATE_HZ, Audio
from tests.ear.air import BRITON, clip

FINDING = {
    "type": "object",
    "additionalProperties": False,
    "required": ["file", "kind", "value", "text", "onset_s", "end_s", "confidence"],
    "properties": {
        "file": {"type": "string"},
        "kind": {"enum": ["command", "number"]},
        "value": {"type": ["string", "integer"]},
        "text": {"type": "string", "minLength": 1},
        "onset_s": {"type": "number", "minimum": -0.1},
        "end_s": {"type": "number"},
        "confidence": {"type": "number", "minimum": 0, "maximum": 1},
    },
}


def spoken(*words: str, gap_s: float = 1.0) -> Audio:
    gap = np.zeros(round(gap_s * EAR_RATE_HZ), np.float32)
    return np.concatenate([gap, *(part for word in words for part in (clip(word, BRITON), gap))])


def hear_json(
    model: SpeechModel, *paths: Path, grammar: str | None = None
) -> tuple[int, list[dict[str, object]], str]:
    out, errors = io.StringIO(), io.StringIO()
    code = run_hear(paths, grammar, model, as_json=True, out=out, errors=errors)
    found = [json.loads(line) for line in out.getvalue().splitlines()]
    for each in found:
        jsonschema.validate(each, FINDING)
    return code, found, errors.getvalue()


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 44_100, 48_000])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_any_rate_and_width_gives_the_same(
    tmp_path: Path, model: SpeechModel, rate_hz: int, subtype: str
) -> None:
    path = tmp_path / "a.wav"
    sound = soxr.resample(spoken("yes", "twenty two"), EAR_RATE_HZ, rate_hz)
    soundfile.write(path, sound, rate_hz, subtype=subtype)
    code, found, errors = hear_json(model, path, grammar="number")
    assert (code, errors) == (0, "")
    assert [(each["kind"], each["value"]) for each in found] == [("command", "yes"), ("number", 22)]
    assert found[0]["onset_s"] == pytest.approx(1.0, abs=0.08)
    second_s = 2.0 + len(clip("yes", BRITON)) / EAR_RATE_HZ
    assert found[1]["onset_s"] == pytest.approx(second_s, abs=0.08)


@pytest.mark.parametrize("name", ["a.flac", "a.ogg"])
def test_other_formats_are_read(tmp_path: Path, model: SpeechModel, name: str) -> None:
    soundfile.write(tmp_path / name, spoken("stop"), EAR_RATE_HZ)
    _, found, _ = hear_json(model, tmp_path / name)
    assert [each["value"] for each in found] == ["stop"]


@pytest.mark.parametrize("channel", [0, 1])
def test_one_silent_channel_does_not_matter(
    tmp_path: Path, model: SpeechModel, channel: int
) -> None:
    sound = spoken("stop")
    stereo = np.zeros((len(sound), 2), np.float32)
    stereo[:, channel] = sound
    soundfile.write(tmp_path / "a.wav", stereo, EAR_RATE_HZ)
    _, found, _ = hear_json(model, tmp_path / "a.wav")
    assert [each["value"] for each in found] == ["stop"]


def test_a_recording_may_begin_and_end_with_speech(tmp_path: Path, model: SpeechModel) -> None:
    soundfile.write(tmp_path / "a.wav", clip("yes", BRITON), EAR_RATE_HZ)
    _, found, _ = hear_json(model, tmp_path / "a.wav", grammar="question.jsgf")
    assert [each["value"] for each in found] == ["yes"]


def test_a_correction_is_a_command_and_a_number(tmp_path: Path, model: SpeechModel) -> None:
    soundfile.write(tmp_path / "a.wav", spoken("no twenty one"), EAR_RATE_HZ)
    _, found, _ = hear_json(model, tmp_path / "a.wav", grammar="number")
    assert [(each["kind"], each["value"]) for each in found] == [("command", "no"), ("number", 21)]


def test_what_is_no_sound_is_one_line_and_the_others_are_heard(
    tmp_path: Path, model: SpeechModel
) -> None:
    text, missing, empty = tmp_path / "a.wav", tmp_path / "missing.wav", tmp_path / "b.wav"
    text.write_text("not sound at all")
    empty.write_bytes(b"")
    good = tmp_path / "c.wav"
    soundfile.write(good, spoken("stop"), EAR_RATE_HZ)
    code, found, errors = hear_json(model, text, missing, empty, good)
    assert code == 2
    lines = errors.splitlines()
    assert len(lines) == 3
    assert f"{text}: is not a sound file" in lines[0]
    assert f"{missing}: there is no such file" in lines[1]
    assert f"{empty}: is not a sound file" in lines[2]
    assert [each["value"] for each in found] == ["stop"]


def test_samples_that_are_no_numbers_are_told(tmp_path: Path) -> None:
    sound = spoken("stop")
    sound[100] = np.nan
    soundfile.write(tmp_path / "a.wav", sound, EAR_RATE_HZ, subtype="FLOAT")
    with pytest.raises(BadInput, match="not numbers"):
        read_recording(tmp_path / "a.wav")


def test_a_sound_file_without_sound_gives_nothing(tmp_path: Path, model: SpeechModel) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros(0, np.float32), EAR_RATE_HZ)
    assert hear_json(model, tmp_path / "a.wav") == (0, [], "")


def test_plain_lines_name_file_time_and_words(tmp_path: Path, model: SpeechModel) -> None:
    soundfile.write(tmp_path / "a.wav", spoken("stop"), EAR_RATE_HZ)
    out = io.StringIO()
    assert run_hear([tmp_path / "a.wav"], None, model, out=out, errors=io.StringIO()) == 0
    (line,) = out.getvalue().splitlines()
    assert line.startswith(f"{tmp_path / 'a.wav'}: 1.0")
    assert 'command stop  "stop"' in line


def test_a_grammar_that_is_none_is_told_before_anything_is_heard(
    tmp_path: Path, model: SpeechModel
) -> None:
    with pytest.raises(BadInput, match="there is no such grammar"):
        run_hear([tmp_path / "missing.wav"], "nonsense", model, out=io.StringIO())

"""A rendered line outlives the synthesiser; a broken cache never costs a line."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from coach.ports import Clip, VoiceError
from coach.voice.cache import UNUSED_S, ClipCache
from coach.voice.natural import NaturalSynthesiser
from coach.voice.synthesised import SynthesisedVoice
from tests.voice.conformance import RATE_HZ

LINE = "Take a calm breath."


def voice_with(cache: Path, loudness_lufs: float = -23.0) -> SynthesisedVoice:
    return SynthesisedVoice(NaturalSynthesiser(), loudness_lufs, cache)


def lose_the_synthesiser(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "hibari", None)


def test_a_line_once_rendered_needs_no_synthesiser(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rendered = voice_with(tmp_path).speak(LINE, RATE_HZ)
    lose_the_synthesiser(monkeypatch)
    kept = voice_with(tmp_path).speak(LINE, RATE_HZ)
    np.testing.assert_array_equal(kept.samples, rendered.samples)
    assert kept.samples.dtype == np.float32


def test_what_sounds_different_is_not_taken_from_the_cache(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    voice_with(tmp_path).speak(LINE, RATE_HZ)
    lose_the_synthesiser(monkeypatch)
    same = voice_with(tmp_path)
    others: list[Callable[[], Clip]] = [
        lambda: same.speak("Take a calm breath", RATE_HZ),
        lambda: same.speak(LINE, 16_000),
        lambda: same.speak(LINE, RATE_HZ, 1.1),
        lambda: voice_with(tmp_path, -20.0).speak(LINE, RATE_HZ),
        lambda: SynthesisedVoice(NaturalSynthesiser(0.8), -23.0, tmp_path).speak(LINE, RATE_HZ),
    ]
    for other in others:
        with pytest.raises(VoiceError):
            other()


def test_what_was_not_spoken_for_long_is_deleted(tmp_path: Path) -> None:
    voice_with(tmp_path).speak(LINE, RATE_HZ)
    (old,) = tmp_path.iterdir()
    voice_with(tmp_path).speak("Rest now.", RATE_HZ)
    (new,) = set(tmp_path.iterdir()) - {old}
    long_ago_s = old.stat().st_mtime - UNUSED_S - 60
    os.utime(old, (long_ago_s, long_ago_s))
    voice_with(tmp_path)
    assert list(tmp_path.iterdir()) == [new]


def cut_short(content: bytes) -> bytes:
    return content[: len(content) // 2]


def flip_a_bit(content: bytes) -> bytes:
    return content[:-1] + bytes([content[-1] ^ 1])


def empty(content: bytes) -> bytes:
    return b""


@pytest.mark.parametrize("damage", [cut_short, flip_a_bit, empty])
def test_a_damaged_file_is_rendered_again_and_mended(
    damage: Callable[[bytes], bytes], tmp_path: Path
) -> None:
    rendered = voice_with(tmp_path).speak(LINE, RATE_HZ)
    (file,) = tmp_path.iterdir()
    whole = file.read_bytes()
    file.write_bytes(damage(whole))
    again = voice_with(tmp_path).speak(LINE, RATE_HZ)
    np.testing.assert_array_equal(again.samples, rendered.samples)
    assert file.read_bytes() == whole


def test_a_folder_that_cannot_be_written_keeps_lines_in_memory(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "in-the-way").write_text("a file where a folder should be")
    voice = voice_with(tmp_path / "in-the-way" / "clips")
    rendered = voice.speak(LINE, RATE_HZ)
    lose_the_synthesiser(monkeypatch)
    np.testing.assert_array_equal(voice.speak(LINE, RATE_HZ).samples, rendered.samples)


def test_no_half_written_file_is_left(tmp_path: Path) -> None:
    voice_with(tmp_path).speak_all([LINE, "ten", "twenty"], RATE_HZ)
    assert [file.suffix for file in tmp_path.iterdir()] == [".clip"] * 3


def test_memory_does_not_grow_without_end(tmp_path: Path) -> None:
    cache = ClipCache(None)
    for n in range(1000):
        cache.put(str(n), np.zeros(10, np.float32))
    assert cache.get("0") is None
    assert cache.get("999") is not None


def test_a_clip_that_cannot_be_put_in_its_place_leaves_no_rest(tmp_path: Path) -> None:
    voice_with(tmp_path).speak(LINE, RATE_HZ)
    (file,) = tmp_path.iterdir()
    file.unlink()
    file.mkdir()
    voice = voice_with(tmp_path)
    np.testing.assert_array_equal(
        voice.speak(LINE, RATE_HZ).samples, voice.speak(LINE, RATE_HZ).samples
    )
    assert list(tmp_path.iterdir()) == [file]

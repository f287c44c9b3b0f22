"""Numbers and other speech by people, heard by `coach hear`'s way.

Clips: Debian package asterisk-core-sounds-en-g722 (recordings by a professional speaker,
CC-BY-SA-3.0), ITU-T G.722 at 64 kbit/s, decoded by PyPI g722 (libg722). Speech with known words:
Debian package pocketsphinx-testdata (BSD-2-Clause): goforward.raw says "go forward ten
meters", librivox is read prose, cards are names of playing cards.
Where a package is not installed its tests are skipped; the project's CI installs both.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from coach.ear.model import SpeechModel, shipped_model
from coach.ear.recordings import hear_samples
from coach.ports import EAR_RATE_HZ, Audio
from coach.practice.words import Command

DIGITS = Path("/usr/share/asterisk/sounds/en_US_f_Allison/digits")
SPHINX = Path("/usr/share/pocketsphinx/test/data")
NUMBERS = [*range(21), *range(30, 100, 10)]
LEAST_RIGHT = 0.9

needs_digits = pytest.mark.skipif(
    not DIGITS.is_dir(), reason="needs the Debian package asterisk-core-sounds-en-g722"
)
needs_sphinx = pytest.mark.skipif(
    not SPHINX.is_dir(), reason="needs the Debian package pocketsphinx-testdata"
)


@pytest.fixture(scope="module")
def model() -> SpeechModel:
    return SpeechModel(shipped_model())


def decoded(path: Path) -> Audio:
    g722 = pytest.importorskip("G722")
    samples = g722.G722(EAR_RATE_HZ, 64_000).decode(path.read_bytes())
    return np.asarray(samples, np.float32) / np.float32(32768)


def number_heard(samples: Audio, model: SpeechModel) -> list[int | None]:
    return [event.number for event in hear_samples(samples, model, "number")]


@needs_digits
def test_a_persons_numbers(model: SpeechModel) -> None:
    heard = {n: number_heard(decoded(DIGITS / f"{n}.g722"), model) for n in NUMBERS}
    wrong = {n: got for n, got in heard.items() if got != [n]}
    assert len(wrong) <= (1 - LEAST_RIGHT) * len(NUMBERS), wrong


@needs_digits
@pytest.mark.parametrize(("tens", "one"), [(20, 1), (20, 7), (30, 2), (40, 8), (60, 5), (80, 3)])
def test_a_persons_two_words_are_one_number(model: SpeechModel, tens: int, one: int) -> None:
    words = np.concatenate([decoded(DIGITS / f"{n}.g722") for n in (tens, one)])
    assert number_heard(words, model) == [tens + one]


@needs_digits
def test_a_persons_hundred_and_more(model: SpeechModel) -> None:
    parts = [decoded(DIGITS / f"{name}.g722") for name in ("1", "hundred", "20")]
    assert number_heard(np.concatenate(parts), model) == [120]


@needs_sphinx
@pytest.mark.parametrize("situation", ["anytime", "question", "hold", "check-in", "asleep"])
def test_read_prose_and_card_names_are_no_commands(model: SpeechModel, situation: str) -> None:
    for path in [*sorted(SPHINX.glob("librivox/*.wav")), *sorted(SPHINX.glob("cards/*.wav"))]:
        samples, rate_hz = soundfile.read(path, dtype="float32")
        assert rate_hz == EAR_RATE_HZ
        assert hear_samples(samples, model, situation) == [], path.name


@needs_sphinx
def test_speech_for_another_machine_gives_no_stop(model: SpeechModel) -> None:
    pcm = np.fromfile(SPHINX / "goforward.raw", "<i2")
    raw = pcm.astype(np.float32) / np.float32(32768)
    assert not [e for e in hear_samples(raw, model) if e.command is Command.STOP]

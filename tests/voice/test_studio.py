"""Clips made in a process of its own are the clips made here, and it may come and go."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest

from coach.ports import VoiceError
from coach.voice.choose import participant_voice
from coach.voice.espeak import EspeakSynthesiser
from coach.voice.natural import NaturalSynthesiser
from coach.voice.studio import Apart, Here
from coach.voice.synthesised import SynthesisedVoice
from coach.voice.synthesiser import Raw, Synthesiser, Utterance

RATE_HZ = 16_000
LUFS = -23.0
TEXTS = [Utterance("Easy breaths.", 1.0), Utterance("ten", 1.25)]


class Telling:
    """A synthesiser whose sound is the number of its process, or which ends that process."""

    name = "telling"
    version = "1"

    def render(self, utterances: Sequence[Utterance]) -> list[Raw]:
        if utterances[0].text == "end":
            os.kill(os.getpid(), signal.SIGKILL)
        if utterances[0].text == "print":
            print("hello")
        if utterances[0].text == "fail":
            raise VoiceError("no such voice")
        tone = np.sin(np.arange(RATE_HZ) * 0.3).astype(np.float32)
        return [Raw(tone[: os.getpid() % 8000 + 4000], RATE_HZ) for _ in utterances]


@pytest.fixture
def apart() -> Iterator[Apart]:
    studio = Apart(Telling(), idle_s=30.0)
    yield studio
    studio.close()


def length(studio: Apart | Here) -> int:
    (made,) = studio.make([Utterance("x", 1.0)], RATE_HZ, LUFS)
    return len(made)


@pytest.mark.parametrize("synthesiser", [EspeakSynthesiser(), NaturalSynthesiser()])
def test_the_samples_are_the_same_wherever_they_are_made(synthesiser: Synthesiser) -> None:
    apart = Apart(synthesiser)
    try:
        theirs = apart.make(TEXTS, RATE_HZ, LUFS)
    finally:
        apart.close()
    ours = Here(synthesiser).make(TEXTS, RATE_HZ, LUFS)
    assert all(np.array_equal(a, b) for a, b in zip(ours, theirs, strict=True))


def test_it_is_another_process_and_stays_while_there_is_work(apart: Apart) -> None:
    first = length(apart)
    assert first != length(Here(Telling()))
    assert length(apart) == first


def test_it_goes_when_nothing_is_spoken_and_comes_back() -> None:
    apart = Apart(Telling(), idle_s=0.2)
    first = length(apart)
    time.sleep(1.0)
    assert length(apart) != first
    apart.close()


def test_a_process_that_dies_is_one_clear_line_and_the_next_text_works(apart: Apart) -> None:
    with pytest.raises(VoiceError, match="its process ends by itself"):
        apart.make([Utterance("end", 1.0)], RATE_HZ, LUFS)
    assert length(apart) > 0


def test_it_stays_through_any_silence_while_it_is_told_to() -> None:
    apart = Apart(Telling(), idle_s=0.2)
    apart.stay(True)
    first = length(apart)
    time.sleep(1.0)
    assert length(apart) == first
    apart.stay(False)
    time.sleep(1.0)
    assert length(apart) != first
    apart.close()


def test_it_ends_with_a_coach_that_was_killed() -> None:
    program = (
        "from tests.voice.test_studio import *\n"
        "length(studio := Apart(Telling())); print(studio._worker.pid, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    done = subprocess.run([sys.executable, "-c", program], stdout=subprocess.PIPE, check=False)
    worker = Path("/proc", done.stdout.decode().strip())
    ends_s = time.monotonic() + 10.0
    while worker.exists() and time.monotonic() < ends_s:
        time.sleep(0.05)
    assert not worker.exists()


def test_what_the_voice_prints_is_no_answer(apart: Apart) -> None:
    (made,) = apart.make([Utterance("print", 1.0)], RATE_HZ, LUFS)
    assert len(made)


def test_an_error_of_the_voice_comes_through(apart: Apart) -> None:
    with pytest.raises(VoiceError, match="no such voice"):
        apart.make([Utterance("fail", 1.0)], RATE_HZ, LUFS)


def test_a_voice_that_moved_out_speaks_as_before(tmp_path: Path) -> None:
    here = participant_voice("espeak:en-us", tmp_path / "a")
    moved = participant_voice("espeak:en-us", tmp_path / "b")
    assert isinstance(moved, SynthesisedVoice)
    moved.move_out()
    try:
        assert np.array_equal(
            moved.speak("Shoulders soft.", RATE_HZ).samples,
            here.speak("Shoulders soft.", RATE_HZ).samples,
        )
    finally:
        moved.close()

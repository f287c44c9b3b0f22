"""Knocks by themselves: what is one, when it was, what is none."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.knocks import Knock, KnockDetector
from coach.ports import EAR_RATE_HZ, Audio
from coach.practice.events import Knocks
from coach.room.echo import impulse_response
from coach.room.scene import Echo
from tests.ear.air import BRITON, NATURAL, clip, knock_sound


def room(length_s: float, noise_db: float = -60.0) -> Audio:
    rng = np.random.default_rng(11)
    frames = round(length_s * EAR_RATE_HZ)
    return (rng.standard_normal(frames) * 10 ** (noise_db / 20)).astype(np.float32)


def knocked(samples: Audio, mode: Knocks = Knocks.MARKS, step: int = 160) -> list[Knock]:
    detector = KnockDetector(mode)
    found = []
    for at in range(0, len(samples), step):
        found += detector.feed(samples[at : at + step])
    return found


def with_knocks(times_s: list[float], length_s: float, gain: float = 1.0) -> Audio:
    samples = room(length_s)
    for seed, at_s in enumerate(times_s):
        at, sound = round(at_s * EAR_RATE_HZ), knock_sound(seed) * np.float32(gain)
        samples[at : at + len(sound)] += sound
    return samples


@pytest.mark.parametrize("gain", [1.0, 0.3, 0.15])
def test_the_onset_is_right_to_four_milliseconds(gain: float) -> None:
    times_s = [1.0 + 1.5371 * number for number in range(20)]
    found = knocked(with_knocks(times_s, 33.0, gain))
    assert [knock.count for knock in found] == [1] * 20
    errors = [abs(knock.onset_s - at_s) for knock, at_s in zip(found, times_s, strict=True)]
    assert max(errors) <= 0.004 + 1e-9


@pytest.mark.parametrize(("gap_s", "counts"), [(0.13, [2]), (0.3, [2]), (0.59, [2]), (0.8, [1, 1])])
def test_a_quick_pair_is_one_thing(gap_s: float, counts: list[int]) -> None:
    found = knocked(with_knocks([1.0, 1.0 + gap_s], 4.0))
    assert [knock.count for knock in found] == counts
    assert found[0].onset_s == pytest.approx(1.0, abs=0.004)


def test_beats_are_never_joined() -> None:
    times_s = [1.0 + 0.4 * number for number in range(24)]  # 150 a minute
    found = knocked(with_knocks(times_s, 12.0), Knocks.BEATS)
    assert [knock.count for knock in found] == [1] * 24


def test_off_is_off() -> None:
    assert knocked(with_knocks([1.0, 1.3], 3.0), Knocks.OFF) == []


@pytest.mark.parametrize("step", [160, 320, 592, 3200])
def test_the_size_of_the_pieces_changes_nothing(step: int) -> None:
    samples = with_knocks([1.0, 2.0, 2.25, 4.0], 6.0)
    assert knocked(samples, step=step) == knocked(samples, step=160)


@pytest.mark.parametrize("voice", [NATURAL, BRITON])
def test_speech_ends_no_hold(voice: str) -> None:
    texts = ["pick up the packet of tea", "take ten paces", "contraction", "stop", "i am okay",
             "twenty two", "thank you but not today", "the kettle and the cup"]  # fmt: skip
    gap = np.zeros(4000, np.float32)
    speech = np.concatenate([part for text in texts for part in (clip(text, voice), gap)])
    assert [
        knock for knock in knocked(speech + room(len(speech) / EAR_RATE_HZ)) if knock.count == 2
    ] == []


@pytest.mark.parametrize("voice", [NATURAL, BRITON])
def test_running_speech_marks_nothing(voice: str) -> None:
    texts = ["put the big pot on the back of the stove", "the cat sleeps on top of the cupboard",
             "our bus stops in front of the library", "take ten paces to the left"]  # fmt: skip
    gap = np.zeros(8000, np.float32)
    speech = np.concatenate([part for text in texts for part in (gap, clip(text, voice))])
    assert knocked(speech + room(len(speech) / EAR_RATE_HZ)[: len(speech)]) == []


def test_a_sound_that_stays_is_no_knock() -> None:
    samples = room(4.0)
    t = np.arange(2 * EAR_RATE_HZ) / EAR_RATE_HZ
    samples[EAR_RATE_HZ : 3 * EAR_RATE_HZ] += (0.2 * np.sin(2 * np.pi * 400 * t)).astype(np.float32)
    assert knocked(samples) == []


@pytest.mark.parametrize("length_s", [0.05, 0.06, 0.07, 0.08])
def test_a_short_vowel_is_no_knock(length_s: float) -> None:
    t = np.arange(round(length_s * EAR_RATE_HZ)) / EAR_RATE_HZ
    since_pulse_s = t % 0.008  # a voice at 125 Hz ...
    vowel = np.sin(2 * np.pi * 600 * since_pulse_s) * np.exp(-since_pulse_s / 0.006)  # ... says "a"
    samples = room(2.0)
    samples[EAR_RATE_HZ : EAR_RATE_HZ + len(t)] += (0.2 * vowel).astype(np.float32)
    assert knocked(samples) == []


def test_a_knock_in_a_bare_room_is_one() -> None:
    times_s = [1.0 + 1.5371 * number for number in range(20)]
    bare = Echo(gain_db=0.0, delay_s=0.0, reverberation_s=0.4, reverberation_db=0.0)
    response = impulse_response(bare, EAR_RATE_HZ, np.random.default_rng(3))
    found = knocked(np.convolve(with_knocks(times_s, 33.0), response).astype(np.float32))
    assert [knock.count for knock in found] == [1] * 20

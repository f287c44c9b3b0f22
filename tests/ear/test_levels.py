"""Who stands out of what was before, and since when: on sounds whose times are known."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.frames import FRAME
from coach.ear.levels import STANDS_OUT_DB, Levels
from coach.ports import EAR_RATE_HZ, Audio
from tests.ear.air import clip


def room(length_s: float, sounds: dict[float, tuple[Audio, float]]) -> Levels:
    """Levels of noise with sounds at times, each with a gain in dB."""
    rng = np.random.default_rng(5)
    air = (rng.standard_normal(round(length_s * EAR_RATE_HZ)) * 1e-3).astype(np.float32)
    for at_s, (samples, gain_db) in sounds.items():
        at = round(at_s * EAR_RATE_HZ)
        air[at : at + len(samples)] += samples * np.float32(10 ** (gain_db / 20))
    levels = Levels()
    for at in range(0, len(air) // FRAME * FRAME, FRAME):
        levels.hear(air[at : at + FRAME], 100.0 + (at + FRAME) / EAR_RATE_HZ)
    return levels


TALK = clip("the train to the coast leaves after lunch")
WORD = clip("done")
LENGTH_S = len(WORD) / EAR_RATE_HZ


def test_a_word_after_silence_stands_out_and_one_amid_talk_as_loud_does_not() -> None:
    alone = room(4.0, {2.0: (WORD, 0.0)})
    assert alone.stands_out(102.0, 102.0 + LENGTH_S, STANDS_OUT_DB)
    amid = room(6.0, {1.0: (TALK, 0.0)})
    assert not amid.stands_out(102.2, 102.5, STANDS_OUT_DB)


@pytest.mark.parametrize("told_s", [101.9, 102.0, 102.08])
def test_the_onset_is_the_rise_wherever_the_recogniser_saw_the_word(told_s: float) -> None:
    levels = room(4.0, {2.0: (WORD, 0.0)})
    assert levels.onset_s(told_s, 102.0 + LENGTH_S) == pytest.approx(102.0, abs=0.04)


def test_what_is_louder_than_the_talk_behind_it_begins_with_its_own_rise() -> None:
    levels = room(6.0, {1.0: (TALK, -20.0), 2.0: (WORD, 0.0)})
    assert levels.front_s(101.0, 103.5) == pytest.approx(102.0, abs=0.06)
    assert room(6.0, {1.0: (TALK, 0.0)}).front_s(101.0, 103.0) == 101.0


def test_the_first_moments_of_a_room_are_no_trouble() -> None:
    levels = room(0.2, {0.05: (WORD[:1000], 0.0)})
    assert levels.stands_out(99.0, 100.1, STANDS_OUT_DB) in (True, False)
    assert levels.onset_s(99.0, 100.15) == pytest.approx(100.05, abs=0.06)

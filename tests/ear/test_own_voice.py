"""When the coach sounds, and for how long that is known."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.frames import FRAME, FRAME_S
from coach.ear.own_voice import REMEMBERED_FRAMES, TAIL_S, OwnVoice
from coach.ear.speech import END_FRAMES, LONGEST_S
from coach.ports import Audio

QUIET: Audio = np.zeros(FRAME, np.float32)
LOUD: Audio = np.full(FRAME, 0.1, np.float32)


def heard(*frames: tuple[int, Audio]) -> tuple[OwnVoice, float, list[float]]:
    """The voice, the time after the last frame, and when lines began."""
    own, now_s, begun_s = OwnVoice(), 0.0, []
    for count, played in frames:
        for _ in range(count):
            own.cancel(QUIET, played)
            now_s += FRAME_S
            if own.begins:
                begun_s.append(round(now_s - FRAME_S, 2))
    return own, now_s, begun_s


def test_the_share_of_a_span_that_the_coach_was_sounding_in() -> None:
    own, now_s, _ = heard((100, QUIET), (100, LOUD), (100, QUIET))
    assert own.share(0.0, 1.0, now_s) == 0.0
    assert own.share(1.0, 2.0, now_s) == 1.0
    assert own.share(0.5, 1.5, now_s) == 0.5
    assert own.share(2.0, 3.0, now_s) == pytest.approx(TAIL_S, abs=0.011)


def test_what_is_no_longer_remembered_counts_as_silence() -> None:
    own, now_s, _ = heard((REMEMBERED_FRAMES, LOUD), (200, QUIET))
    assert own.share(0.0, 1.5, now_s) == 0.0
    assert REMEMBERED_FRAMES * FRAME_S > LONGEST_S + END_FRAMES * FRAME_S


def test_a_line_begins_after_a_pause_and_not_after_a_closure() -> None:
    _, _, begun_s = heard((50, LOUD), (10, QUIET), (50, LOUD), (20, QUIET), (50, LOUD))
    assert begun_s == [0.0, 1.3]

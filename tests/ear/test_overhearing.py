"""The second way of hearing: whose sound it is when the coach begins a line."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.frames import FRAME
from coach.ear.model import SpeechModel
from coach.ear.overhearing import Overhearing
from coach.ear.own_voice import OwnVoice
from coach.ports import EAR_RATE_HZ
from tests.ear.air import BRITON, NATURAL, Air, air, clip, said

LINE = "Your first pulse was sixty eight beats a minute. Breathe out slowly."
BEGINS_S = 7.0
HISS_S = 0.3  # the first sound of the line below


def overheard(model: SpeechModel, sound: Air) -> Overhearing:
    own, room = OwnVoice(), Overhearing(model)
    room.attend(["stop", model.unknown(0)])
    for at in range(0, len(sound.microphone) - FRAME, FRAME):
        microphone, played = (part[at : at + FRAME] for part in (sound.microphone, sound.played))
        own.cancel(microphone, played)
        room.hear(microphone, played, own, (at + FRAME) / EAR_RATE_HZ)
    return room


@pytest.mark.parametrize("delay_s", [0.02, 0.12])
def test_a_hiss_that_begins_a_line_may_be_the_coach(model: SpeechModel, delay_s: float) -> None:
    coach = {1.0: clip(LINE, BRITON), BEGINS_S: clip("Say stop to stop.", BRITON)}
    sound = air([], BEGINS_S + 1.0, coach=coach)
    late = np.roll(sound.microphone, round((delay_s - 0.02) * EAR_RATE_HZ))
    room = overheard(model, Air(late, sound.played))
    begins_s = BEGINS_S + delay_s
    assert room.may_be_first_word(begins_s, begins_s, begins_s + HISS_S)
    assert not room.may_be_first_word(begins_s + 0.5, begins_s + 0.5, begins_s + 0.8)


def test_somebody_who_is_louder_than_the_coach_as_it_begins_is_not_it(model: SpeechModel) -> None:
    coach = {1.0: clip(LINE, BRITON), BEGINS_S: clip("Say stop to stop.", BRITON)}
    sound = air([said("stop", BEGINS_S + 0.05)], BEGINS_S + 1.0, NATURAL, coach=coach)
    room = overheard(model, sound)
    begins_s = BEGINS_S + 0.05
    assert not room.may_be_first_word(begins_s, begins_s, begins_s + HISS_S)

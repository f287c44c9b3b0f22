"""Somebody talks on over and between the coach's lines: what of it is taken for a command.

The sentences are our own and hold no phrase of a grammar on purpose, though words of them ("done",
"dizzy", "everyone", "softer") stand here and there.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import Any

import numpy as np

from benchmarks.air import (
    Noticed,
    at_level,
    coach_speech,
    commands,
    echo_of,
    heard_in,
    knocks,
    plainly_heard,
    with_noise,
)
from benchmarks.people import held_out_voices, said
from benchmarks.plain_script import PlainEar
from coach.app.equipment import Equipment
from coach.ear.grammar import STOPPING
from coach.ports import EAR_RATE_HZ, Audio

SITUATIONS = ("hold", "anytime", "group-hold", "number")
LEVELS_DB = ((-42.0, -44.0), (-34.0, -34.0), (-26.0, -26.0), (-20.0, -30.0))  # of coach, of talk
COACH_PAUSES_S = (0.8, 2.5)
TALK_PAUSES_S = (0.15, 0.4, 1.0, 2.5, 5.0)
ALONE_S = 6.0  # the coach speaks before anybody talks
SENTENCES = """
my brother works on a farm in the valley
she bought tomatoes and cheese at the market
the kettle on the shelf has lost its lid
how many chairs do we need for the party
the museum opens at ten but the cafe is open earlier
i told him twice that the key is under the flower pot
the last time we went there the weather was terrible
you need two eggs and a pound of flour for this cake
grandfather used to tell us stories about the harbour
there is a strange noise coming from the washing machine
we could take the ferry and come back by train
the teacher asked them to bring a photograph of their house
i cannot find the receipt for the shoes anywhere
her garden is full of roses and blackberries
he has not phoned since the end of august
turn left after the church and go straight on to the square
they want to cut down the old oak behind the school
do you still have that recipe for onion soup
it was so windy that we had to hold on to our hats
the concert was sold out weeks ago
my neighbour grows pumpkins as big as a football
she was dizzy with joy when she won the race
i am not sure whether the bank is open on thursday
we stopped at a little inn and ate pancakes
as soon as the work is done we can go for a walk
could you help me move the wardrobe this evening
i have to pick up the parcel before six
the carpet feels softer than it looks
everyone on the stairs was carrying a box
some of the apples fell off before they were ripe
the radio said there would be snow in the mountains
our cousin wants to open a small hotel by the lake
please remember to lock the shed tonight
the soup needs a little more salt and pepper
there were eleven ducks on the pond this morning
the conductor forgot to check our tickets
""".strip().splitlines()


def figures(equipment: Equipment, plain: PlainEar, minutes: float) -> dict[str, Any]:
    """All levels, a quarter of each in every situation; `minutes` of talk in all."""
    speech = coach_speech(equipment)
    seconds = minutes * 60 / len(LEVELS_DB)
    found: dict[str, Any] = {"voices": ", ".join(held_out_voices()), "minutes": minutes}
    for number, (echo_db, talk_db) in enumerate(LEVELS_DB):
        rng = np.random.default_rng(200 + number)
        played = _coach(speech, seconds, rng)
        microphone = with_noise(
            echo_of(played, echo_db, rng, 0.06) + _talker(talk_db, seconds, rng), rng
        )
        ours: list[tuple[Noticed, bool]] = []
        bounds = np.linspace(0, len(played), len(SITUATIONS) + 1).astype(int)
        for situation, (start, end) in zip(SITUATIONS, pairwise(bounds), strict=True):
            heard = heard_in(equipment, microphone[start:end], played[start:end], situation)
            ours += [(one, _sounds(played[start:end], one.onset_s)) for one in heard]
        plains = plainly_heard(plain, microphone)
        found[f"coach {echo_db:.0f} dB, talk {talk_db:.0f} dB"] = {
            **_counted(ours),
            "plain script": _counted([(one, _sounds(played, one.onset_s)) for one in plains]),
        }
    return found


def _counted(found: list[tuple[Noticed, bool]]) -> dict[str, Any]:
    heard = [one for one, _ in found]
    stops = [(one, over) for one, over in found if one.what in STOPPING or one.what == "up"]
    return {
        "false_ends_over_the_coach": sum(over for _, over in stops),
        "false_ends_between": sum(not over for _, over in stops),
        "what": ", ".join(f"{n} {text!r}" for text, n in Counter(w.text for w, _ in stops).items()),
        "other_false_commands": len(commands(heard)) - len(stops),
        "false_double_knocks": len(knocks(heard, 2)),
        "false_single_knocks": len(knocks(heard, 1)),
    }


def _sounds(played: Audio, at_s: float) -> bool:
    """Whether the coach speaks about then."""
    at, near = round(at_s * EAR_RATE_HZ), EAR_RATE_HZ // 8
    return bool(np.abs(played[max(0, at - near) : at + near]).max(initial=0.0) > 1e-3)


def _coach(speech: list[Audio], seconds: float, rng: np.random.Generator) -> Audio:
    track: Audio = np.zeros(round(seconds * EAR_RATE_HZ), np.float32)
    at_s = 1.0
    while True:
        line = speech[rng.integers(len(speech))]
        at = round(at_s * EAR_RATE_HZ)
        if at + len(line) > len(track):
            return track
        track[at : at + len(line)] = line
        at_s += len(line) / EAR_RATE_HZ + rng.uniform(*COACH_PAUSES_S)


def _talker(level_db: float, seconds: float, rng: np.random.Generator) -> Audio:
    """Every sentence before any comes again; in another voice each time."""
    voices = held_out_voices()
    track: Audio = np.zeros(round(seconds * EAR_RATE_HZ), np.float32)
    at_s, left = ALONE_S, list[str]()
    while True:
        left = left or [SENTENCES[i] for i in rng.permutation(len(SENTENCES))]
        clip = said(voices[rng.integers(len(voices))], left.pop())
        at = round(at_s * EAR_RATE_HZ)
        if at + len(clip) > len(track):
            return track
        track[at : at + len(clip)] = at_level(clip, level_db + rng.uniform(-4.0, 4.0))
        at_s += len(clip) / EAR_RATE_HZ + float(rng.choice(TALK_PAUSES_S))

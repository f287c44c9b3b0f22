"""Invented sessions for the tests of the records."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from coach.practice.kept import Answer, CheckIn, Hold, Kept, Pulse, Source
from coach.practice.safety import HEALTH_QUESTIONS, SAFE_ANSWERS
from coach.records.document import Document
from coach.records.store import DiskStore

VOICE = Source("voice", "stop", 0.9, 100.0, 100.4)


def about(*people: str | None, plan: str = "three-holds") -> dict[str, Any]:
    participants = [{"number": n, "name": name} for n, name in enumerate(people or (None,), 1)]
    return {
        "plan": plan,
        "voice": "natural",
        "participants": participants,
        "versions": {"coach": "0.1.0"},
        "invented": True,
    }


def hold(
    duration_s: float | None,
    *,
    participant: int = 1,
    kind: str = "main",
    number: int = 1,
    ended_by: str = "word",
    contractions_s: tuple[float, ...] = (),
) -> Hold:
    end_s = None if duration_s is None else 100.0 + duration_s
    key = f"hold:{participant}:{kind}:{number}"
    label = f"{kind} {number}"
    return Hold(
        key, participant, label, kind, number, 100.0, end_s,
        ended_by, contractions_s, None, VOICE,
    )  # fmt: skip


def okay(held: Hold, answer: str = "okay") -> CheckIn:
    key = held.key.replace("hold", "check-in")
    return CheckIn(key, held.participant, held.label, answer, 1, 1.1, VOICE)


def pulse(
    beats: int, *, place: str = "before", participant: int = 1, window_s: float = 15
) -> Pulse:
    key = f"pulse:{participant}:{place}"
    bpm = beats * 60 / window_s
    return Pulse(
        key, participant, place, place, window_s, 20.0, beats, bpm, 1.6, beats, False, VOICE
    )


def cleared(participant: int = 1) -> list[Answer]:
    return [
        Answer(f"answer:{participant}:{q}", participant, q, SAFE_ANSWERS[q], VOICE)
        for q in HEALTH_QUESTIONS
    ]


def put(
    store: DiskStore,
    name: str,
    started: datetime,
    kept: Sequence[Kept],
    people: Sequence[str | None] = (None,),
) -> Document:
    """A whole session, through the store."""
    store.begin(name, started, about(*people))
    store.said(0.2, 1.9, "welcome", "Welcome.")
    for value in kept:
        store.keep(value)
    store.said(174.0, 174.8, "", "okay", who="participant 1")
    return store.finish(300.0, 0, "done")


def typical(rng: random.Random) -> list[Kept]:
    """What an ordinary session keeps."""
    baseline = hold(rng.uniform(40, 90), kind="baseline")
    main = hold(rng.uniform(60, 150), number=2, contractions_s=(41.0, 52.5))
    return [
        Answer("answer:1:unchanged", 1, "unchanged", "yes", VOICE),
        pulse(rng.randint(14, 22)),
        baseline,
        okay(baseline),
        pulse(rng.randint(12, 20), place="relaxed"),
        main,
        okay(main),
    ]

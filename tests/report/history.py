"""Invented histories of practice: nobody's, and marked as invented in every document."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

from coach.practice.kept import CLOCK, CheckIn, Hold, Kept, Note, Pulse, Source
from coach.practice.pulse import rate_bpm, spread_bpm
from coach.records.document import (
    Document,
    begin_entry,
    document,
    finish_entry,
    keep_entry,
    said_entry,
)

FIRST = datetime(2016, 11, 28, 18, 30, tzinfo=timezone(timedelta(hours=1)))
VOICE = Source("voice", "done", 0.95, None, None)
OFTEN = ("three-holds", "first-lesson", "morning-pulse", "comfort-hold", "co2-table")


@dataclass
class Invented:
    """A session in the making; `entries` are the lines of its journal."""

    name: str
    started: datetime
    plan: str
    people: Sequence[str | None] = (None,)
    invented: bool = True
    at_s: float = 20.0
    entries: list[dict[str, object]] = field(default_factory=list)
    holds: int = 0

    def __post_init__(self) -> None:
        participants = [{"number": n, "name": one} for n, one in enumerate(self.people, 1)]
        about = {
            "plan": self.plan,
            "voice": "natural",
            "participants": participants,
            "invented": self.invented,
        }
        self.entries.append(begin_entry(self.name, self.started, about))
        self.say("welcome", "Hello. This is your breath-hold practice, on dry land.", 4.0)

    def say(self, line: str, text: str, length_s: float, who: str = "coach") -> None:
        self.entries.append(said_entry(self.at_s, self.at_s + length_s, line, text, who))
        self.at_s += length_s + 1.0

    def keep(self, value: Kept) -> None:
        self.entries.append(keep_entry(value))

    def pulse(self, place: str, beats: int, window_s: float = 15.0, participant: int = 1) -> None:
        bpm, spread = rate_bpm(beats, window_s), spread_bpm(window_s)
        key = f"pulse:{participant}:{place}"
        self.keep(
            Pulse(key, participant, place, place, window_s, self.at_s, beats, bpm, spread,
                  beats, False, VOICE)
        )  # fmt: skip
        self.at_s += window_s
        self.say("pulse_ask", "How many beats?", 1.2)
        self.say("", str(beats), 0.8, who=f"participant {participant}")

    def hold(
        self,
        kind: str,
        lengths_s: Sequence[float | None],
        *,
        ended_by: str = "word",
        contractions_s: Sequence[float] = (),
        check_in: str = "okay",
        label: str = "",
    ) -> None:
        """One hold of everybody at once, each with their own length."""
        self.holds += 1
        label = label or f"{kind} {self.holds}"
        start_s = self.at_s
        for participant, length_s in enumerate(lengths_s, 1):
            end_s = None if length_s is None else round(start_s + length_s, 3)
            by = "unknown" if length_s is None else ended_by
            key = f"hold:{participant}:{label}"
            marked = tuple(c for c in contractions_s if length_s is not None and c < length_s)
            source = CLOCK if by == "cap" else VOICE
            self.keep(
                Hold(key, participant, label, kind, self.holds, start_s, end_s, by, marked,
                     None, source)
            )  # fmt: skip
        longest = max([one for one in lengths_s if one is not None], default=10.0)
        for elapsed in range(10, int(longest), 10):
            cue = start_s + elapsed
            self.entries.append(said_entry(cue, cue + 0.6, "time_call", str(elapsed), "coach"))
        self.at_s = start_s + longest + 15.0
        for participant in range(1, len(lengths_s) + 1):
            key = f"check-in:{participant}:{label}"
            self.keep(CheckIn(key, participant, label, check_in, 1, 1.3, VOICE))
        self.say("check_in", "Are you okay?", 1.0)
        self.say("", check_in, 0.6, who="participant 1")
        self.at_s += 60.0

    def alarm(self, participant: int, label: str) -> None:
        self.keep(Note(f"note:alarm:{participant}", participant, "alarm", label, self.at_s))

    def end(self) -> Document:
        return document([*self.entries, finish_entry(self.at_s + 5.0, 0, "done")])


def ten_years(seed: int = 11, sessions: int = 1560, name: str | None = None) -> list[Document]:
    """About three sessions a week: slow progress that levels off, good days and bad ones."""
    rng = random.Random(seed)
    return list(_years(rng, sessions, name))


def _years(rng: random.Random, sessions: int, name: str | None) -> Iterator[Document]:
    for number in range(sessions):
        day = FIRST + timedelta(days=round(number * 7 / 3))
        plan = OFTEN[number % len(OFTEN)]
        years = number / 156
        level = 70 + 55 * (1 - math.exp(-years / 2))  # seconds; invented
        one = Invented(f"invented-{number:04d}", day, plan, (name,))
        _practise(one, rng, level)
        yield one.end()


def _practise(one: Invented, rng: random.Random, level: float) -> None:
    if one.plan == "morning-pulse":
        one.pulse("morning", round(rng.gauss(58, 3)), 60.0)
        return
    if one.plan == "first-lesson":
        one.hold("baseline", [round(rng.gauss(0.7 * level, 6), 2)])
        one.pulse("before", round(rng.gauss(17.5, 1)))
        one.pulse("relaxed", round(rng.gauss(16, 1)))
        main = round(rng.gauss(level, 8), 2)
        capped = main > 130
        one.hold(
            "main",
            [130.0 if capped else main],
            ended_by="cap" if capped else "word",
            contractions_s=[round(0.75 * level, 1), round(0.85 * level, 1)],
        )
    elif one.plan == "comfort-hold":
        length_s = round(rng.gauss(0.6 * level, 5), 2)
        one.hold("comfort", [length_s], ended_by="contraction", contractions_s=[])
    elif one.plan == "co2-table":
        for _ in range(8):
            one.hold("co2", [45.0], ended_by="cap")
    else:
        first = rng.gauss(0.8 * level, 7)
        for share in (1.0, 1.08, 1.13):
            one.hold("relaxed", [round(first * share, 2)])


def group_of_eight(seed: int = 5, day: datetime = FIRST) -> Document:
    """One lesson of eight invented people; one feels dizzy after the second hold."""
    rng = random.Random(seed)
    names = ("Ula", "Bo", None, "Wim", "Pia", "Oda", None, "Jon")
    one = Invented(f"invented-group-{day:%Y%m%d}", day, "first-lesson", names)
    one.hold("baseline", [round(rng.gauss(48, 9), 2) for _ in names])
    for participant in range(1, 9):
        one.pulse("before", rng.randint(15, 20), participant=participant)
    for participant in range(1, 9):
        one.pulse("relaxed", rng.randint(14, 19), participant=participant)
    lengths: list[float | None] = [round(rng.gauss(70, 12), 2) for _ in names]
    lengths[6] = None
    one.hold("main", lengths, contractions_s=[45.0, 52.5, 58.1])
    one.keep(CheckIn("check-in:4:main 2", 4, "main 2", "dizzy", 1, 2.0, VOICE))
    one.alarm(6, "main 2")
    return one.end()

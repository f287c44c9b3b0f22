"""What a session keeps: answers, holds, pulses, check-ins, notes. Values, never sound.

A later value with the same `key` replaces an earlier one (a correction); the journal keeps
both. Times are room seconds; the record turns them into dates once.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """Where a value came from: how it was given, what was heard, how sure, and when."""

    by: str  # "voice", "knock", "tap", "clock" or "nobody"
    phrase: str = ""
    confidence: float | None = None
    onset_s: float | None = None  # when the word or knock began to sound
    noticed_s: float | None = None  # when the software knew


NOBODY = Source("nobody")
CLOCK = Source("clock")


@dataclass(frozen=True, slots=True)
class Answer:
    """A question before the session and what was answered: "yes", "no" or "none"."""

    key: str
    participant: int
    question: str
    answer: str
    source: Source


@dataclass(frozen=True, slots=True)
class Hold:
    """One breath-hold of one participant.

    `ended_by` is "word", "knock", "contraction", "cap" (the limit of the plan), "stop"
    (somebody stopped it), "interrupted" or "unknown"; with "unknown" `end_s` is None.
    """

    key: str
    participant: int
    label: str  # the step's label in the plan: "baseline", "main", "round 3"
    kind: str  # like is compared with like: "baseline", "main", "co2", "o2", "relaxed", "comfort"
    number: int  # first, second, ... hold of the session
    start_s: float
    end_s: float | None
    ended_by: str
    contractions_s: tuple[float, ...]  # seconds into the hold
    target_s: float | None
    source: Source

    @property
    def duration_s(self) -> float | None:
        """Length of the hold in seconds, None if its end is unknown."""
        return None if self.end_s is None else self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Pulse:
    """One pulse count. `beats` and `bpm` are None if nobody answered.

    `place` tells which counts may be compared: "before", "relaxed", "after-hold", "morning".
    """

    key: str
    participant: int
    label: str
    place: str
    window_s: float
    start_s: float
    beats: int | None
    bpm: float | None
    spread_bpm: float | None  # uncertainty of `bpm`, one standard deviation
    first_heard: int | None  # what was heard before any correction
    corrected: bool
    source: Source


@dataclass(frozen=True, slots=True)
class CheckIn:
    """How somebody was after a hold: "okay", "unwell", "dizzy", "tingling" or "none"."""

    key: str
    participant: int
    label: str
    answer: str
    asked: int  # how many times the question was put
    reply_after_s: float | None  # from the end of the first question to the answer
    source: Source


@dataclass(frozen=True, slots=True)
class Note:
    """Anything else that happened: "paused", "skipped", "escalated", "room lost", ..."""

    key: str
    participant: int | None
    what: str
    detail: str
    at_s: float


Kept = Answer | Hold | Pulse | CheckIn | Note

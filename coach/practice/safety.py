"""Limits that no plan, voice or setting can lift.

Each limit has a hard bound here and a default in config/coach.toml that may be stricter, never
looser. Sources: the questions before a session follow the participant questionnaire for
recreational divers (UHMS); the check-in window is borrowed from a competition rule for water
(AIDA); the watch after breathing resumes follows Alert Diver, spring 2016, p. 53; the rest of
the figures are common practice, no source. None of them is medical advice.
"""

from __future__ import annotations

from dataclasses import dataclass

PLACE_QUESTIONS = ("dry", "posture", "near")  # asked before the first hold of every session
HEALTH_QUESTIONS = ("heart", "seizures", "fainting", "pregnancy", "lungs", "surgery")
UNCHANGED_QUESTION = "unchanged"  # instead of the health questions, for people cleared before
SAFE_ANSWERS = {
    "dry": "yes",
    "posture": "yes",
    "near": "yes",
    "heart": "no",
    "seizures": "no",
    "fainting": "no",
    "pregnancy": "no",
    "lungs": "no",
    "surgery": "no",
    "unchanged": "yes",
    "well": "yes",
    "any-of-these": "no",
}
UNWELL_ANSWERS = ("dizzy", "tingling", "unwell", "fainted")

HARD_HOLD_CAP_S = 480.0  # nobody is led past eight minutes
HARD_NEWCOMER_CAP_S = 180.0  # first lessons, and people without a best
HARD_REST_FLOOR_S = 60.0
HARD_WATCH_S = 30.0
HARD_CHECK_IN_S = 15.0
HARD_FULL_BREATHS = 2
HARD_BREATHS_PER_MINUTE = 8.0  # a breathe-up is slower than ordinary breathing
HARD_TABLES_PER_DAY = 1
SHARE_OF_BEST_ALONE = 0.9  # no maximum attempts alone
SHARE_OF_BEST_O2 = 0.8  # the last hold of an O2 table


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits in force: the hard ones, or stricter."""

    hold_cap_s: float = 150.0
    rest_floor_s: float = HARD_REST_FLOOR_S
    watch_s: float = HARD_WATCH_S
    check_in_s: float = HARD_CHECK_IN_S
    full_breaths: int = HARD_FULL_BREATHS
    breaths_per_minute: float = HARD_BREATHS_PER_MINUTE
    tables_per_day: int = HARD_TABLES_PER_DAY

    def __post_init__(self) -> None:
        """Raise ValueError for a limit looser than the hard one."""
        most = (
            ("hold_cap_s", self.hold_cap_s, HARD_NEWCOMER_CAP_S),
            ("check_in_s", self.check_in_s, HARD_CHECK_IN_S),
            ("full_breaths", self.full_breaths, HARD_FULL_BREATHS),
            ("breaths_per_minute", self.breaths_per_minute, HARD_BREATHS_PER_MINUTE),
            ("tables_per_day", self.tables_per_day, HARD_TABLES_PER_DAY),
        )
        least = (
            ("rest_floor_s", self.rest_floor_s, HARD_REST_FLOOR_S),
            ("watch_s", self.watch_s, HARD_WATCH_S),
        )
        for name, value, bound in most:
            if not 0 <= value <= bound:
                raise ValueError(f"{name} is {value:g}; it may be made stricter, at most {bound:g}")
        for name, value, bound in least:
            if not bound <= value < 3600:
                raise ValueError(f"{name} is {value:g}; it may be made longer, at least {bound:g}")
        if self.check_in_s < 5:
            raise ValueError("check_in_s under 5 leaves nobody time to answer")
        if self.hold_cap_s < 10:
            raise ValueError("hold_cap_s under 10 leaves no hold")


@dataclass(frozen=True, slots=True)
class Person:
    """One participant, as far as the session needs to know."""

    number: int
    name: str = ""
    best_s: float | None = None  # longest hold of the kind that limits are taken from
    cleared: bool = False  # answered the health questions before, all safely
    tables_today: int = 0
    fainted_today: bool = False


def hold_limit_s(person: Person, limits: Limits, *, alone: bool) -> float:
    """The longest hold this person is led through, in seconds.

    Without a best the newcomer's cap holds. With one it is the best itself beside an
    instructor, and a share of it alone.
    """
    if person.best_s is None:
        return limits.hold_cap_s
    share = SHARE_OF_BEST_ALONE if alone else 1.0
    return min(HARD_HOLD_CAP_S, max(person.best_s * share, limits.hold_cap_s * share))

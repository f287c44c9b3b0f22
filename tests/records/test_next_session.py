from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path

from coach.practice.safety import Limits
from coach.records import next_session as kept
from coach.records.store import DiskStore
from tests.records.sessions import hold, okay, pulse, put

next_session = partial(kept.next_session, invented=True)
TODAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 7, tzinfo=UTC)


def filled(folder: Path) -> DiskStore:
    store = DiskStore(folder)
    for number, days in enumerate((12, 9, 6, 3), 1):
        held = hold(100.0, kind="relaxed")
        started = NOW - timedelta(days=days)
        put(store, f"s{number}", started, [held, okay(held)], people=["Mira Invented", None])
    return store


def test_what_is_kept_of_somebody_gives_their_next_session(tmp_path: Path) -> None:
    with filled(tmp_path) as store:
        one = next_session(store.library, 1, "Mira Invented", TODAY, Limits())
        assert (one.plan, one.on) == ("comfort-hold", TODAY)
        table = next_session(
            store.library, 1, "Mira Invented", TODAY, Limits(),
            declined=frozenset({"comfort-hold"}),
        )  # fmt: skip
        assert table.plan == "co2-table"
        assert next_session(store.library, 2, None, TODAY, Limits()).plan == "first-lesson"
        mira = kept.next_session(store.library, 1, "Mira Invented", TODAY, Limits())
        assert mira.plan == "first-lesson", "invented sessions are nobody's practice"


def test_a_target_keeps_the_limit_of_somebody_alone(tmp_path: Path) -> None:
    declined = frozenset({"comfort-hold", "co2-table"})
    with filled(tmp_path) as store:
        strict = Limits(hold_cap_s=60.0)
        three = next_session(store.library, 1, "Mira Invented", TODAY, strict, declined=declined)
        assert three.target_s == 90.0  # nine tenths of the best of 100
        beside = next_session(
            store.library, 1, "Mira Invented", TODAY, strict, alone=False, declined=declined
        )
        assert beside.target_s == 100.0


def test_a_raised_morning_pulse_is_found_in_the_records(tmp_path: Path) -> None:
    with filled(tmp_path) as store:
        for number, beats in enumerate((56, 57, 58, 57, 56, 57, 69)):
            count = pulse(beats, place="morning", window_s=60.0)
            started = NOW - timedelta(days=6 - number)
            put(store, f"m{number}", started, [count], people=["Mira Invented"])
        one = next_session(store.library, 1, "Mira Invented", TODAY, Limits())
    assert one.plan == "relaxation"
    assert one.lines == (("next_pulse", {"difference": 12}),)

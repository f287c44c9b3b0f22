"""What every store promises; the real one and its twin are both held to it."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from coach.ports import Store
from coach.practice.kept import CheckIn, Hold, Note, Pulse, Source

STARTED = datetime(2026, 11, 25, 18, 30, tzinfo=UTC)
ABOUT = {
    "plan": "first-lesson",
    "voice": "natural",
    "participants": [{"number": 1, "name": "Mira Invented"}, {"number": 2}],
    "versions": {"coach": "0.1.0"},
    "invented": True,
}
HOLD = Hold(
    "main-1", 1, "main", "main", 1, 100.0, 173.25, "word", (41.5, 60.0), None,
    Source("voice", "stop", 0.93, 173.25, 173.61),
)  # fmt: skip
FIRST_COUNT = Pulse(
    "pulse-1", 1, "first", "before", 15.0, 20.0, 60, 240.0, 1.63, 60, False,
    Source("voice", "sixty", 0.71, 37.0, 38.1),
)  # fmt: skip
SECOND_COUNT = Pulse(
    "pulse-1", 1, "first", "before", 15.0, 20.0, 16, 64.0, 1.63, 60, True,
    Source("voice", "no sixteen", 0.9, 42.0, 43.1),
)  # fmt: skip
CHECK_IN = CheckIn(
    "check-1", 1, "main", "okay", 1, 1.2, Source("voice", "okay", 0.99, 190.0, 190.4)
)


def check_a_session_comes_back_as_it_was_kept(store: Store) -> None:
    store.begin("one", STARTED, ABOUT)
    store.said(0.5, 2.0, "welcome", "Welcome.")
    store.keep(HOLD)
    store.keep(CHECK_IN)
    store.keep(Note("note-1", None, "paused", "", 50.0))
    store.said(4.0, 4.5, "", "start", who="participant 1")
    made = store.finish(301.5, 0, "done")
    assert made["started"] == "2026-11-25T18:30:00+00:00"
    assert made["ended"] == "2026-11-25T18:35:01.500000+00:00"
    assert made["participants"] == [
        {"number": 1, "name": "Mira Invented"},
        {"number": 2, "name": None},
    ]
    assert made["outcome"] == {"code": 0, "reason": "done"}
    (hold,) = made["holds"]
    assert hold["duration_s"] == 73.25
    assert hold["contractions_s"] == [41.5, 60.0]
    assert hold["source"]["phrase"] == "stop"
    assert made["check_ins"][0]["answer"] == "okay"
    assert made["notes"][0]["what"] == "paused"
    assert [cue["who"] for cue in made["timeline"]] == ["coach", "participant 1"]


def check_a_corrected_value_keeps_what_it_was(store: Store) -> None:
    store.begin("one", STARTED, ABOUT)
    store.keep(FIRST_COUNT)
    store.keep(SECOND_COUNT)
    made = store.finish(60.0, 0, "done")
    assert [pulse["beats"] for pulse in made["pulses"]] == [16]
    (earlier,) = made["corrections"]["pulse-1"]
    assert earlier["value"]["beats"] == 60
    assert earlier["replaced_by"] == "voice"


def check_an_unknown_end_is_no_duration(store: Store) -> None:
    store.begin("one", STARTED, ABOUT)
    store.keep(Hold("h", 1, "main", "main", 1, 10.0, None, "unknown", (), None, Source("nobody")))
    (hold,) = store.finish(60.0, 1, "room lost")["holds"]
    assert hold["duration_s"] is None


def check_wrong_order_is_refused(store: Store) -> None:
    with pytest.raises(ValueError, match="no session is running"):
        store.keep(HOLD)
    store.begin("one", STARTED, ABOUT)
    with pytest.raises(ValueError, match="already running"):
        store.begin("two", STARTED, ABOUT)
    store.finish(1.0, 0, "done")
    with pytest.raises(ValueError, match="no session is running"):
        store.finish(1.0, 0, "done")


def check_a_name_is_used_once(store: Store) -> None:
    store.begin("one", STARTED, ABOUT)
    store.keep(HOLD)
    store.finish(1.0, 0, "done")
    with pytest.raises(FileExistsError):
        store.begin("one", STARTED, ABOUT)
    store.begin("two", STARTED, ABOUT)


def check_names_are_safe_as_file_names(store: Store) -> None:
    for name in ("", "../x", "a/b", ".hidden", "x" * 101):
        with pytest.raises(ValueError, match="cannot name a session"):
            store.begin(name, STARTED, ABOUT)


def check_a_start_needs_its_zone(store: Store) -> None:
    with pytest.raises(ValueError, match="time zone"):
        store.begin("one", STARTED.replace(tzinfo=None), ABOUT)
    store.begin("one", STARTED, ABOUT)


CHECKS = [value for name, value in sorted(globals().items()) if name.startswith("check_")]

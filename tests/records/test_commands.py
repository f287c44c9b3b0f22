"""What `coach records` and `coach export` answer."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from coach.border import BadInput
from coach.practice.kept import Kept
from coach.practice.progress import Point
from coach.practice.proposal import Practice
from coach.records.commands import (
    correct_record,
    delete_person,
    export_records,
    import_records,
    list_records,
    name_person,
    prefer,
    show_record,
)
from coach.records.document import Document, Summary
from coach.records.library import Library
from coach.records.people import People, Preferences
from coach.records.series import (
    contraction_points,
    day_of,
    hold_points,
    practices,
    pulse_points,
)
from coach.records.store import DiskStore
from tests.records.sessions import cleared, hold, okay, pulse, put

STARTED = datetime(2026, 11, 24, 18, tzinfo=UTC)
NOW = datetime(2026, 11, 26, 9, tzinfo=UTC)
ME = "participant 1"


@pytest.fixture
def library(tmp_path: Path) -> Library:
    first, second = hold(73.4, contractions_s=(41.5,)), hold(None, number=2, ended_by="unknown")
    with DiskStore(tmp_path / "records") as store:
        put(store, "one", STARTED, [*cleared(), pulse(60), pulse(16), first, okay(first), second])
        group: list[Kept] = [hold(61.0), hold(62.0, participant=2)]
        put(store, "two", STARTED + timedelta(days=1), group, people=[None, "Jon Invented"])
    return Library(tmp_path / "records")


def test_somebody_says_how_the_coach_shall_be(library: Library) -> None:
    assert prefer(library, ME, []) == [f"{ME}: all as configured"]
    assert prefer(library, "1", ["speed=0.9", "knocks=no"]) == [f"{ME}: speed=0.9 knocks=no"]
    assert prefer(library, ME, ["knocks=yes"]) == [f"{ME}: speed=0.9 knocks=yes"]
    assert People(library).find(1).preferences == Preferences(speed=0.9, knocks=True)


@pytest.mark.parametrize("wish", ["speed=9", "speed=fast", "knocks=maybe", "colour=red", "quiet"])
def test_a_wish_that_cannot_be_is_one_clear_line(library: Library, wish: str) -> None:
    with pytest.raises(BadInput, match=f"{wish}: write speed=0.75 to 1.4"):
        prefer(library, ME, [wish])
    with pytest.raises(BadInput, match="nobody of that name here; known: Jon Invented, part"):
        prefer(library, "Ada", ["quiet=yes"])


def test_sessions_are_listed_a_line_each(library: Library) -> None:
    one, two = list_records(library)
    assert one == (
        "one  2026-11-24 18:00  three-holds (invented)  participant 1  holds: 1:13.4, unknown  done"
    )
    assert "participant 1, Jon Invented" in two
    assert list_records(library, since=date(2026, 11, 25)) == [two]
    assert "no session" in list_records(library, until=date(2020, 1, 1))[0]


def test_a_session_is_shown_value_by_value_with_its_corrections(library: Library) -> None:
    text = "\n".join(show_record(library, "one"))
    assert "hold:1:main:1  participant 1  holds:" in text
    assert "duration_s=73.4" in text
    assert "before: beats=60  bpm=240.0" in text
    (whole,) = show_record(library, "one", as_text=False)
    assert json.loads(whole) == library.session("one")


def test_a_correction_is_put_in_place_and_the_earlier_value_kept(library: Library) -> None:
    (line,) = correct_record(library, "one", "hold:1:main:2", "duration_s=80.5", NOW)
    assert "is now 80.5" in line
    correct_record(library, "one", "pulse:1:before", "beats=18", NOW)
    made = library.session("one")
    assert made["holds"][1]["duration_s"] == 80.5
    assert made["holds"][1]["end_s"] == 180.5
    assert made["holds"][1]["ended_by"] == "hand"
    assert made["holds"][1]["source"]["by"] == "hand"
    assert made["pulses"][0]["bpm"] == 72.0
    assert [e["value"]["beats"] for e in made["corrections"]["pulse:1:before"]] == [60, 16]
    assert library.summaries()[0]["holds"][1]["duration_s"] == 80.5
    with DiskStore(library.folder) as store:
        assert store.people.for_session([(1, None)], NOW.date(), invented=True)[0].best_s == 80.5


@pytest.mark.parametrize(
    ("key", "change", "reason"),
    [
        ("hold:1:main:1", "duration_s", "FIELD=VALUE"),
        ("hold:1:main:1", "duration_s=", "not a number above zero"),
        ("hold:1:main:1", "duration_s=-3", "not a number above zero"),
        ("hold:1:main:1", "duration_s=nan", "not a number above zero"),
        ("hold:1:main:1", "duration_s=40", "shorter than a contraction"),
        ("hold:1:main:1", "contractions_s=10,90", "after the end of the hold"),
        ("hold:1:main:1", "kind=o2", "cannot be corrected; duration_s, contractions_s can"),
        ("pulse:1:before", "beats=16.5", "not a whole number"),
        ("check-in:1:main:1", "answer=fine", "not one of okay"),
        ("answer:1:heart", "answer=perhaps", "not one of yes, no, none"),
        ("hold:9", "duration_s=3", "has no value 'hold:9'; it has answer:1:heart"),
    ],
)
def test_a_correction_that_cannot_be_is_one_line_and_changes_nothing(
    key: str, change: str, reason: str, library: Library
) -> None:
    before = library.session("one")
    with pytest.raises(BadInput, match=reason) as refused:
        correct_record(library, "one", key, change, NOW)
    assert "\n" not in str(refused.value)
    assert library.session("one") == before


def test_a_corrected_health_answer_counts_at_once(library: Library) -> None:
    assert People(library).find(1).is_cleared(NOW.date())
    correct_record(library, "one", "answer:1:heart", "answer=yes", NOW)
    assert not People(library).find(1).is_cleared(NOW.date())


def test_contractions_can_be_corrected_too(library: Library) -> None:
    correct_record(library, "one", "hold:1:main:1", "contractions_s=60,35.5", NOW)
    assert library.session("one")["holds"][0]["contractions_s"] == [35.5, 60.0]
    correct_record(library, "one", "hold:1:main:1", "contractions_s=none", NOW)
    assert library.session("one")["holds"][0]["contractions_s"] == []


def test_a_person_is_deleted_by_the_name_that_the_list_shows(library: Library) -> None:
    (line,) = delete_person(library, ME)
    assert line.startswith("participant 1: 1 sessions deleted, taken out of 1 sessions of a group")
    assert [row["id"] for row in library.summaries()] == ["two"]
    with pytest.raises(BadInput, match="nobody of that name here; known: Jon Invented"):
        delete_person(library, ME)


def test_a_person_is_named_from_the_command_line(library: Library) -> None:
    assert name_person(library, ME, "Mira") == ["participant 1 is called Mira now, in 2 sessions"]
    assert "Mira, Jon Invented" in list_records(library)[1]


def test_an_export_read_back_gives_the_same_store(library: Library, tmp_path: Path) -> None:
    correct_record(library, "one", "hold:1:main:1", "duration_s=80.5", NOW)
    text = export_records(library, "json")
    other = Library(tmp_path / "other")
    assert import_records(other, text, "file") == ["file: 2 sessions are new here"]
    assert export_records(other, "json") == text
    assert other.summaries() == library.summaries()
    assert People(other).all() == People(library).all()
    assert import_records(other, text, "file") == ["file: 0 sessions are new here"]


def test_an_export_can_be_of_a_span(library: Library) -> None:
    whole = json.loads(export_records(library, "json", since=date(2026, 11, 25)))
    assert [made["id"] for made in whole["sessions"]] == ["two"]
    assert export_records(library, "csv").count("\r\n") == 5
    assert export_records(library, "vtt", session="one").startswith("WEBVTT - one")


def changed(text: str, **changes: Any) -> str:
    whole = json.loads(text)
    made: Document = whole["sessions"][0]
    made.update(changes)
    return json.dumps(whole)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"started": "yesterday"}, "session one: started: 'yesterday' is not a time"),
        ({"started": "2026-11-24T18:00:00"}, "is not a time with its zone"),
        ({"plan": 3}, "session one: plan: 3 is not of type 'string'"),
        ({"id": "../../x"}, "id: .* does not match"),
        ({"holds": [{}]}, "session one: holds.0: "),
        ({"schema": 99}, "written by a newer coach"),
        ({"schema": None}, "without a schema version"),
        ({"duration_s": 1.0}, "differs from the one kept here"),
    ],
)
def test_what_is_no_export_is_refused_and_nothing_is_written(
    changes: dict[str, Any], reason: str, library: Library
) -> None:
    text = export_records(library, "json")
    with pytest.raises(BadInput, match=reason) as refused:
        import_records(library, changed(text, **changes), "file")
    assert "\n" not in str(refused.value)
    assert export_records(library, "json") == text


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"coach": "something else"}', "\x00"])
def test_a_file_that_is_not_ours_is_refused(text: str, library: Library) -> None:
    with pytest.raises(BadInput, match="file: is not"):
        import_records(library, text, "file")


def test_people_of_an_export_are_checked(library: Library) -> None:
    text = '{"coach": "records", "people": [{"number": "one"}]}'
    with pytest.raises(BadInput, match=r"file: people: 0\.number"):
        import_records(library, text, "file")


def with_alarm(row: Summary) -> Summary:
    return {**row, "notes": [{"participant": 1, "what": "alarm"}]}


# --- rows of like results ------------------------------------------------------------


def test_days_begin_at_local_midnight() -> None:
    assert day_of("1970-01-02T12:00:00+05:00") == 1.5
    assert day_of("2026-11-25T00:00:00-08:00") == day_of("2026-11-25T00:00:00+01:00")


def test_like_results_are_one_a_session(tmp_path: Path) -> None:
    stopped, dizzy = hold(50.0, ended_by="stop"), hold(90.0, kind="relaxed")
    with DiskStore(tmp_path) as store:
        several: list[Kept] = [
            hold(60.0),
            hold(70.0, number=2),
            pulse(16),
            pulse(20, place="after-hold"),
        ]
        put(store, "one", STARTED, several)
        put(store, "two", STARTED + timedelta(days=1), [stopped, dizzy, okay(dizzy, "dizzy")])
        late = [hold(66.0, contractions_s=(50.0, 40.0)), hold(99.0, participant=2)]
        put(store, "three", STARTED + timedelta(days=2), late, people=[None, None])
        rows = store.library.summaries()
    first = day_of(STARTED.isoformat())
    assert hold_points(rows, ME, "main") == [Point(first, 60.0), Point(first + 2, 66.0)]
    assert hold_points(rows, ME, "relaxed") == []
    assert hold_points(rows, "participant 2", "main") == [Point(first + 2, 99.0)]
    assert pulse_points(rows, ME, "before") == [Point(first, 64.0)]
    assert contraction_points(rows, ME, "main") == [Point(first + 2, 40.0)]
    past = practices([*rows, with_alarm(rows[0])], ME)
    assert past[3].trouble == "none"
    day = STARTED.date()
    assert past[0] == Practice(day, "three-holds", True, None, 70.0, "")
    assert past[1] == Practice(day + timedelta(days=1), "three-holds", True, None, 50.0, "dizzy")

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coach.border import BadInput
from coach.durable import database, read_tables
from coach.practice.kept import Kept
from coach.records.document import SCHEMA, summary
from coach.records.library import TABLE, Library
from coach.records.migrations import migrated
from coach.records.store import DiskStore
from tests.records.sessions import hold, okay, put, typical

BERLIN = ZoneInfo("Europe/Berlin")


def filled(folder: Path, *starts: str) -> Library:
    with DiskStore(folder) as store:
        for number, start in enumerate(starts, 1):
            started = datetime.fromisoformat(start).replace(tzinfo=BERLIN)
            put(store, f"s{number}", started, [hold(60.0 + number)])
    return Library(folder)


def test_sessions_are_listed_by_time_and_found_by_the_beginning_of_their_name(
    tmp_path: Path,
) -> None:
    library = filled(tmp_path, "2026-11-25T18:00", "2026-10-01T07:00", "2026-11-25T07:00")
    assert [row["id"] for row in library.summaries()] == ["s2", "s3", "s1"]
    assert library.session("last")["id"] == "s1"
    assert library.session("s2")["id"] == "s2"
    with pytest.raises(BadInput, match="fits 3 sessions"):
        library.session("s")
    with pytest.raises(BadInput, match="fits no session"):
        library.session("x")


def test_an_empty_library_says_that_nothing_is_kept(tmp_path: Path) -> None:
    library = Library(tmp_path / "not yet")
    assert library.summaries() == []
    with pytest.raises(BadInput, match="no session is kept here yet"):
        library.session("last")


def test_spans_include_both_days(tmp_path: Path) -> None:
    library = filled(tmp_path, "2026-10-31T23:59", "2026-11-01T00:00", "2026-11-30T23:00")
    found = library.summaries(date(2026, 11, 1), date(2026, 11, 30))
    assert [row["id"] for row in found] == ["s2", "s3"]
    assert [row["id"] for row in library.summaries(until=date(2026, 10, 31))] == ["s1"]


def test_a_session_belongs_to_the_day_of_its_own_zone(tmp_path: Path) -> None:
    library = filled(tmp_path, "2026-03-29T00:30")  # the evening before in UTC
    assert (tmp_path / "days" / "2026" / "2026-03-29.json").exists()
    assert library.session("last")["started"] == "2026-03-29T00:30:00+01:00"


def test_summaries_are_the_summaries_of_the_documents(tmp_path: Path) -> None:
    rng = random.Random(3)
    with DiskStore(tmp_path) as store:
        for number in range(40):
            started = datetime(2026, 1, 1, 9, tzinfo=BERLIN) + timedelta(days=2 * number)
            put(store, f"s{number:02}", started, typical(rng))
    library = Library(tmp_path)
    assert library.summaries() == [summary(made) for made in library.documents()]


def test_a_month_of_many_sessions_is_one_file_of_summaries(tmp_path: Path) -> None:
    filled(tmp_path, *(f"2026-11-{day:02}T10:00" for day in range(1, 13)))
    tables = read_tables(tmp_path / "months" / "2026-11.json")
    assert tables is not None
    assert len(tables[TABLE]) == 12


def test_a_dropped_session_is_gone_from_everything(tmp_path: Path) -> None:
    library = filled(tmp_path, "2026-11-25T18:00", "2026-11-25T19:00", "2026-11-26T19:00")
    library.drop(library.session("s1"))
    assert [row["id"] for row in library.summaries()] == ["s2", "s3"]
    library.drop(library.session("s2"))
    assert not list((tmp_path / "days").rglob("2026-11-25*"))
    library.drop(library.session("s3"))
    assert library.summaries() == []
    assert not list((tmp_path / "months").iterdir())


def test_the_summary_tells_how_somebody_was_after_each_hold(tmp_path: Path) -> None:
    first, second = hold(60.0), hold(70.0, number=2)
    with DiskStore(tmp_path) as store:
        kept: list[Kept] = [first, okay(first), second, okay(second, "dizzy")]
        made = put(store, "s", datetime(2026, 11, 25, tzinfo=BERLIN), kept)
    assert [h["check_in"] for h in summary(made)["holds"]] == ["okay", "dizzy"]


def test_documents_of_earlier_versions_are_brought_up_step_by_step() -> None:
    steps = {
        1: lambda made: {**made, "b": made["a"] + 1},
        2: lambda made: {key: value for key, value in made.items() if key != "a"},
    }
    assert migrated({"schema": 1, "a": 1}, "file", steps, 3) == {"schema": 3, "b": 2}
    assert migrated({"schema": 3, "b": 2}, "file", steps, 3) == {"schema": 3, "b": 2}


def test_a_document_of_a_newer_coach_is_refused_in_one_line(tmp_path: Path) -> None:
    library = filled(tmp_path, "2026-11-25T18:00")
    with database(tmp_path / "days" / "2026" / "2026-11-25.json") as tiny:
        tiny.table(TABLE).update({"schema": SCHEMA + 1})
    with pytest.raises(BadInput, match="written by a newer coach") as refused:
        library.session("last")
    assert "2026-11-25.json" in str(refused.value)


def test_an_error_within_a_change_changes_nothing(tmp_path: Path) -> None:
    filled(tmp_path, "2026-11-25T18:00")
    path = tmp_path / "days" / "2026" / "2026-11-25.json"
    before = path.read_bytes()

    def spoil() -> None:
        with database(path) as tiny:
            tiny.drop_tables()
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        spoil()
    assert path.read_bytes() == before

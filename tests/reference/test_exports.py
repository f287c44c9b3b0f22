"""What is exported, read by programs that are not ours: webvtt-py, csv, vobject, dateutil."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import recurring_ical_events  # type: ignore[import-untyped]
import vobject  # type: ignore[import-untyped]
import webvtt
from icalendar import Calendar

from coach.records.document import Document
from coach.records.exports import COLUMNS, as_csv, as_ics, as_json, as_vtt
from coach.records.store import DiskStore
from coach.timing.reminders import Weekly
from tests.records.sessions import about, hold, okay

BERLIN = ZoneInfo("Europe/Berlin")
STARTED = datetime(2026, 11, 25, 18, tzinfo=BERLIN)
STAMP = datetime(2026, 11, 25, 17, tzinfo=UTC)


def session(folder: Path) -> Document:
    first = hold(73.4, contractions_s=(41.5, 60.0))
    with DiskStore(folder) as store:
        store.begin("one", STARTED, about("Mira, „die Erfundene“", None))
        store.said(0.5, 2.0, "welcome", "Welcome.\nLie down & rest --> now.")
        store.said(3661.25, 3662.0, "late", "<late>")
        store.said(4.0, 4.0, "", "start", who="Mira <1>")
        for kept in (first, okay(first), hold(None, participant=2, ended_by="unknown")):
            store.keep(kept)
        return store.finish(3700.0, 0, "done")


def test_captions_are_read_back_by_webvtt_py(tmp_path: Path) -> None:
    text = as_vtt(session(tmp_path))
    assert text.startswith("WEBVTT")
    captions = webvtt.from_string(text).captions
    assert [(c.start, c.end) for c in captions] == [
        ("00:00:00.500", "00:00:02.000"),
        ("00:00:04.000", "00:00:04.001"),
        ("01:01:01.250", "01:01:02.000"),
    ]
    assert captions[0].voice == "coach"
    assert captions[0].text == "Welcome. Lie down &amp; rest --&gt; now."
    assert text.count("-->") == 3


def test_a_session_without_words_is_a_valid_empty_file(tmp_path: Path) -> None:
    with DiskStore(tmp_path) as store:
        store.begin("one", STARTED, about())
        made = store.finish(1.0, 0, "done")
    assert len(webvtt.from_string(as_vtt(made))) == 0


def test_the_table_has_one_row_a_hold_under_documented_names(tmp_path: Path) -> None:
    text = as_csv([session(tmp_path)])
    assert text.count("\r\n") == 3  # RFC 4180: lines end with CRLF
    first, second = csv.DictReader(io.StringIO(text))
    assert list(first) == list(COLUMNS)
    assert all(COLUMNS.values())
    assert first["started"] == "2026-11-25T18:00:00+01:00"
    assert first["name"] == "Mira, „die Erfundene“"
    assert float(first["duration_s"]) == 73.4
    assert (first["contractions"], first["first_contraction_s"]) == ("2", "41.5")
    assert (first["check_in"], first["invented"]) == ("okay", "yes")
    assert (second["participant"], second["name"], second["duration_s"]) == ("2", "", "")


def test_practice_days_are_taken_by_standard_readers() -> None:
    text = as_ics(["WE", "MO"], time(18), "Breath-hold: three holds", date(2026, 11, 24), STAMP)
    event = vobject.readOne(text).vevent
    assert event.summary.value == "Breath-hold: three holds"
    assert event.dtstart.value == datetime(2026, 11, 25, 18)  # noqa: DTZ001  floating
    assert event.valarm.action.value == "DISPLAY"
    first = list(event.rruleset[:4])
    assert [day.strftime("%a %d") for day in first] == ["Wed 25", "Mon 30", "Wed 02", "Mon 07"]


def test_the_calendar_and_the_reminders_are_the_same_times() -> None:
    text = as_ics(["SA", "SU"], time(18), "practice", date(2026, 3, 1), STAMP)
    span = (date(2026, 3, 1), date(2026, 12, 31))
    events = recurring_ical_events.of(Calendar.from_ical(text)).between(*span)
    theirs = sorted(event["DTSTART"].dt.replace(tzinfo=BERLIN) for event in events)
    trigger = Weekly(["SA", "SU"], time(18), BERLIN)
    now = datetime(2026, 3, 1, tzinfo=BERLIN)
    ours = [trigger.get_next_fire_time(None, now)]
    while len(ours) < len(theirs):
        ours.append(trigger.get_next_fire_time(ours[-1], now))
    assert len(theirs) > 80
    assert ours == theirs


def test_lines_of_a_calendar_are_folded_and_end_as_the_standard_says() -> None:
    # RFC 5545 section 3.1: lines of at most 75 octets, CRLF
    text = as_ics(["MO"], time(18), "practice " * 30, date(2026, 11, 24), STAMP)
    lines = text.encode().split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert not any(b"\n" in line for line in lines)
    assert vobject.readOne(text).vevent.summary.value == ("practice " * 30)


def test_the_same_days_give_the_same_event_so_that_it_is_not_added_twice() -> None:
    later = STAMP + timedelta(days=1)
    first = vobject.readOne(as_ics(["MO"], time(18), "x", date(2026, 11, 24), STAMP)).vevent
    again = vobject.readOne(as_ics(["MO"], time(18), "x", date(2026, 11, 25), later)).vevent
    assert first.uid.value == again.uid.value


def test_json_is_one_object_with_a_version(tmp_path: Path) -> None:
    made = session(tmp_path)
    whole = json.loads(as_json([made], []))
    assert whole["sessions"] == [made]
    assert whole["schema"] == made["schema"]

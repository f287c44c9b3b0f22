"""The record of a session against its JSON Schema (2020-12), by jsonschema."""

from __future__ import annotations

import dataclasses
import random
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from jsonschema import Draft202012Validator

from coach.practice.kept import Answer, CheckIn, Hold, Note, Pulse, Source
from coach.practice.plan import PLACES
from coach.practice.safety import UNWELL_ANSWERS
from coach.records.corrections import corrected
from coach.records.document import SCHEMA, Document
from coach.records.schema import session_schema
from coach.records.store import DiskStore, MemoryStore
from tests.records.conformance import ABOUT, CHECK_IN, FIRST_COUNT, HOLD, SECOND_COUNT
from tests.records.sessions import about, hold, put, typical

STARTED = datetime(2026, 10, 25, 2, 30, tzinfo=ZoneInfo("Europe/Berlin"))
CHECKER = Draft202012Validator.FORMAT_CHECKER


def complaints(made: Document) -> list[str]:
    validator = Draft202012Validator(session_schema(), format_checker=CHECKER)
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(made)]


@pytest.fixture
def made(tmp_path: Path) -> Document:
    with DiskStore(tmp_path) as store:
        store.begin("one", STARTED, ABOUT)
        store.said(0.5, 2.0, "welcome", "Welcome.")
        values = (HOLD, CHECK_IN, FIRST_COUNT, SECOND_COUNT, Note("n", None, "paused", "", 50.0))
        for kept in values:
            store.keep(kept)
        return dict(store.finish(301.5, 0, "done"))


def test_the_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(session_schema())
    assert "date-time" in CHECKER.checkers, "without it the times are not checked at all"


def test_records_follow_the_schema(made: Document, tmp_path: Path) -> None:
    assert complaints(made) == []
    rng = random.Random(1)
    with DiskStore(tmp_path / "more") as store:
        for number in range(20):
            assert complaints(put(store, f"s{number}", STARTED, typical(rng))) == []


def test_an_interrupted_session_follows_the_schema(tmp_path: Path) -> None:
    store = DiskStore(tmp_path)
    store.begin("one", STARTED, about())
    store.keep(hold(None, ended_by="unknown"))
    store.close()
    with DiskStore(tmp_path, tell=lambda _: None) as again:
        assert complaints(again.library.session("one")) == []


def test_corrections_follow_the_schema(made: Document) -> None:
    now = datetime(2026, 11, 25, 19, tzinfo=ZoneInfo("Europe/Berlin"))
    for key, field, text in (
        ("main-1", "duration_s", "80.5"),
        ("main-1", "contractions_s", "none"),
        ("pulse-1", "beats", "17"),
        ("check-1", "answer", "dizzy"),
    ):
        made = corrected(made, key, field, text, now)
    assert complaints(made) == []
    assert made["corrections"]["pulse-1"][-1]["replaced_at"] == "2026-11-25T19:00:00+01:00"


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"schema": SCHEMA + 1}, "schema"),
        ({"started": "25 November"}, "started"),
        ({"started": "2026-11-25T18:30:00"}, "started"),
        ({"participants": []}, "participants"),
        ({"id": "../x"}, "id"),
        ({"surprise": 1}, "surprise"),
        ({"holds": [{"key": "h"}]}, "holds"),
    ],
)
def test_the_schema_refuses_what_is_no_record(
    change: dict[str, Any], complaint: str, made: Document
) -> None:
    found = complaints({**made, **change})
    assert found
    assert complaint in found[0]


def test_every_property_is_described() -> None:
    schema = session_schema()
    nodes = {"session": schema, **schema["$defs"]}
    for name, node in nodes.items():
        for key, value in node["properties"].items():
            is_list = value.get("type") == "array" and "$ref" in value["items"]
            assert "description" in value or "$ref" in value or is_list, f"{name}.{key}"


def test_the_schema_knows_every_field_that_the_core_keeps() -> None:
    defs = session_schema()["$defs"]
    kept = {"answer": Answer, "hold": Hold, "pulse": Pulse, "check_in": CheckIn, "note": Note}
    for name, kind in {**kept, "source": Source}.items():
        fields = {field.name for field in dataclasses.fields(kind)}
        assert fields == set(defs[name]["properties"]) - {"duration_s"}, name
    assert set(defs["pulse"]["properties"]["place"]["enum"]) == set(PLACES)
    answers = set(defs["check_in"]["properties"]["answer"]["enum"])
    assert answers == {"okay", "none", *UNWELL_ANSWERS}


def test_the_twin_makes_the_same_document(tmp_path: Path) -> None:
    made = []
    with DiskStore(tmp_path) as store:
        for part in (store, MemoryStore()):
            part.begin("one", STARTED, ABOUT)
            part.keep(HOLD)
            part.keep(SECOND_COUNT)
            part.said(0.5, 2.0, "welcome", "Welcome.")
            made.append(part.finish(301.5, 0, "done"))
    assert made[0] == made[1]

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coach.border import BadInput
from coach.practice.kept import Answer, Kept, Note
from coach.records.document import who
from coach.records.forget import Forgotten, forget
from coach.records.library import Library
from coach.records.naming import rename
from coach.records.people import Participant, People, Preferences, bests
from coach.records.store import DiskStore
from tests.records.sessions import VOICE, cleared, hold, okay, pulse, put

STARTED = datetime(2026, 11, 25, 18, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture
def store(tmp_path: Path) -> DiskStore:
    return DiskStore(tmp_path / "records")


def test_people_are_known_by_name_and_without_one_by_number() -> None:
    assert who({"number": 3, "name": "Mira Invented"}) == "Mira Invented"
    assert who({"number": 3, "name": None}) == "participant 3"


def test_clearing_answers_are_kept_with_their_date_for_a_year(store: DiskStore) -> None:
    put(store, "one", STARTED, cleared(), people=["Mira Invented"])
    one = store.people.find(1, "Mira Invented")
    assert one.cleared["heart"] == ("no", "2026-11-25")
    assert one.is_cleared(TODAY)
    assert one.is_cleared(TODAY + timedelta(days=365))
    assert not one.is_cleared(TODAY + timedelta(days=366))
    assert not store.people.find(2).is_cleared(TODAY)


@pytest.mark.parametrize("question", ["heart", "pregnancy"])
@pytest.mark.parametrize("answer", ["yes", "none"])
def test_one_unsafe_or_missing_answer_is_no_clearing(
    store: DiskStore, question: str, answer: str
) -> None:
    put(store, "one", STARTED, cleared())
    changed = Answer("again", 1, question, answer, VOICE)
    put(store, "two", STARTED + timedelta(hours=1), [changed])
    assert not store.people.find(1).is_cleared(TODAY)


def test_something_changed_since_then_ends_the_clearing(store: DiskStore) -> None:
    put(store, "one", STARTED, cleared())
    put(store, "two", STARTED + timedelta(hours=1), [Answer("u", 1, "unchanged", "yes", VOICE)])
    assert store.people.find(1).is_cleared(TODAY)
    put(store, "three", STARTED + timedelta(hours=2), [Answer("u", 1, "unchanged", "no", VOICE)])
    assert not store.people.find(1).is_cleared(TODAY)


def test_a_faint_ends_the_clearing_and_the_day(store: DiskStore) -> None:
    put(store, "one", STARTED, [*cleared(), Note("n", 1, "fainted", "", 80.0)])
    (person,) = store.people.for_session([(1, None)], TODAY, invented=True)
    assert person.fainted_today
    assert not person.cleared
    (tomorrow,) = store.people.for_session([(1, None)], TODAY + timedelta(days=1), invented=True)
    assert not tomorrow.fainted_today
    assert not tomorrow.cleared


def test_each_person_of_a_group_has_their_own_answers(store: DiskStore) -> None:
    put(store, "one", STARTED, [*cleared(2)], people=["Mira Invented", None])
    first, second = store.people.for_session(
        [(1, "Mira Invented"), (2, None)], TODAY, invented=True
    )
    assert not first.cleared
    assert second.cleared
    assert (first.number, first.name) == (1, "Mira Invented")


def test_bests_are_of_holds_that_somebody_came_out_of_well(store: DiskStore) -> None:
    fine, dizzy, open_end = hold(80.0), hold(120.0, number=2), hold(None, number=3)
    kept: list[Kept] = [
        fine,
        okay(fine),
        dizzy,
        okay(dizzy, "dizzy"),
        open_end,
        hold(70.0, kind="relaxed"),
    ]
    put(store, "one", STARTED, kept)
    assert bests(store.library.summaries(), "participant 1") == {"main": 80.0, "relaxed": 70.0}
    (person,) = store.people.for_session([(1, None)], TODAY, invented=True)
    assert person.best_s == 80.0


def test_tables_of_the_day_are_counted(store: DiskStore) -> None:
    put(store, "one", STARTED, [hold(45.0, kind="co2"), hold(45.0, kind="co2", number=2)])
    (person,) = store.people.for_session([(1, None)], TODAY, invented=True)
    assert person.tables_today == 1
    (tomorrow,) = store.people.for_session([(1, None)], TODAY + timedelta(days=1), invented=True)
    assert tomorrow.tables_today == 0


def test_somebody_new_has_no_best_and_no_clearing(store: DiskStore) -> None:
    (person,) = store.people.for_session([(4, "Nobody Yet")], TODAY, invented=True)
    assert person.best_s is None
    assert not person.cleared
    assert (person.number, person.name) == (4, "Nobody Yet")


def test_preferences_come_back(store: DiskStore) -> None:
    one = Participant(2, "Mira Invented", {}, Preferences(speed=0.9, quiet=True))
    store.people.save(one, Participant(1))
    assert store.people.all() == [Participant(1), one]
    put(store, "one", STARTED, [], people=["Mira Invented"])
    assert store.people.find(9, "Mira Invented").preferences.speed == 0.9


def test_invented_sessions_give_nobody_a_best(store: DiskStore) -> None:
    put(store, "demo", STARTED, [hold(140.0)])
    (person,) = store.people.for_session([(1, None)], TODAY)
    assert person.best_s is None


def test_somebody_is_named_in_all_their_sessions(store: DiskStore) -> None:
    put(store, "one", STARTED, [*cleared(), hold(60.0)])
    put(store, "two", STARTED + timedelta(hours=1), [hold(70.0)], people=[None, "Jon Invented"])
    assert rename(store.library, "participant 1", " Mira  Invented ") == 2
    rows = store.library.summaries()
    assert bests(rows, "Mira Invented") == {"main": 70.0}
    assert bests(rows, "participant 1") == {}
    assert store.library.session("two")["timeline"][-1]["who"] == "Mira Invented"
    assert [one.who for one in store.people.all()] == ["Mira Invented", "Jon Invented"]
    (person,) = store.people.for_session([(1, None)], TODAY, invented=True)
    assert (person.name, person.best_s, person.cleared) == ("Mira Invented", 70.0, True)


@pytest.mark.parametrize(
    ("old", "name", "reason"),
    [
        ("participant 1", "Jon Invented", "has that name already"),
        ("participant 1", "  ", "a name is needed"),
        ("participant 1", "participant 2", "a name is needed"),
        ("participant 9", "Mira Invented", "nobody of that name"),
    ],
)
def test_a_name_that_cannot_be_given_is_refused(
    old: str, name: str, reason: str, store: DiskStore
) -> None:
    put(store, "one", STARTED, [hold(60.0)], people=[None, "Jon Invented"])
    before = store.library.session("one")
    with pytest.raises(BadInput, match=reason):
        rename(store.library, old, name)
    assert store.library.session("one") == before


def test_a_number_of_two_people_stands_for_neither(store: DiskStore) -> None:
    store.people.save(Participant(1, "Mira Invented"), Participant(1, "Jon Invented"))
    assert store.people.find(1) == Participant(1)
    assert store.people.find(1, "Jon Invented") == Participant(1, "Jon Invented")


def everything(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_a_person_is_deleted_completely(store: DiskStore) -> None:
    folder = store.library.folder
    put(store, "alone", STARTED, [hold(60.0)], people=["Mira Invented"])
    group = ["Mira Invented", "Jon Invented"]
    shared: list[Kept] = [
        hold(61.0),
        hold(62.0, participant=2),
        pulse(17),
        pulse(18, participant=2),
    ]
    put(store, "group", STARTED + timedelta(hours=1), shared, people=group)
    (folder / "aside").mkdir()
    (folder / "aside" / "2026-01-01.json").write_bytes(b"... Mira Invented ...")
    (folder / "days" / "2026" / ".2026-11-25.json.new").write_bytes(b"Mira Invented")
    backup = folder / "days" / "2026" / "2026-11-25.json.backup"
    old = backup.read_bytes()
    store.close()

    assert forget(Library(folder), "Mira Invented") == Forgotten(1, 1, 1)
    assert b"Mira" not in everything(folder)
    (left,) = Library(folder).documents()
    assert [h["duration_s"] for h in left["holds"]] == [62.0]
    assert [p["beats"] for p in left["pulses"]] == [18]
    assert [one.name for one in People(Library(folder)).all()] == ["Jon Invented"]

    backup.write_bytes(old)  # killed between a file and its backup: deleting again mends it
    assert forget(Library(folder), "Mira Invented") == Forgotten(0, 0, 0)
    assert b"Mira" not in everything(folder)


def test_what_was_corrected_of_a_person_goes_too(store: DiskStore) -> None:
    put(
        store, "group", STARTED,
        [pulse(60), pulse(16), pulse(70, participant=2), pulse(17, participant=2)],
        people=["Mira Invented", "Jon Invented"],
    )  # fmt: skip
    forget(store.library, "Mira Invented")
    (left,) = store.library.documents()
    assert [len(earlier) for earlier in left["corrections"].values()] == [1]
    assert [p["participant"] for p in left["pulses"]] == [2]

"""What can go wrong on a disk, made to happen."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coach.border import BadInput
from coach.durable import Damaged, backup_of, read_tables, write_whole
from coach.records.document import Document
from coach.records.library import Library
from coach.records.store import DiskStore
from tests.records.sessions import about, hold, okay, pulse, put

STARTED = datetime(2026, 11, 25, 18, tzinfo=UTC)
Spoil = Callable[[bytes], bytes]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "records"


@pytest.fixture
def told() -> list[str]:
    return []


def one_session(folder: Path, name: str = "one") -> Document:
    held = hold(73.4)
    with DiskStore(folder) as store:
        return put(store, name, STARTED, [held, okay(held), pulse(17)])


@contextmanager
def files_at_most(size_bytes: int) -> Iterator[None]:
    """No file may grow past this size, as if the disk were full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own with 64 KiB."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    try:
        done = subprocess.run(mount, capture_output=True, check=False)
    except FileNotFoundError:
        pytest.skip("there is no mount program")
    if done.returncode != 0:
        pytest.skip("mounting a small disk needs rights that this user does not have")
    yield place
    subprocess.run(["umount", str(place)], check=True)


# --- killed -----------------------------------------------------------------------


def test_a_killed_coach_loses_nothing_acknowledged(folder: Path) -> None:
    command = [sys.executable, "-m", "tests.records.killing", str(folder), "25"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout.split()[2]) > 50, "the kills have to fall into the writing"


def test_a_session_without_an_end_is_taken_in_as_interrupted(folder: Path, told: list[str]) -> None:
    store = DiskStore(folder)
    store.begin("one", STARTED, about("Mira Invented"))
    store.keep(hold(73.4))
    store.close()
    with DiskStore(folder, told.append) as again:
        made = again.library.session("one")
    assert made["outcome"] == {"code": 1, "reason": "interrupted"}
    assert made["holds"][0]["duration_s"] == 73.4
    assert made["duration_s"] == 173.4
    assert told == ["one: this session was interrupted; what it had kept was taken in"]
    with DiskStore(folder, told.append) as again:
        assert len(again.library.summaries()) == 1
    assert len(told) == 1


def test_half_a_line_at_the_end_of_a_journal_costs_nothing(folder: Path) -> None:
    store = DiskStore(folder)
    store.begin("one", STARTED, about())
    store.keep(hold(73.4))
    store.close()
    with (folder / "journals" / "one.jsonl").open("ab") as journal:
        journal.write(b'{"keep": {"list": "hol')
    with DiskStore(folder) as again:
        assert len(again.library.session("one")["holds"]) == 1


def test_a_journal_that_never_began_is_removed(folder: Path, told: list[str]) -> None:
    DiskStore(folder).close()
    (folder / "journals").mkdir()
    (folder / "journals" / "one.jsonl").write_bytes(b'{"beg')
    with DiskStore(folder, told.append) as store:
        assert store.library.summaries() == []
    assert not list((folder / "journals").iterdir())
    assert told == []


def test_a_journal_with_a_broken_line_gives_the_rest_and_is_kept_aside(
    folder: Path, told: list[str]
) -> None:
    store = DiskStore(folder)
    store.begin("one", STARTED, about())
    store.keep(hold(60.0))
    store.keep(hold(73.4, number=2))
    store.close()
    path = folder / "journals" / "one.jsonl"
    lines = path.read_bytes().split(b"\n")
    lines[1] = lines[1][:40] + b"\x00\xff" + lines[1][42:]
    path.write_bytes(b"\n".join(lines))
    with DiskStore(folder, told.append) as again:
        assert [h["duration_s"] for h in again.library.session("one")["holds"]] == [73.4]
    assert (folder / "aside" / "one.jsonl").read_bytes() == b"\n".join(lines)
    assert any("damaged lines" in line for line in told)


def test_a_journal_that_was_taken_in_already_changes_nothing(folder: Path) -> None:
    store = DiskStore(folder)
    store.begin("one", STARTED, about())
    store.keep(hold(60.0))
    content = (folder / "journals" / "one.jsonl").read_bytes()
    made = store.finish(300.0, 0, "done")
    store.close()
    (folder / "journals" / "one.jsonl").write_bytes(content)  # killed just before its removal
    with DiskStore(folder) as again:
        rows = again.library.summaries()
        assert [row["id"] for row in rows] == [made["id"]]
        assert again.library.session("one")["holds"] == made["holds"]


# --- full -------------------------------------------------------------------------


def test_a_full_disk_loses_nothing_that_was_kept_and_says_so(folder: Path) -> None:
    with DiskStore(folder) as store:
        store.begin("one", STARTED, about())
        store.keep(hold(60.0))
        size = (folder / "journals" / "one.jsonl").stat().st_size
        with files_at_most(size + 100), pytest.raises(OSError, match="too large"):
            store.keep(hold(73.4, number=2))
        assert (folder / "journals" / "one.jsonl").stat().st_size == size
        store.keep(hold(80.0, number=3))  # there is room again
        made = store.finish(300.0, 0, "done")
    assert [h["duration_s"] for h in made["holds"]] == [60.0, 80.0]


def test_a_session_that_finds_no_room_to_begin_leaves_nothing_behind(folder: Path) -> None:
    with DiskStore(folder) as store:
        with files_at_most(20), pytest.raises(OSError, match="too large"):
            store.begin("one", STARTED, about())
        assert not list((folder / "journals").iterdir())
        store.begin("one", STARTED, about())
        store.finish(1.0, 0, "done")


def test_a_caption_that_finds_no_room_does_not_stop_the_session(folder: Path) -> None:
    with DiskStore(folder) as store:
        store.begin("one", STARTED, about())
        with files_at_most(200):
            store.said(1.0, 2.0, "welcome", "Welcome. " * 50)
        made = store.finish(300.0, 0, "done")
    assert len(made["timeline"]) == 1


def test_no_room_for_the_end_of_a_session_leaves_it_for_the_next_opening(folder: Path) -> None:
    for number in range(3):  # a day of some size already
        one_session(folder, f"earlier-{number}")
    store = DiskStore(folder)
    store.begin("one", STARTED, about())
    store.keep(hold(60.0))
    size = (folder / "journals" / "one.jsonl").stat().st_size
    with files_at_most(size + 200), pytest.raises(OSError, match="too large"):
        store.finish(300.0, 0, "done")
    store.close()
    with DiskStore(folder) as again:
        made = again.library.session("one")
    assert made["holds"][0]["duration_s"] == 60.0
    assert made["outcome"] == {"code": 0, "reason": "done"}
    assert not list(folder.rglob(".*.new"))


def keep_until_full(store: DiskStore) -> int:
    for number in range(1000):
        try:
            store.keep(hold(60.0 + number, number=number + 1))
        except OSError:
            return number
    raise AssertionError("the disk did not fill")


def test_a_really_full_disk(small_disk: Path, told: list[str]) -> None:
    folder = small_disk / "records"
    store = DiskStore(folder)
    store.begin("one", STARTED, about())
    kept = keep_until_full(store)
    assert kept > 20
    store.close()
    with DiskStore(folder, told.append) as again:  # still full: it waits, and that is told
        assert again.library.summaries() == []
    assert "No space left on device" in told[0]
    subprocess.run(["mount", "-o", "remount,size=10m", str(small_disk)], check=True)
    with DiskStore(folder, told.append) as again:
        assert len(again.library.session("one")["holds"]) == kept


def test_a_save_that_fails_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "file"
    write_whole(path, b"before")
    with files_at_most(10), pytest.raises(OSError, match="too large"):
        write_whole(path, b"after" * 100)
    assert path.read_bytes() == b"before"
    assert os.listdir(tmp_path) == ["file"]  # noqa: PTH208


# --- no rights --------------------------------------------------------------------


def test_a_place_where_nothing_can_be_written_is_told_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(BadInput, match=r"records cannot be written here \(Not a directory\)") as e:
        DiskStore(tmp_path / "file" / "records")
    assert "\n" not in str(e.value)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_without_write_rights_is_told_in_one_line(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(BadInput, match="records cannot be written here"):
        DiskStore(tmp_path / "records")
    tmp_path.chmod(0o700)


def test_a_read_only_disk_is_told_in_one_line(small_disk: Path) -> None:
    remount = ["mount", "-o", "remount,ro", str(small_disk)]
    subprocess.run(remount, check=True)
    with pytest.raises(BadInput, match="Read-only file system"):
        DiskStore(small_disk / "records")


def test_only_the_owner_may_read(folder: Path) -> None:
    before = os.umask(0o000)
    try:
        one_session(folder)
    finally:
        os.umask(before)
    for path in (folder, *folder.rglob("*")):
        assert path.stat().st_mode & 0o777 == (0o700 if path.is_dir() else 0o600), path


def test_a_second_coach_is_told_in_one_line(folder: Path) -> None:
    with DiskStore(folder), pytest.raises(BadInput, match="another coach") as refused:
        DiskStore(folder)
    assert "\n" not in str(refused.value)
    DiskStore(folder).close()


def test_reading_goes_on_while_another_coach_writes(folder: Path) -> None:
    one_session(folder)
    with DiskStore(folder) as store:
        store.begin("two", STARTED, about())
        assert [row["id"] for row in Library(folder).summaries()] == ["one"]
        with pytest.raises(BadInput, match="another coach"):
            Library(folder).put(Library(folder).session("one"))


# --- damaged ----------------------------------------------------------------------


def cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def flipped(content: bytes) -> bytes:
    return content.replace(b"73.4", b"93.4")


def emptied(content: bytes) -> bytes:
    return b""


@pytest.mark.parametrize("spoil", [cut, flipped, emptied])
def test_a_damaged_day_is_set_aside_and_the_backup_used(
    spoil: Spoil, folder: Path, told: list[str]
) -> None:
    made = one_session(folder)
    day = folder / "days" / "2026" / "2026-11-25.json"
    spoiled = spoil(day.read_bytes())
    day.write_bytes(spoiled)
    library = Library(folder, told.append)
    assert library.session("last") == made
    assert (folder / "aside" / day.name).read_bytes() == spoiled
    assert day.read_bytes() == backup_of(day).read_bytes()
    (line,) = told
    assert "the backup is used" in line
    assert library.session("last") == made
    assert len(told) == 1


def test_saving_into_a_damaged_day_keeps_what_was_there(folder: Path, told: list[str]) -> None:
    one_session(folder)
    day = folder / "days" / "2026" / "2026-11-25.json"
    day.write_bytes(cut(day.read_bytes()))
    one_session(folder, "two")
    assert [made["id"] for made in Library(folder).documents()] == ["one", "two"]
    assert [row["id"] for row in Library(folder).summaries()] == ["one", "two"]


def test_a_damaged_day_is_readable_while_another_coach_holds_the_lock(
    folder: Path, told: list[str]
) -> None:
    made = one_session(folder)
    day = folder / "days" / "2026" / "2026-11-25.json"
    with DiskStore(folder):
        day.write_bytes(b"gone")
        assert Library(folder, told.append).session("last") == made
        assert day.read_bytes() == b"gone"
    assert "the backup is used" in told[0]


def test_a_day_damaged_with_its_backup_is_told_and_the_other_days_stay(
    folder: Path, told: list[str]
) -> None:
    one_session(folder)
    with DiskStore(folder) as store:
        put(store, "later", STARTED.replace(day=26), [hold(80.0)])
    day = folder / "days" / "2026" / "2026-11-25.json"
    day.write_bytes(b"gone")
    backup_of(day).write_bytes(b"gone too")
    assert [made["id"] for made in Library(folder, told.append).documents()] == ["later"]
    assert "and so is its backup" in told[0]
    assert sorted(path.name for path in (folder / "aside").iterdir()) == [
        "2026-11-25.json",
        "2026-11-25.json.backup",
    ]


def test_nothing_in_aside_is_overwritten(folder: Path) -> None:
    one_session(folder)
    day = folder / "days" / "2026" / "2026-11-25.json"
    for content in (b"first", b"second"):
        day.write_bytes(content)
        assert len(list(Library(folder).documents())) == 1
    contents = {path.read_bytes() for path in (folder / "aside").iterdir()}
    assert contents == {b"first", b"second"}


def test_a_lost_file_comes_back_from_its_backup(folder: Path) -> None:
    made = one_session(folder)
    (folder / "days" / "2026" / "2026-11-25.json").unlink()
    assert Library(folder).session("last") == made


def test_a_damaged_or_lost_month_is_made_again(folder: Path) -> None:
    one_session(folder)
    month = folder / "months" / "2026-11.json"
    rows = Library(folder).summaries()
    month.write_bytes(cut(month.read_bytes()))
    assert Library(folder).summaries() == rows
    month.unlink()
    assert Library(folder).summaries() == rows
    one_session(folder, "two")
    assert [row["id"] for row in Library(folder).summaries()] == ["one", "two"]
    assert month.exists()


def test_people_come_back_from_their_backup(folder: Path, told: list[str]) -> None:
    with DiskStore(folder) as store:
        put(store, "one", STARTED, [hold(60.0)], people=["Mira Invented"])
    (folder / "people.json").write_bytes(b"{}")
    with DiskStore(folder, told.append) as store:
        assert [one.name for one in store.people.all()] == ["Mira Invented"]
    assert "the backup is used" in told[0]


def test_a_header_that_is_no_header_is_damage(tmp_path: Path) -> None:
    for content in (b"[]\n{}\n", b'{"sha256": 1}\n{}\n', b"\xff\n"):
        (tmp_path / "file").write_bytes(content)
        with pytest.raises(Damaged):
            read_tables(tmp_path / "file")
    assert read_tables(tmp_path / "other") is None

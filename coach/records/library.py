"""The kept sessions of a folder: one database a day, one file of summaries a month.

    days/2026/2026-11-25.json           the documents of that day, and its .backup
    months/2026-11.json                 summaries; derived, remade from the days when missing
    journals/<session>.jsonl            sessions that run, or whose coach died
    aside/                              damaged files, never overwritten

A save touches one day and one month, so it costs the same in year ten. Whoever changes
something holds `lock`; reading needs no lock because files are replaced whole.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

from filelock import FileLock, Timeout
from tinydb import where

from coach.border import BadInput
from coach.durable import (
    Damaged,
    backup_of,
    database,
    make_folder,
    read_tables,
    remove,
    sync_folder,
    write_whole,
)
from coach.records.document import Document, Summary, summary
from coach.records.migrations import migrated

Tell = Callable[[str], None]
TABLE = "sessions"


def silent(_: str) -> None:
    """Tell nobody."""


class Library:
    """Reads sessions, and changes them under the lock."""

    def __init__(self, folder: Path, tell: Tell = silent) -> None:
        """`tell` gets one line when something was damaged or taken in."""
        self.folder = folder
        self.tell = tell
        self._lock = FileLock(folder / "lock", mode=0o600)

    # --- the lock -----------------------------------------------------------------

    def lock(self) -> None:
        """Keep other coaches from writing. Raises BadInput if one is at it or nobody can."""
        try:
            make_folder(self.folder)
            self._lock.acquire(blocking=False)
        except Timeout:
            raise BadInput(
                f"{self.folder}: another coach is keeping records here; end it first, or name "
                "another folder under [records] in the configuration"
            ) from None
        except OSError as error:
            raise BadInput(
                f"{self.folder}: records cannot be written here ({error.strerror}); name another "
                "folder under [records] in the configuration"
            ) from None

    def unlock(self) -> None:
        """Let others write."""
        self._lock.release()

    @contextmanager
    def locked(self) -> Iterator[None]:
        """The lock for as long as the block runs; may be held already."""
        self.lock()
        try:
            yield
        finally:
            self.unlock()

    # --- where things lie ---------------------------------------------------------

    def day_path(self, day: date) -> Path:
        """The database of a day (the day the session started, in its own zone)."""
        return self.folder / "days" / f"{day:%Y}" / f"{day:%Y-%m-%d}.json"

    def month_path(self, day: date) -> Path:
        """The summaries of a month."""
        return self.folder / "months" / f"{day:%Y-%m}.json"

    def day_paths(self, month: str = "") -> list[Path]:
        """The databases of all days (of one month), oldest first; one with only its backup too."""
        names = (name for name in self._day_names() if name.startswith(month))
        return [self.folder / "days" / name[:4] / name for name in names]

    def _day_names(self) -> list[str]:
        days = self.folder / "days"
        years = os.listdir(days) if days.is_dir() else []  # noqa: PTH208  4,000 names: be quick
        names = (name for year in years for name in os.listdir(days / year))  # noqa: PTH208
        return sorted({name.removesuffix(".backup") for name in names if name[0] != "."})

    # --- reading ------------------------------------------------------------------

    def summaries(self, since: date | None = None, until: date | None = None) -> list[Summary]:
        """Summaries of the sessions that started from `since` to `until`, oldest first."""
        first = since.strftime("%Y-%m") if since else ""
        last = until.strftime("%Y-%m") if until else "9999-99"
        months = [month for month in self._months() if first <= month <= last]
        with _no_collecting():
            found = [row for month in months for row in self._month(month)]
        low, high = str(since or ""), str(until or "9999")
        chosen = [item for item in found if low <= item["started"][:10] <= high]
        return sorted(chosen, key=lambda item: datetime.fromisoformat(item["started"]))

    def documents(self) -> Iterator[Document]:
        """All sessions, oldest first, one day in memory at a time."""
        for path in self.day_paths():
            yield from sorted(self.day(path), key=lambda made: made["started"])

    def session(self, name: str) -> Document:
        """The session whose id is or begins with `name`; "last" is the newest. Raises BadInput."""
        rows = self.summaries()
        if not rows:
            raise BadInput(f"{self.folder}: no session is kept here yet")
        hits = rows[-1:] if name == "last" else [row for row in rows if row["id"] == name]
        hits = hits or [row for row in rows if row["id"].startswith(name)]
        if len(hits) != 1:
            many = "fits no session" if not hits else f"fits {len(hits)} sessions"
            raise BadInput(f"{name}: {many}; `coach records list` shows their names")
        day = datetime.fromisoformat(hits[0]["started"]).date()
        for made in self.day(self.day_path(day)):
            if made["id"] == hits[0]["id"]:
                return made
        raise BadInput(f"{hits[0]['id']}: its day could not be read; see {self.folder / 'aside'}")

    def day(self, path: Path) -> list[Document]:
        """The sessions of one day; falls back to the backup if the file is damaged."""
        self.mend(path)
        source = path if is_whole(path) else backup_of(path)
        if not is_whole(source):
            return []
        with database(source, backup=False) as tiny:
            return [migrated(dict(made), str(path)) for made in tiny.table(TABLE)]

    def _months(self) -> list[str]:
        return sorted({name[:7] for name in self._day_names()})

    def _month(self, month: str) -> list[Summary]:
        try:
            tables = read_tables(self.folder / "months" / f"{month}.json")
        except Damaged:
            tables = None
        # reading TinyDB's table as the mapping it is: its row objects would cost half the time
        return list(tables[TABLE].values()) if tables else self._remade(month)

    def _remade(self, month: str) -> list[Summary]:
        return [summary(made) for path in self.day_paths(month) for made in self.day(path)]

    # --- changing (under the lock) ------------------------------------------------

    def put(self, made: Document) -> None:
        """Add the session or replace the one with its id. Raises OSError, BadInput."""
        path, month = self._paths(made)
        with self.locked():
            self.mend(path)
            if not is_whole(month) or self.holds(made["id"], path):
                remove(month)  # until it is made again, reviews read the days
            with database(path) as tiny:
                tiny.table(TABLE).upsert(made, where("id") == made["id"])
            self._summarise(month, added=made)

    def drop(self, made: Document) -> None:
        """Remove the session, from the backup too. Raises OSError, BadInput."""
        path, month = self._paths(made)
        with self.locked():
            remove(month)
            with database(path) as tiny:
                tiny.table(TABLE).remove(where("id") == made["id"])
                empty = not len(tiny.table(TABLE))
            if empty:
                remove(backup_of(path))
                remove(path)
            self._summarise(month)

    def holds(self, session: str, path: Path) -> bool:
        """Whether the day at `path` has this session."""
        return any(made["id"] == session for made in self.day(path))

    def _paths(self, made: Document) -> tuple[Path, Path]:
        day = datetime.fromisoformat(made["started"]).date()
        return self.day_path(day), self.month_path(day)

    def _summarise(self, month: Path, added: Document | None = None) -> None:
        """Add one summary to the month's file, or make the file anew where there is none."""
        rows = [summary(added)] if added and month.exists() else self._remade(month.stem)
        if rows:
            with database(month, backup=False) as tiny:
                tiny.table(TABLE).insert_multiple(rows)

    # --- damage -------------------------------------------------------------------

    def mend(self, path: Path) -> None:
        """See that `path` is whole: a damaged file is set aside and the backup takes its place."""
        state, spare = _state(path), _state(backup_of(path))
        if state == "whole" or (state == "missing" and spare == "missing"):
            return
        if state == "damaged":
            rescue = "the backup is used" if spare == "whole" else "and so is its backup"
            self.tell(f"{path}: is damaged, {rescue}; the damaged file is kept in {self._aside}")
        try:
            with self.locked():
                if _state(path) == "damaged":
                    self.set_aside(path)
                if _state(backup_of(path)) == "damaged":
                    self.set_aside(backup_of(path))
                if _state(path) == "missing" and _state(backup_of(path)) == "whole":
                    write_whole(path, backup_of(path).read_bytes())
        except (BadInput, OSError):  # not ours to mend now; the backup can still be read
            return

    @property
    def _aside(self) -> Path:
        return self.folder / "aside"

    def set_aside(self, path: Path) -> Path:
        """Move `path` to aside/ under a name that is free there."""
        make_folder(self._aside)
        target = self._aside / path.name
        number = 1
        while target.exists():
            number += 1
            target = self._aside / f"{path.name}.{number}"
        path.rename(target)
        sync_folder(path.parent)
        sync_folder(self._aside)
        return target

    def aside(self) -> Iterable[Path]:
        """The damaged files."""
        return sorted(self._aside.glob("*")) if self._aside.is_dir() else []


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Ten years are a million small objects, none of them garbage: do not look for any."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def _state(path: Path) -> str:
    try:
        return "missing" if read_tables(path) is None else "whole"
    except Damaged:
        return "damaged"


def is_whole(path: Path) -> bool:
    """Whether `path` is there and undamaged."""
    return _state(path) == "whole"

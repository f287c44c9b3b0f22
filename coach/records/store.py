"""The store of a running session: a journal that is synced, then the library.

Order of a session's life on the disk: journal line by line; the journal's last line; the day
with its backup; the month; the journal is removed. A process that dies anywhere in between
leaves a journal, and the next opening takes it in.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from coach.durable import remove
from coach.practice.kept import Kept
from coach.records.document import (
    Document,
    Entry,
    begin_entry,
    document,
    finish_entry,
    keep_entry,
    said_entry,
)
from coach.records.journal import Journal, read_journal
from coach.records.library import Library, Tell
from coach.records.people import People

SESSION = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")


def print_error(line: str) -> None:
    """Tell the person at the terminal."""
    print(line, file=sys.stderr)


def checked_session(session: str) -> str:
    """The id of a session, which is also a file name. Raises ValueError."""
    if not SESSION.fullmatch(session):
        raise ValueError(f"{session!r} cannot name a session")
    return session


class DiskStore:
    """ports.Store on the disk. Holds the lock of the folder from opening to `close`."""

    def __init__(self, folder: Path, tell: Tell = print_error) -> None:
        """Open or make the store and take in what a dead coach left.

        Raises BadInput (another coach is at it), OSError.
        """
        self.library = Library(folder, tell)
        self.people = People(self.library)
        self._tell = tell
        self._journal: Journal | None = None
        self._entries: list[Entry] = []
        self.library.lock()
        try:
            self._take_in()
        except BaseException:
            self.library.unlock()
            raise

    def begin(self, session: str, started: datetime, about: Mapping[str, Any]) -> None:
        """Open the journal. Raises ValueError, FileExistsError, OSError."""
        if self._journal is not None:
            raise ValueError("a session is already running in this store")
        entry = begin_entry(checked_session(session), started, about)
        if self.library.holds(session, self.library.day_path(started.date())):
            raise FileExistsError(f"there is already a session named {session}")
        journal = Journal(self._journals / f"{session}.jsonl")
        try:
            journal.append(entry, sync=True)
        except OSError:
            journal.close()
            remove(journal.path)
            raise
        self._journal, self._entries = journal, [entry]

    def keep(self, kept: Kept) -> None:
        """On the disk and synced when this returns. Raises OSError; then nothing was kept."""
        self._append(keep_entry(kept), sync=True)

    def said(self, start_s: float, end_s: float, line: str, text: str, who: str = "coach") -> None:
        """Add to the timeline; synced with the next kept value.

        A full disk stops no session for a caption: it then waits in memory for the end.
        """
        entry = said_entry(start_s, end_s, line, text, who)
        with suppress(OSError):
            self._running().append(entry, sync=False)
        self._entries.append(entry)

    def finish(self, ended_s: float, code: int, reason: str) -> Document:
        """Move the session into the library; returns its document. Raises OSError.

        After an error the journal still holds everything; the next opening takes it in.
        """
        journal = self._running()
        self._append(finish_entry(ended_s, code, reason), sync=True)
        self._journal = None
        journal.close()
        made = document(self._entries)
        self._admit(made)
        remove(journal.path)
        return made

    def close(self) -> None:
        """Let go of the folder. A session that was not finished is taken in at the next opening."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None
        self.library.unlock()

    def __enter__(self) -> DiskStore:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def _journals(self) -> Path:
        return self.library.folder / "journals"

    def _running(self) -> Journal:
        if self._journal is None:
            raise ValueError("no session is running in this store")
        return self._journal

    def _append(self, entry: Entry, sync: bool) -> None:
        self._running().append(entry, sync)
        self._entries.append(entry)

    def _admit(self, made: Document) -> None:
        self.library.put(made)
        self.people.learn(made)

    def _take_in(self) -> None:
        for path in sorted(self._journals.glob("*.jsonl")):
            try:
                self._take_in_one(path)
            except OSError as error:
                self._tell(
                    f"{path}: this session cannot be taken in now ({error.strerror}); it stays "
                    "there for the next time"
                )

    def _take_in_one(self, path: Path) -> None:
        entries, damaged = read_journal(path)
        if entries:
            made = document(entries)
            self._admit(made)
            if made["outcome"]["reason"] == "interrupted":
                self._tell(
                    f"{made['id']}: this session was interrupted; what it had kept was taken in"
                )
        if damaged:
            aside = self.library.set_aside(path)
            self._tell(f"{path}: has damaged lines; the file is kept as {aside}")
        else:
            remove(path)


class MemoryStore:
    """The twin of DiskStore: the same promises as long as the process lives."""

    def __init__(self) -> None:
        self.sessions: dict[str, Document] = {}
        self._entries: list[Entry] | None = None

    def begin(self, session: str, started: datetime, about: Mapping[str, Any]) -> None:
        """Begin a session. Raises ValueError."""
        if self._entries is not None:
            raise ValueError("a session is already running in this store")
        if session in self.sessions:
            raise FileExistsError(f"there is already a session named {session}")
        self._entries = [begin_entry(checked_session(session), started, about)]

    def keep(self, kept: Kept) -> None:
        """Keep the value."""
        self._running().append(keep_entry(kept))

    def said(self, start_s: float, end_s: float, line: str, text: str, who: str = "coach") -> None:
        """Add to the timeline."""
        self._running().append(said_entry(start_s, end_s, line, text, who))

    def finish(self, ended_s: float, code: int, reason: str) -> Document:
        """End the session; returns its document."""
        entries = self._running()
        entries.append(finish_entry(ended_s, code, reason))
        self._entries = None
        made = document(entries)
        self.sessions[made["id"]] = made
        return made

    def _running(self) -> list[Entry]:
        if self._entries is None:
            raise ValueError("no session is running in this store")
        return self._entries

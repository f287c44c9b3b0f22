"""The journal of a running session: one JSON object a line, synced where it is promised."""

from __future__ import annotations

import json
import os
from pathlib import Path

from coach.durable import make_folder, sync_folder
from coach.records.document import Entry


class Journal:
    """An append-only file that is always whole lines, whatever fails."""

    def __init__(self, path: Path) -> None:
        """Create it. Raises FileExistsError, OSError."""
        make_folder(path.parent)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND
        self._handle = os.open(path, flags, 0o600)
        self._whole_bytes = 0
        self.path = path
        sync_folder(path.parent)

    def append(self, entry: Entry, sync: bool) -> None:
        """Add a line; with `sync` it is on the disk when this returns. Raises OSError.

        After an error the file is as it was before, so the next line does not hang on to half
        of this one.
        """
        line = json.dumps(entry, ensure_ascii=False).encode() + b"\n"
        try:
            written = 0
            while written < len(line):
                written += os.write(self._handle, line[written:])
            if sync:
                os.fsync(self._handle)
        except OSError:
            os.ftruncate(self._handle, self._whole_bytes)
            raise
        self._whole_bytes += len(line)

    def close(self) -> None:
        """Let go of the file."""
        os.close(self._handle)


def read_journal(path: Path) -> tuple[list[Entry], bool]:
    """The whole lines of a journal, and whether lines in between could not be read.

    Half a line at the end is no damage: it was never acknowledged. Raises OSError.
    """
    whole = path.read_bytes().rpartition(b"\n")[0]
    entries: list[Entry] = []
    damaged = False
    for line in whole.split(b"\n") if whole else []:
        try:
            entry = json.loads(line)
        except ValueError:
            damaged = True
            continue
        entries.append(entry)
    if entries and "begin" not in entries[0]:
        return [], True
    return entries, damaged

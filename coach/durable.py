"""Files that are whole or not there: checksummed TinyDB storage with atomic replacement.

A file has two lines: a header with the SHA-256 of the second line, and TinyDB's tables as
JSON. A change goes to a temporary file, is synced, takes the old file's place in one rename,
and the folder is synced; then the backup is renewed the same way. So at any instant at least
one of the two is whole.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic_core import from_json
from tinydb import TinyDB
from tinydb.middlewares import CachingMiddleware
from tinydb.storages import Storage

Tables = dict[str, dict[str, Any]]


class Damaged(Exception):
    """The file is there and is not what was written."""


def make_folder(path: Path) -> None:
    """Create `path` with rights 0700, parents included."""
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    for folder in reversed(missing):
        folder.mkdir(mode=0o700, exist_ok=True)
        sync_folder(folder.parent)


def sync_folder(path: Path) -> None:
    """Bring renames and removals in `path` to the disk (a no-op where folders cannot be opened)."""
    if os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, content: bytes) -> None:
    """Put `content` in place of `path` (rights 0600) or leave `path` as it was. Raises OSError."""
    temporary = path.with_name(f".{path.name}.new")
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def remove(path: Path) -> None:
    """Remove `path` if it is there, for good."""
    path.unlink(missing_ok=True)
    if path.parent.exists():
        sync_folder(path.parent)


def backup_of(path: Path) -> Path:
    """Where the backup of `path` lies."""
    return path.with_name(f"{path.name}.backup")


def packed(tables: Tables) -> bytes:
    """The content of a file that holds `tables`."""
    body = json.dumps(tables, ensure_ascii=False, separators=(",", ":")).encode()
    header = {"sha256": hashlib.sha256(body).hexdigest()}
    return json.dumps(header).encode() + b"\n" + body + b"\n"


def read_tables(path: Path) -> Tables | None:
    """What `packed` wrote; None if there is no file. Raises Damaged, OSError."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return None
    header, _, body = content.partition(b"\n")
    try:
        expected = json.loads(header)["sha256"]
        tables: Tables = from_json(body, cache_strings="keys")  # half the time of json.loads
    except (ValueError, KeyError, TypeError) as error:
        raise Damaged(f"{path}: is damaged ({type(error).__name__})") from None
    if hashlib.sha256(body.rstrip(b"\n")).hexdigest() != expected:
        raise Damaged(f"{path}: is damaged (checksum)")
    return tables


class WholeStorage(Storage):
    """TinyDB storage over `read_tables` and `write_whole`."""

    def __init__(self, path: Path, backup: bool) -> None:
        self._path = path
        self._backup = backup

    def read(self) -> Tables | None:
        """The tables, None if there is no file. Raises Damaged, OSError."""
        return read_tables(self._path)

    def write(self, data: Tables) -> None:
        """Replace the file, then its backup. Raises OSError."""
        make_folder(self._path.parent)
        content = packed(data)
        write_whole(self._path, content)
        if self._backup:
            write_whole(backup_of(self._path), content)


@contextmanager
def database(path: Path, backup: bool = True) -> Iterator[TinyDB]:
    """A TinyDB over the file `path`; what the block changes is written once, at its end.

    After an exception in the block the file is as it was. Raises Damaged, OSError.
    """
    tiny = TinyDB(storage=CachingMiddleware(WholeStorage), path=path, backup=backup)  # type: ignore[no-untyped-call]
    yield tiny
    tiny.close()

"""Clips on the disk, so that a line is rendered once per machine.

A file is the SHA-256 of what follows and the samples in 16 bits. A file that is cut short or
damaged counts as missing. Where the folder cannot be written, clips are kept in memory. What was
not spoken for UNUSED_S is deleted, so the folder does not grow with every number ever said.
"""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from contextlib import suppress
from pathlib import Path
from tempfile import NamedTemporaryFile

import numpy as np

from coach.ports import Audio

UNUSED_S = 90 * 86_400.0
_IN_MEMORY = 256  # clips; the oldest are forgotten
_CHECK_BYTES = hashlib.sha256().digest_size


def key(*parts: object) -> str:
    """A file name for everything that decides how a clip sounds."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()


class ClipCache:
    """Samples by key. Samples must lie on the 16-bit grid, as `render.finished` gives them."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder  # None: in memory only
        self._memory: OrderedDict[str, Audio] = OrderedDict()
        if folder is not None:
            _delete_unused(folder)

    def get(self, key: str) -> Audio | None:
        """The samples, or None if they are not there or damaged."""
        if key in self._memory:
            return self._memory[key]
        if self._folder is None:
            return None
        try:
            content = self._path(self._folder, key).read_bytes()
        except OSError:
            return None
        check, data = content[:_CHECK_BYTES], content[_CHECK_BYTES:]
        if hashlib.sha256(data).digest() != check:
            return None
        return (np.frombuffer(data, dtype="<i2") / np.float32(32768)).astype(np.float32)

    def put(self, key: str, samples: Audio) -> None:
        """Keep the samples; never fails."""
        if self._folder is not None and self._written(self._path(self._folder, key), samples):
            return
        self._memory[key] = samples
        if len(self._memory) > _IN_MEMORY:
            self._memory.popitem(last=False)

    @staticmethod
    def _path(folder: Path, key: str) -> Path:
        return folder / f"{key}.clip"

    @staticmethod
    def _written(path: Path, samples: Audio) -> bool:
        data = np.clip(np.round(samples * 32768), -32768, 32767).astype("<i2").tobytes()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with NamedTemporaryFile(dir=path.parent, prefix=".", delete=False) as file:
                _fill(Path(file.name), hashlib.sha256(data).digest() + data, path)
        except OSError:
            return False
        return True


def _delete_unused(folder: Path) -> None:
    oldest_s = time.time() - UNUSED_S
    for path in folder.glob("*.clip"):
        with suppress(OSError):  # another coach may do the same
            facts = path.stat()
            if max(facts.st_atime, facts.st_mtime) < oldest_s:
                path.unlink()


def _fill(temporary: Path, content: bytes, path: Path) -> None:
    try:
        temporary.write_bytes(content)
        temporary.replace(path)  # another process sees all of it or nothing
    except OSError:
        temporary.unlink(missing_ok=True)
        raise

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from coach.ports import Store
from coach.records.store import DiskStore, MemoryStore
from tests.records.conformance import CHECKS


@pytest.mark.parametrize("check", CHECKS)
def test_the_disk_keeps_the_promises_of_a_store(
    check: Callable[[Store], None], tmp_path: Path
) -> None:
    with DiskStore(tmp_path / "records") as store:
        check(store)


@pytest.mark.parametrize("check", CHECKS)
def test_memory_keeps_the_promises_of_a_store(check: Callable[[Store], None]) -> None:
    check(MemoryStore())

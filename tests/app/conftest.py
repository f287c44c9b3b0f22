"""What the tests of whole sessions share: real voice, real ear, clips rendered once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coach.app.equipment import Equipment
from coach.settings import Settings


@pytest.fixture(scope="session")
def equipment(tmp_path_factory: pytest.TempPathFactory) -> Equipment:
    settings = Settings()
    cache = str(tmp_path_factory.mktemp("clips"))
    return Equipment.of(replace(settings, voice=replace(settings.voice, cache=cache)))


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of nobody's: no settings, no records, no cache of the person who runs the tests."""
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable.lower()))
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path

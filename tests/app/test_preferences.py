"""The coach is as somebody has asked for, also the next time, and without being told again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import soundfile

from coach.app.equipment import Equipment
from coach.app.simulated import simulate
from coach.loop import nothing
from coach.records.library import Library
from coach.records.people import People


@dataclass(frozen=True)
class Evening:
    """Relaxation twice; in the first one a slower and softer voice is asked for."""

    folder: Path
    begins_s: list[float]  # of the first line of each session, in room time

    @property
    def sessions(self) -> list[dict[str, Any]]:
        made = Library(self.folder / "records").documents()
        return sorted(made, key=lambda one: one["started"])

    @property
    def first_lines(self) -> list[dict[str, Any]]:
        return [one["timeline"][0] for one in self.sessions]


@pytest.fixture(scope="module")
def evening(equipment: Equipment, tmp_path_factory: pytest.TempPathFactory) -> Evening:
    out = tmp_path_factory.mktemp("evening")
    begins_s: list[float] = []

    def show(at_s: float, who: str, what: str) -> None:
        if what.startswith("Lie on your back"):
            begins_s.append(at_s)

    assert simulate("training/slower", out, equipment, show, nothing) == 0
    return Evening(out, begins_s)


def test_the_next_session_is_spoken_slower_from_the_first_word(evening: Evening) -> None:
    before, after = (cue["end_s"] - cue["start_s"] for cue in evening.first_lines)
    assert after > 1.05 * before


def test_the_next_session_is_spoken_softer(evening: Evening) -> None:
    """4 dB less in the sound of the room."""
    heard, rate_hz = soundfile.read(evening.folder / "session.wav")
    powers = []
    for begins_s, cue in zip(evening.begins_s, evening.first_lines, strict=True):
        first, last = begins_s, begins_s + cue["end_s"] - cue["start_s"]
        powers.append(float((heard[round(first * rate_hz) : round(last * rate_hz)] ** 2).mean()))
    assert powers[1] < 0.6 * powers[0]


def test_it_is_kept_with_the_person(evening: Evening) -> None:
    likes = People(Library(evening.folder / "records")).find(1).preferences
    assert likes.speed == pytest.approx(0.9)
    assert likes.quiet
    assert likes.knocks is False


def test_each_session_in_an_open_room_has_its_own_time(evening: Evening) -> None:
    """The second one begins after the first has ended, and its times count from there."""
    first, second = evening.sessions
    assert datetime.fromisoformat(first["ended"]) <= datetime.fromisoformat(second["started"])
    assert [cue["start_s"] < 1.0 for cue in evening.first_lines] == [True, True]
    assert [one["duration_s"] < 120.0 for one in evening.sessions] == [True, True]

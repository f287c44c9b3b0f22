"""Every shipped scene ends as it says, and keeps nothing that is not true."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from coach.app.equipment import Equipment
from coach.app.simulated import simulate
from coach.border import data_path
from coach.room.scene import find_scene, load_scene
from coach.room.truth import Row

SCENES = sorted(data_path("config", "scenes").rglob("*.toml"))
NAMES = [
    path.relative_to(data_path("config", "scenes")).with_suffix("").as_posix()
    for path in SCENES
    if path.parent.name not in ("plans", "two-days")  # these are parts of others
]
HOLD_ERROR_S = 0.15
CALL_ERROR_S = 0.005


def played(name: str, equipment: Equipment, out: Path) -> tuple[int, list[Row], list[str]]:
    lines: list[str] = []
    show = lambda at_s, who, what: lines.append(f"{at_s:.1f} {who} {what}")  # noqa: E731
    code = simulate(name, out, equipment, show, lines.append)
    rows: list[Row] = []
    for path in sorted(out.rglob("truth.json")):
        rows += json.loads(path.read_text())
    return code, rows, lines


def wrong(row: Row) -> bool:
    """A kept value that is not the true one; what was not kept is not wrong."""
    if row["kept"] is None:
        return False
    if row["error"] is None:
        return True
    if row["what"].startswith("count"):
        return row["error"] != 0
    return abs(row["error"]) > (CALL_ERROR_S if row["what"].startswith("call") else HOLD_ERROR_S)


LONG = ("training/", "groups/", "two-days", "friend-talks")


def _cases() -> list[object]:
    """The first lesson's scenes; the long ones with the mark that leaves them out of CI."""
    return [
        pytest.param(name, marks=pytest.mark.long) if name.startswith(LONG) else name
        for name in NAMES
    ]


@pytest.mark.parametrize("name", _cases())
def test_a_scene_ends_as_it_says_and_keeps_nothing_wrong(
    name: str, equipment: Equipment, tmp_path: Path
) -> None:
    code, rows, lines = played(name, equipment, tmp_path)
    conversation = "\n".join(lines)
    assert code == load_scene(find_scene(name)).exit_code, conversation
    assert [row for row in rows if wrong(row)] == [], conversation


def test_a_scene_played_twice_gives_the_same_record(equipment: Equipment, tmp_path: Path) -> None:
    def record(out: Path) -> dict[str, object]:
        played("stop/recovery", equipment, out)
        made: dict[str, object] = json.loads((out / "session.json").read_text())
        for changing in ("id", "started", "ended"):
            made.pop(changing)
        return made

    assert record(tmp_path / "one") == record(tmp_path / "two")

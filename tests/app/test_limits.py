"""A plan that breaks a limit is refused before anything sounds: file, step, key and reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.app.equipment import Equipment
from coach.app.simulated import simulate
from coach.cli import main

CLEARING = """
[[steps]]
step = "clearing"
questions = ["dry", "posture", "near", "unchanged"]
"""
HOLD = """
[[steps]]
step = "hold"
label = "{label}"
hold = "relaxed"
cap_s = {cap_s}
"""
RECOVERY = """
[[steps]]
step = "recovery"
watch_s = {watch_s}
"""
BREATHE_UP = """
[[steps]]
step = "breathe-up"
label = "{label}"
duration_s = 60.0
in_s = {in_s}
out_s = {out_s}
full_breaths = {full_breaths}
"""
REST = """
[[steps]]
step = "rest"
duration_s = {duration_s}
"""
TABLE = """
[[steps]]
step = "table"
table = "{table}"
"""
ONE_HOLD = CLEARING + HOLD.format(label="one", cap_s=60.0) + RECOVERY.format(watch_s=30.0)


def breathing(label: str, in_s: float, out_s: float, full_breaths: int) -> str:
    return BREATHE_UP.format(label=label, in_s=in_s, out_s=out_s, full_breaths=full_breaths)


def refused(
    home: Path,
    capsys: pytest.CaptureFixture[str],
    steps: str,
    person: str = "",
    alone: str = "true",
) -> str:
    """The one line that a scene with this plan is refused with."""
    plan = home / "mine.toml"
    plan.write_text(f'name = "mine"\ntitle = "Mine"\n{steps}')
    scene = home / "scene.toml"
    people = person or "[[participants]]\nnumber = 1\ncleared = true\n"
    scene.write_text(f'title = "x"\nplan = "mine.toml"\nalone = {alone}\n{people}')
    assert main(["simulate", str(scene)]) == 2
    printed = capsys.readouterr()
    assert "coach  " not in printed.out, "nothing was said"
    line = printed.err.strip()
    assert "\n" not in line
    assert "mine.toml" in line
    return line


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        (
            CLEARING + HOLD.format(label="one", cap_s=200.0) + RECOVERY.format(watch_s=30.0),
            ("step 2 (hold)", "cap_s: 200", "not led past 150 s"),
        ),
        (
            CLEARING + HOLD.format(label="one", cap_s=60.0) + RECOVERY.format(watch_s=10.0),
            ("step 3 (recovery)", "watch_s: 10", "30 s at least"),
        ),
        (
            ONE_HOLD + REST.format(duration_s=30.0),
            ("step 4 (rest)", "duration_s: 30", "60 s at least"),
        ),
        (
            breathing("fast", 2.0, 3.0, 0) + ONE_HOLD,
            ("step 1 (breathe-up)", "12.0 breaths a minute", "at most 8"),
        ),
        (
            breathing("deep", 4.0, 6.0, 3) + ONE_HOLD,
            ("step 1 (breathe-up)", "full_breaths: 3", "at most 2"),
        ),
        (
            breathing("one", 4.0, 6.0, 2) + breathing("two", 4.0, 6.0, 1) + ONE_HOLD,
            ("step 2 (breathe-up)", "full_breaths: 3", "at most 2"),
        ),
        (
            CLEARING + TABLE.format(table="o2"),
            ("step 2 (table)", "no O2 table alone"),
        ),
        (
            CLEARING + HOLD.format(label="one", cap_s=60.0).replace("relaxed", "co2")
            + RECOVERY.format(watch_s=30.0),
            ("step 2 (hold)", "come from a table step"),
        ),
        (
            CLEARING + TABLE.format(table="co2") + TABLE.format(table="co2"),
            ("2 tables", "one a day"),
        ),
        (
            HOLD.format(label="one", cap_s=60.0) + RECOVERY.format(watch_s=30.0),
            ("step 1", "needs the clearing questions", "dry, posture, near, heart"),
        ),
        (
            CLEARING + HOLD.format(label="one", cap_s=60.0),
            ("step 2", "must be followed by a recovery"),
        ),
    ],
)  # fmt: skip
def test_a_plan_past_a_limit_is_refused(
    steps: str, told: tuple[str, ...], home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = refused(home, capsys, steps)
    for part in told:
        assert part in line, line


def test_alone_nobody_is_led_to_the_best(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    steps = CLEARING + HOLD.format(label="one", cap_s=200.0) + RECOVERY.format(watch_s=30.0)
    person = "[[participants]]\nnumber = 1\ncleared = true\nbest_s = 200.0\n"
    line = refused(home, capsys, steps, person)
    assert "not led past 180 s alone" in line


def test_a_table_is_one_persons(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    people = "".join(f"[[participants]]\nnumber = {n}\nbest_s = 180.0\n" for n in (1, 2))
    line = refused(home, capsys, CLEARING + TABLE.format(table="co2"), people, alone="false")
    assert "not run in a group" in line


def test_an_o2_table_alone_is_declined_by_voice(equipment: Equipment, tmp_path: Path) -> None:
    said: list[str] = []
    show = lambda at_s, who, what: said.append(what)  # noqa: E731
    assert simulate("training/o2-alone", tmp_path, equipment, show, said.append) == 0
    declined = [text for text in said if text.startswith("That is not for today")]
    assert len(declined) == 1
    assert "no O two table alone" in declined[0]
    assert not [text for text in said if "hold tone" in text]

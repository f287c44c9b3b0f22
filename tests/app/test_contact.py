"""Nobody answers after a hold: what the user configured is really run, and it is kept and told."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from coach.app.equipment import Equipment
from coach.app.simulated import Simulation
from coach.loop import nothing
from coach.room.scene import find_scene, load_scene
from coach.settings import ContactSettings

PATIENCE_S = 20.0  # for a command that is started and not waited for
WRITES = "import sys; open(sys.argv[1], 'a').write('|'.join(sys.argv[2:]) + '\\n')"


def escalated(equipment: Equipment, command: tuple[str, ...], out: Path) -> tuple[int, list[str]]:
    """The scene in which nobody answers, with this contact command; its code and talk."""
    said: list[str] = []
    show = lambda at_s, who, what: said.append(what)  # noqa: E731
    settings = replace(equipment.settings, contact=ContactSettings(command))
    scene = load_scene(find_scene("training/contact"))
    simulation = Simulation(scene, replace(equipment, settings=settings), out / "records")
    return simulation.run(out, show, nothing), said


@pytest.fixture(scope="module")
def told(equipment: Equipment, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """What a contact command wrote, with signs that a shell would have acted on."""
    out = tmp_path_factory.mktemp("contact")
    command = (sys.executable, "-c", WRITES, str(out / "called"), "number {participant}: {reason}")
    code, said = escalated(equipment, (*command, "$HOME; echo `id` > x"), out)
    assert code == 1
    waited_until = time.monotonic() + PATIENCE_S
    while not (out / "called").exists() and time.monotonic() < waited_until:
        time.sleep(0.05)
    return out, said


def test_the_contact_is_run_once_without_a_shell(told: tuple[Path, list[str]]) -> None:
    written = (told[0] / "called").read_text().splitlines()
    assert written == ["number 1: no answer after a hold|$HOME; echo `id` > x"]


def test_before_it_the_question_is_put_again_and_the_alarm_sounds(
    told: tuple[Path, list[str]],
) -> None:
    said = told[1]
    alarm, contact = said.index("(alarm tone)"), said.index("(no answer: contact)")
    assert said[:alarm].count("Are you okay?") == 2
    assert alarm < contact


def test_it_is_kept_in_the_record_and_told_in_the_summary(told: tuple[Path, list[str]]) -> None:
    record = json.loads((told[0] / "session.json").read_text())
    assert [check["answer"] for check in record["check_ins"]] == ["none"]
    assert {"alarm", "contact"} <= {note["what"] for note in record["notes"]}
    assert "no answer came in time" in (told[0] / "report.html").read_text()


def test_a_contact_command_that_is_not_there_stops_nothing(
    equipment: Equipment, tmp_path: Path
) -> None:
    code, said = escalated(equipment, (str(tmp_path / "no-such-command"),), tmp_path)
    assert code == 1
    assert any("contact command failed" in line for line in said)
    assert said[-1].startswith("No answer. Somebody please look after this person")

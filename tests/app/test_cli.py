"""What somebody at the terminal sees when something is wrong: one line and exit code 2."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.border import data_path
from coach.cli import main


def refused(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    """The one line that a refused command prints."""
    assert main(argv) == 2
    printed = capsys.readouterr().err.strip()
    assert "\n" not in printed
    assert printed.startswith("coach: ")
    return printed


def test_an_unknown_scene_is_named(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "no-such-scene" in refused(capsys, "simulate", "no-such-scene")


def test_an_unknown_plan_names_the_known_ones(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = refused(capsys, "run", "no-such-plan")
    assert "first-lesson" in line


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ('name = "x"', "title"),
        ('name = "x"\ntitle = "X"\nspeed = 3\nsteps = []', "speed"),
        ('name = "x"\ntitle = "X"\n[[steps]]\nstep = "hop"', "hop"),
        ('name = "x"\ntitle = "X"\n[[steps]]\nstep = "talk"\nlines = "hello"', "lines"),
        ('name = "x"\ntitle = "X"\n[[steps]]\nstep = "rest"\nduration_s = "long"', "duration_s"),
        (
            'name = "x"\ntitle = "X"\n[[steps]]\nstep = "hold"\nlabel = "a"\nhold = "main"\n'
            'cap_s = 60\n[[steps]]\nstep = "recovery"',
            "clearing questions",
        ),
        ("name = ", "TOML"),
    ],
)
def test_a_wrong_plan_is_told_with_file_and_key(
    written: str, told: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = home / "mine.toml"
    plan.write_text(written)
    line = refused(capsys, "run", str(plan))
    assert "mine.toml" in line
    assert told in line


def test_a_plan_past_a_limit_is_refused_before_anything_sounds(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = data_path("config", "plans", "first-lesson.toml").read_text()
    plan = home / "long.toml"
    plan.write_text(first.replace("cap_s = 150.0", "cap_s = 400.0"))
    scene = home / "scene.toml"
    scene.write_text('title = "x"\nplan = "long.toml"\n[[participants]]\nnumber = 1\n')
    line = refused(capsys, "simulate", str(scene))
    assert "cap_s: 400" in line
    assert "not led past 150 s" in line


def test_a_limit_cannot_be_loosened_in_the_settings(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = home / "mine.toml"
    settings.write_text("[safety]\nhold_cap_s = 600.0\n")
    line = refused(capsys, "simulate", "demo", "--config", str(settings))
    assert "hold_cap_s is 600" in line
    assert "stricter" in line


def test_an_unknown_setting_is_told(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = home / "mine.toml"
    settings.write_text('[voice]\nnmae = "natural"\n')
    assert "voice.nmae" in refused(capsys, "review", "--config", str(settings))


def test_a_model_that_is_none_is_told(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "empty").mkdir()
    line = refused(capsys, "simulate", "demo", "--model", str(home / "empty"))
    assert "empty" in line


def test_nothing_kept_yet_is_said_kindly(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review"]) == 0
    assert capsys.readouterr().out.strip()


def test_an_output_folder_that_is_a_file(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "taken").write_text("")
    assert main(["simulate", "nobody-there", "--out", str(home / "taken")]) == 1
    assert "taken" in capsys.readouterr().err


def test_what_to_practise_next_is_a_first_lesson_for_somebody_new(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", "--next"]) == 0
    assert "a first lesson" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (["run"], "PLAN"),
        (["run", "relaxation", "--participants", "0"], "from 1 to 20"),
        (["run", "relaxation", "--participants", "3", "--number", "2"], "not allowed with"),
        (["listen", "--voice", "loud"], "natural"),
        (["sing"], "listen"),
    ],
)
def test_wrong_arguments_are_one_line_too(
    argv: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(argv)
    assert ended.value.code == 2
    printed = capsys.readouterr().err.strip()
    assert printed.startswith("coach")
    assert "\n" not in printed
    assert told in printed


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("[room]\nblock_s = -1.0", "room.block_s"),
        ("[room]\ngain_db = 500.0", "room.gain_db"),
        ('[listen]\nname = ""', "listen.name"),
        ('[listen]\nname = "xyzzyq"', "listen.name = 'xyzzyq'"),
        ('[contact]\ncommand = ["call", "{who}"]', "contact.command"),
        ('[reminders]\ndays = ["XX"]', "reminders.days"),
    ],
)
def test_a_wrong_setting_is_told_before_anything_sounds(
    written: str, told: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (config := home / "mine.toml").write_text(written)
    assert told in refused(capsys, "listen", "--config", str(config))

"""A scene is read, or one line says which file, which key and why not."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.border import BadInput, data_path
from coach.room.scene import Act, find_scene, load_scene

PEOPLE = '[[participants]]\nnumber = 1\nname = "Ruska"\n'
SHIPPED = [
    path for path in sorted(data_path("config", "scenes").rglob("*.toml"))
    if path.parent.name != "plans"
]  # fmt: skip


def written(folder: Path, text: str, name: str = "scene.toml") -> Path:
    path = folder / name
    path.write_text('title = "A try"\nplan = "first-lesson"\n' + text, "utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "key", "reason"),
    [
        ("seed = 'many'", "seed", "integer"),
        ("colour = 1", "colour", "Unexpected keyword argument"),
        ("[room]\nnoise_db = 3.0", "room", "noise_db must not be above 0"),
        ("[room]\necho = { delay_s = 5.0 }", "room.echo", "delay_s must be between 0 and 1"),
        ("[room]\necho = { distortion = 1.5 }", "room.echo", "distortion must be between 0 and 1"),
        ("[room]\necho = { gain = 1.0 }", "room.echo.gain", "Unexpected keyword argument"),
        ("[[participants]]\nname = 'Ruska'", "participants.0.number", "Field required"),
        ("[[participants]]\nnumber = 99", "participants.0", "between 0 and 20"),
        ("listen = true", "(top)", "needs one of plan, listen and days"),
        (PEOPLE + PEOPLE, "(top)", "two participants have the same number"),
    ],
)
def test_a_wrong_value_is_named_in_one_line(
    tmp_path: Path, text: str, key: str, reason: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(BadInput) as caught:
        load_scene(path)
    line = str(caught.value)
    assert line.startswith(f"{path}: {key}: ")
    assert reason in line
    assert "\n" not in line


@pytest.mark.parametrize(
    ("act", "reason"),
    [
        ("say = 'yes'", "needs either after or at_s"),
        ("after = 'x'\nat_s = 1.0", "needs either after or at_s"),
        ("after = 'x'\nsay = 'yes'\nknock = 2", "only one of say, knock, taps_bpm and play"),
        ("after = 'x'\nknock = 3", "knock must be 1 or 2"),
        ("after = 'x'\ndelay_s = -1.0", "delay_s must not be negative"),
        ("after = 'x'\nnth = 0", "nth must be 1 or more"),
        ("after = 'x'\nnth = 'all'", "nth must be 1 or more"),
        ("after = 'x'\nevery_s = 3.0", "every_s needs at_s"),
        ("at_s = 1.0\nevery_s = 0.0", "every_s must be above 0"),
        ("at_s = -1.0", "at_s must not be negative"),
        ("at_s = 1.0\nmeans = 'end'", "means, count and taps_bpm need an after with a label"),
        ("after = 'hold:*'\nmeans = 'end'", "means, count and taps_bpm need an after with a label"),
        ("after = 'farewell'\ncount = 3", "means, count and taps_bpm need an after with a label"),
    ],
)
def test_a_wrong_act_is_named_with_its_place(tmp_path: Path, act: str, reason: str) -> None:
    path = written(tmp_path, f"{PEOPLE}[[participants.acts]]\nat_s = 1.0\n"
                             f"[[participants.acts]]\n{act}\n")  # fmt: skip
    with pytest.raises(BadInput) as caught:
        load_scene(path)
    assert str(caught.value).startswith(f"{path}: participants.0.acts.1: {reason}")


def test_a_missing_recording_and_a_missing_plan_are_named(tmp_path: Path) -> None:
    path = written(tmp_path, f"{PEOPLE}[[participants.acts]]\nat_s = 1.0\nplay = 'no.wav'\n")
    with pytest.raises(
        BadInput, match=r"participants\.0\.acts\.0\.play: there is no file .*no.wav"
    ):
        load_scene(path)
    path.write_text('title = "x"\nplan = "no-such-plan"\n', "utf-8")
    with pytest.raises(BadInput, match=r"plan: there is no file .*no-such-plan\.toml"):
        load_scene(path)
    path.write_text('title = "x"\nplan = "beside.toml"\n', "utf-8")
    with pytest.raises(BadInput, match=r"plan: there is no file .*beside\.toml"):
        load_scene(path)


def test_what_is_no_table_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="participants: must be tables"):
        load_scene(written(tmp_path, "participants = 3"))
    with pytest.raises(BadInput, match="acts: must be tables"):
        load_scene(written(tmp_path, PEOPLE + "acts = [1]"))


def test_a_scene_like_another_changes_only_what_it_says(tmp_path: Path) -> None:
    (tmp_path / "voice.wav").write_bytes(b"")
    written(
        tmp_path,
        "seed = 5\n[room]\nnoise_db = -50.0\n"
        + PEOPLE
        + "level_db = -30.0\n"
        + "[[participants.acts]]\nafter = 'clearing:dry'\nedge = 'end'\nsay = 'yes'\n"
        + "[[participants.acts]]\nafter = 'clearing:dry'\nnth = '3+'\nsay = 'yes'\n"
        + "[[participants.acts]]\nafter = 'hold:main'\nplay = 'voice.wav'\n"
        + "[[participants.acts]]\nat_s = 2.0\nknock = 1\n",
        "base.toml",
    )
    inner = tmp_path / "inner"
    inner.mkdir()
    over = inner / "over.toml"
    over.write_text(
        'like = "../base"\ntitle = "Another"\n[room]\necho = { gain_db = -30.0 }\n'
        + "[[participants]]\nnumber = 1\nname = 'Tivra'\n"
        + "[[participants.acts]]\nafter = 'clearing:dry'\nsay = 'no'\n"
        + "[[participants.acts]]\nafter = 'clearing:dry'\nnth = 2\nsay = 'yes'\n"
        + "[[participants]]\nnumber = 0\n",
        "utf-8",
    )
    scene = load_scene(over)
    assert (scene.title, scene.seed, scene.room.noise_db) == ("Another", 5, -50.0)
    assert scene.room.echo.gain_db == -30.0
    tivra, bystander = scene.participants
    assert (tivra.name, tivra.level_db, bystander.number) == ("Tivra", -30.0, 0)
    assert [(act.after, act.nth, act.say) for act in tivra.acts] == [
        ("hold:main", 1, ()),
        ("", 1, ()),
        ("clearing:dry", 1, "no"),
        ("clearing:dry", 2, "yes"),
    ]
    assert tivra.acts[0].play == str(tmp_path / "voice.wav"), "beside the scene that names it"


@pytest.mark.parametrize(
    ("like", "reason"),
    [("'other'", "there is no scene"), ("3", "must be the name"), ("'scene'", "leads back")],
)
def test_a_wrong_like_is_named(tmp_path: Path, like: str, reason: str) -> None:
    with pytest.raises(BadInput, match=f"like: .*{reason}"):
        load_scene(written(tmp_path, f"like = {like}"))


def test_an_act_without_sound_is_silence() -> None:
    act = Act(after="check-in:main")
    assert act.texts == ()
    assert act.label == "main"


def test_scenes_are_found_by_name_and_by_path(tmp_path: Path) -> None:
    assert find_scene("demo") == data_path("config", "scenes", "demo.toml")
    assert find_scene("stop/recovery").is_file()
    path = written(tmp_path, "")
    assert find_scene(str(path)) == path
    with pytest.raises(BadInput, match="no-such-scene: there is no such scene"):
        find_scene("no-such-scene")


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_shipped_scene_is_valid_and_says_that_it_is_invented(path: Path) -> None:
    scene = load_scene(path)
    assert scene.participants or scene.days
    assert "nvented" in path.read_text("utf-8").split("\n\n")[0]

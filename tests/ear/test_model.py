"""A broken model or grammar is one clear line; Vosk never gets to end the process."""

from __future__ import annotations

import logging
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.border import BadInput
from coach.ear.grammar import load_grammar
from coach.ear.model import SpeechModel, find_model, shipped_model


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "model"
    shutil.copytree(shipped_model(), copy)
    return copy


def without_unknown(folder: Path) -> None:
    words = folder / "graph/words.txt"
    lines = words.read_text().splitlines()
    kept = [line.replace("[unk", "[was") if "[unk" in line else line for line in lines]
    words.write_text("\n".join(kept))


BREAKING: list[tuple[Callable[[Path], object], str]] = [
    (shutil.rmtree, "there is no such folder"),
    (lambda folder: (folder / "am/final.mdl").unlink(), "lacks am/final.mdl"),
    (lambda folder: (folder / "graph/Gr.fst").unlink(), "lacks graph/Gr.fst"),
    (lambda folder: (folder / "conf/mfcc.conf").write_text(""), "is empty"),
    (without_unknown, "has no word [unk]"),
    (lambda folder: (folder / "graph/words.txt").write_text("one two three\n"), "words.txt:1:"),
    (lambda folder: (folder / "graph/words.txt").write_bytes(b"\xff\xfe"), "is not text"),
]


@pytest.mark.parametrize(("damage", "reason"), BREAKING)
def test_a_broken_folder_is_one_clear_line(
    folder: Path, damage: Callable[[Path], object], reason: str
) -> None:
    damage(folder)
    with pytest.raises(BadInput) as caught:
        SpeechModel(folder)
    assert reason in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("part", ["am/final.mdl", "graph/HCLr.fst", "graph/Gr.fst"])
def test_a_model_cut_short_does_not_end_the_process(folder: Path, part: str) -> None:
    path = folder / part
    path.write_bytes(path.read_bytes()[:1000])
    code = (
        "import sys; from pathlib import Path; from coach.border import BadInput\n"
        "from coach.ear.model import SpeechModel\n"
        "try: SpeechModel(Path(sys.argv[1]))\n"
        "except BadInput as problem: print(problem)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-300:]
    assert "cannot be loaded" in done.stdout


def test_the_order_is_argument_then_configuration_then_shipped(folder: Path) -> None:
    assert find_model() == shipped_model()
    assert find_model(None, str(folder)) == folder
    assert find_model(str(shipped_model()), str(folder)) == shipped_model()
    with pytest.raises(BadInput, match="there is no such folder"):
        find_model("/nowhere/at/all")


def test_the_users_own_model_is_used_by_its_folder(folder: Path) -> None:
    assert SpeechModel(folder).folder == folder


def test_a_model_of_the_older_layout_is_found(folder: Path) -> None:
    for part in ("am/final.mdl", "conf/mfcc.conf"):
        (folder / part).rename(folder / Path(part).name)
    with pytest.raises(BadInput, match="lacks"):
        find_model(str(folder / "graph"))
    assert find_model(str(folder)) == folder


def grammar_file(tmp_path: Path, body: str) -> Path:
    path = tmp_path / "g.jsgf"
    path.write_text(f"#JSGF V1.0;\ngrammar g;\npublic <g> = {body};\n")
    return path


def test_a_phrase_the_model_lacks_a_word_of_is_named_and_left_out(
    tmp_path: Path, model: SpeechModel, caplog: pytest.LogCaptureFixture
) -> None:
    grammar = load_grammar(grammar_file(tmp_path, "( stop | xylophone ) {stop}"))
    with caplog.at_level(logging.WARNING):
        assert set(model.usable(grammar).meanings) == {"stop"}
    assert "xylophone" in caplog.text


def test_a_command_that_can_never_be_heard_is_an_error(tmp_path: Path, model: SpeechModel) -> None:
    grammar = load_grammar(grammar_file(tmp_path, "stop {stop} | xylophone {done}"))
    with pytest.raises(BadInput, match=r"lacks xylophone, so g\.jsgf cannot give done"):
        model.usable(grammar)

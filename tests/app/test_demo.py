"""The first command of README.md, as a new user runs it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
import webvtt

from coach.records.schema import session_schema


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder that `coach demo --out` wrote, and what it printed."""
    home = tmp_path_factory.mktemp("home")
    out = home / "lesson"
    done = subprocess.run(
        [sys.executable, "-m", "coach.cli", "demo", "--out", str(out)],
        capture_output=True,
        text=True,
        env={"PATH": os.environ["PATH"], "HOME": str(home)},
        cwd=home,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    return out, done.stdout


def test_every_value_is_kept_as_it_truly_was(lesson: tuple[Path, str]) -> None:
    rows = json.loads((lesson[0] / "truth.json").read_text())
    holds = [row for row in rows if row["what"].startswith("hold")]
    counts = [row for row in rows if row["what"].startswith("count")]
    calls = [row for row in rows if row["what"].startswith("call")]
    assert len(holds) == 2
    assert all(abs(row["error"]) <= 0.15 for row in holds)
    assert len(counts) == 2
    assert all(row["kept"] == row["true"] for row in counts)
    assert len(calls) >= 8
    assert all(abs(row["error"]) <= 0.005 for row in calls)
    assert holds[1]["true"] > holds[0]["true"], "the main hold is longer than the baseline"


def test_a_number_was_corrected_by_voice(lesson: tuple[Path, str]) -> None:
    record = json.loads((lesson[0] / "session.json").read_text())
    corrected = [pulse for pulse in record["pulses"] if pulse["corrected"]]
    assert len(corrected) == 1
    assert corrected[0]["first_heard"] != corrected[0]["beats"]
    assert corrected[0]["bpm"] == corrected[0]["beats"] * 4


def test_the_record_follows_its_schema_and_is_marked_as_invented(lesson: tuple[Path, str]) -> None:
    record = json.loads((lesson[0] / "session.json").read_text())
    check = jsonschema.Draft202012Validator(
        session_schema(), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )
    assert list(check.iter_errors(record)) == []
    assert record["invented"] is True
    assert record["outcome"] == {"code": 0, "reason": "done"}


def test_captions_are_read_back_in_order(lesson: tuple[Path, str]) -> None:
    captions = webvtt.read(str(lesson[0] / "captions.vtt")).captions
    starts = [caption.start_in_seconds for caption in captions]
    assert starts == sorted(starts)
    assert any("done" in caption.text for caption in captions)


def test_the_sound_holds_the_calls_where_the_record_says(lesson: tuple[Path, str]) -> None:
    """A call is louder than the silence just before it: measured in the sound itself."""
    rows = json.loads((lesson[0] / "truth.json").read_text())
    sound, rate_hz = soundfile.read(lesson[0] / "session.wav", dtype="float32")
    for row in rows:
        if row["what"].startswith("call"):
            at = round(row["true"] * rate_hz)
            before = np.sqrt(np.mean(sound[at - rate_hz // 5 : at] ** 2))
            after = np.sqrt(np.mean(sound[at : at + rate_hz // 5] ** 2))
            assert after > 10 * before + 1e-3, row


def test_the_conversation_and_the_table_are_shown(lesson: tuple[Path, str]) -> None:
    printed = lesson[1]
    assert "heard    yes" in printed
    assert "How many beats?" in printed
    assert "hold main" in printed
    assert "ended: done (exit code 0)" in printed


def test_summary_and_report_are_written(lesson: tuple[Path, str]) -> None:
    assert soundfile.info(lesson[0] / "summary.wav").duration > 10
    page = (lesson[0] / "report.html").read_text(encoding="utf-8")
    assert page.lstrip().lower().startswith("<!doctype html>")
    assert "invented" in page.lower()

"""What is said afterwards: only what the numbers carry, like with like, and its cautions."""

from __future__ import annotations

from typing import Any

import pytest

from coach.practice.kept import CLOCK, NOBODY, Hold, Note, Pulse
from coach.practice.stage import Ledger
from coach.practice.summary import PULSE_ERROR_BPM, own_lines, summary_lines


def held(kind: str, held_s: float | None, number: int = 1, **given: Any) -> Hold:
    end_s = None if held_s is None else 10.0 + held_s
    ended_by = "unknown" if held_s is None else "word"
    marks: tuple[float, ...] = given.get("contractions_s", ())
    who = given.get("participant", 1)
    label = f"{kind} {number}"
    key = f"hold:{label}:{who}"
    return Hold(key, who, label, kind, number, 10.0, end_s, ended_by, marks, None, CLOCK)


def counted(place: str, bpm: float | None, label: str = "", participant: int = 1) -> Pulse:
    label = label or place
    beats = None if bpm is None else round(bpm / 4)
    key = f"pulse:{label}:{participant}"
    return Pulse(key, participant, label, place, 15.0, 0.0, beats, bpm, 1.6, beats, False, NOBODY)


def said(*kept: Any, numbers: tuple[int, ...] = (1,), group: bool = False) -> dict[str, Any]:
    ledger = Ledger()
    for value in kept:
        ledger.add(value)
    return dict(summary_lines(ledger, numbers, group))


def test_nothing_kept_is_said_to_be_nothing() -> None:
    assert list(said()) == ["sum_start", "sum_nothing"]


def test_a_baseline_alone() -> None:
    assert list(said(held("baseline", 47.3))) == ["sum_start", "sum_baseline"]


@pytest.mark.parametrize(
    ("before_s", "after_s", "line"),
    [
        (47.3, 73.4, "sum_longer"),
        (73.4, 47.3, "sum_shorter"),
        (60.0, 60.9, "sum_same"),
        (60.0, 61.0, "sum_longer"),
    ],
)
def test_the_main_hold_against_the_baseline(before_s: float, after_s: float, line: str) -> None:
    lines = said(held("baseline", before_s, 1), held("main", after_s, 2))
    assert line in lines
    if line != "sum_same":
        assert lines[line]["gain"] == pytest.approx(abs(after_s - before_s))
    assert list(lines)[-1] == "sum_caution"


def test_an_unknown_end_is_said_to_be_unknown_and_compared_with_nothing() -> None:
    lines = said(held("baseline", None), held("main", 60.0, 2))
    assert "sum_hold_unknown" in lines
    assert not {"sum_longer", "sum_shorter", "sum_same"} & set(lines)


def test_other_holds_are_counted_with_their_longest() -> None:
    lines = said(*[held("relaxed", s, n) for n, s in ((1, 60.0), (2, 75.5), (3, 71.0))])
    assert lines["sum_several"] == {"count": 3, "longest": 75.5}
    assert "sum_longer" not in lines  # repeated holds are no progress


def test_the_first_contraction_of_the_last_hold_that_had_one() -> None:
    one = held("relaxed", 60.0, 1, contractions_s=(31.0, 40.0))
    two = held("relaxed", 70.0, 2, contractions_s=(38.5,))
    assert said(one, two, held("relaxed", 65.0, 3))["sum_contraction"] == {"onset": 38.5}


@pytest.mark.parametrize(
    ("before", "after", "line"),
    [
        (72.0, 60.0, "sum_pulse_differs"),
        (72.0, 64.0, "sum_pulse_same"),
        (70.0, 61.0, "sum_pulse_same"),
        (70.0, 60.0, "sum_pulse_differs"),
        (60.0, 72.0, "sum_pulse_differs"),
    ],
)
def test_two_pulses(before: float, after: float, line: str) -> None:
    lines = said(counted("before", before), counted("relaxed", after))
    assert line in lines
    assert lines["sum_pulse_two"]["difference"] == abs(after - before)
    assert (abs(after - before) < PULSE_ERROR_BPM) == (line == "sum_pulse_same")


def test_a_pulse_that_did_not_fall_is_no_failure() -> None:
    """A dry hold after a deep breath: the pulse first rises. Eur J Appl Physiol 2020/21,

    doi 10.1007/s00421-020-04544-w (introduction).
    """
    lines = said(counted("before", 60.0), counted("relaxed", 72.0))
    assert set(lines) == {"sum_start", "sum_pulse_two", "sum_pulse_differs"}


def test_one_pulse_or_an_unknown_one() -> None:
    assert said(counted("before", 72.0))["sum_pulse_one"] == {"bpm": 72}
    lines = said(counted("before", 72.0), counted("relaxed", None))
    assert lines["sum_pulse_one"] == {"bpm": 72}
    assert list(said(counted("before", None))) == ["sum_start", "sum_nothing"]


def test_the_longer_count_of_the_same_place_counts() -> None:
    lines = said(counted("before", 104.0), counted("before", 96.0, "before 30 s"))
    assert lines["sum_pulse_one"] == {"bpm": 96}


def test_morning_pulses_are_averaged_and_nothing_else_is_said_of_them() -> None:
    first, second = counted("morning", 58.0, "a"), counted("morning", 62.0, "b")
    assert said(first, second)["sum_morning"] == {"bpm": 60}


def test_an_alarm_is_told() -> None:
    lines = said(held("main", 60.0), Note("note:1", 1, "alarm", "main", 99.0))
    assert "sum_alarm" in lines


def test_a_group_by_number_without_rank() -> None:
    ledger = Ledger()
    for who, held_s in ((1, 60.0), (2, 90.0)):
        ledger.add(held("main", held_s, participant=who))
    lines = summary_lines(ledger, (1, 2, 3), group=True)
    assert [name for name, _ in lines] == [
        "sum_start",
        "sum_group",
        *("sum_number", "sum_main"),
        *("sum_number", "sum_main"),
        *("sum_number", "sum_nothing"),
    ]
    assert [values["participant"] for name, values in lines if name == "sum_number"] == [1, 2, 3]


def test_in_a_large_group_nobody_s_results_are_told_to_all() -> None:
    ledger = Ledger()
    for who in range(1, 9):
        ledger.add(held("main", 50.0 + who, participant=who))
    lines = summary_lines(ledger, range(1, 9), group=True)
    assert lines == [("sum_start", {}), ("sum_group", {"people": 8, "holds": 1})]
    assert own_lines(ledger, 3) == [("sum_main", {"held": 53.0})]

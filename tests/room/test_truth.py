"""What was kept beside what truly happened: errors are shown, and nothing is left out."""

from __future__ import annotations

from dataclasses import replace

from coach.practice.kept import NOBODY, Hold, Kept, Note, Pulse
from coach.room.people import Done, Moment, SceneLog
from coach.room.scene import Act
from coach.room.truth import table, truth


def hold(label: str, start_s: float, end_s: float | None, participant: int = 1) -> Hold:
    key = f"hold:{label}:{participant}"
    return Hold(
        key, participant, label, "main", 1, start_s, end_s, "word", (), None, NOBODY
    )  # fmt: skip


def pulse(label: str, beats: int | None, participant: int = 1) -> Pulse:
    key = f"pulse:{label}:{participant}"
    return Pulse(
        key, participant, label, label, 15.0, 100.0, beats, None, None, None, False, NOBODY
    )  # fmt: skip


def ended(label: str, onset_s: float, participant: int = 1) -> Done:
    act = Act(after=f"hold:{label}", say="done", means="end")
    return Done(participant, "Ruska", "done", onset_s, onset_s + 0.4, act)


def counted(label: str, count: int, onset_s: float, participant: int = 1) -> Done:
    act = Act(after=f"pulse-ask:{label}", say="a number", count=count)
    return Done(participant, "Ruska", "a number", onset_s, onset_s + 0.4, act)


def test_a_hold_lasts_from_the_sounded_mark_to_the_first_sound_of_its_end() -> None:
    log = SceneLog([Moment("hold:main", 10.0, 10.3)], [ended("main", 83.4)])
    assert truth(log, [hold("main", 10.0, 83.45)]) == [
        {"what": "hold main", "true": 73.4, "kept": 73.45, "error": 0.05}
    ]


def test_a_hold_that_nobody_ended_has_no_true_end_and_a_lost_one_no_kept() -> None:
    log = SceneLog(
        [Moment("hold:baseline", 10.0), Moment("hold:main", 200.0)], [ended("main", 250.0)]
    )
    rows = truth(log, [hold("baseline", 10.0, 130.0)])
    assert rows == [
        {"what": "hold baseline", "true": None, "kept": 120.0, "error": None},
        {"what": "hold main", "true": 50.0, "kept": None, "error": None},
    ]


def test_a_hold_with_an_unknown_end_keeps_nothing() -> None:
    log = SceneLog([Moment("hold:main", 10.0)], [ended("main", 60.0)])
    assert truth(log, [hold("main", 10.0, None)])[0]["kept"] is None


def test_a_repeated_mark_belongs_to_the_hold_after_it() -> None:
    marks = [Moment("hold:main", 10.0), Moment("hold:main", 300.0)]
    log = SceneLog(marks, [ended("main", 340.0)])
    assert truth(log, [hold("main", 300.0, 340.0)])[0]["true"] == 40.0


def test_the_last_count_given_is_the_true_one_and_the_last_kept_counts() -> None:
    log = SceneLog(acts=[counted("before", 22, 50.0), counted("before", 21, 55.0)])
    kept: list[Kept] = [pulse("before", 22), pulse("before", 21), Note("n", 1, "x", "", 1.0)]
    assert truth(log, kept) == [{"what": "count before", "true": 21, "kept": 21, "error": 0}]


def test_a_count_that_was_misheard_or_lost_is_seen() -> None:
    log = SceneLog(acts=[counted("before", 13, 50.0), counted("relaxed", 17, 90.0)])
    rows = truth(log, [pulse("before", 30), pulse("after-hold", None)])
    assert [(row["what"], row["true"], row["kept"], row["error"]) for row in rows] == [
        ("count before", 13, 30, 17),
        ("count relaxed", 17, None, None),
        ("count after-hold", None, None, None),
    ]


def test_a_call_is_held_against_its_mark() -> None:
    moments = [
        Moment("hold:baseline", 10.0),
        Moment("call:baseline:10", 20.0),
        Moment("hold:main", 300.0),
        Moment("call:main:10", 310.25),
    ]
    assert truth(SceneLog(moments), []) == [
        {"what": "call baseline 10 s", "true": 20.0, "kept": 20.0, "error": 0.0},
        {"what": "call main 10 s", "true": 310.0, "kept": 310.25, "error": 0.25},
    ]


def test_a_hold_that_the_coach_ended_lasted_until_it_said_so() -> None:
    log = SceneLog([Moment("hold:co2 1", 10.0), Moment("hold-end:co2 1", 100.04)])
    limited = replace(hold("co2 1", 10.0, 100.0), ended_by="cap")
    assert truth(log, [limited]) == [
        {"what": "limit co2 1", "true": 90.04, "kept": 90.0, "error": -0.04}
    ]


def test_who_stops_everyone_ends_the_hold_of_each_who_is_still_in_it() -> None:
    stops = Act(after="hold:main", say="stop everyone", means="end-all")
    everyone = Done(3, "Ruska", "stop everyone", 70.0, 71.0, stops)
    log = SceneLog([Moment("hold:main", 10.0)], [ended("main", 50.0, 1), everyone])
    rows = truth(log, [hold("main", 10.0, 50.0, 1), hold("main", 10.0, 70.0, 2)])
    assert [row["true"] for row in rows] == [40.0, 60.0]


def test_a_tapped_rate_is_held_against_the_rate_of_the_taps() -> None:
    act = Act(after="pulse:tapped", taps_bpm=66.0, for_s=14.0)
    log = SceneLog(acts=[Done(1, "Ruska", "(taps)", 20.0, 34.0, act)])
    kept = replace(pulse("tapped", 16), bpm=66.25)
    assert truth(log, [kept]) == [
        {"what": "rate tapped", "true": 66.0, "kept": 66.25, "error": 0.25}
    ]


def test_in_a_group_everybody_is_named() -> None:
    log = SceneLog([Moment("hold:main", 10.0)], [ended("main", 50.0, 1), ended("main", 60.0, 2)])
    rows = truth(log, [hold("main", 10.0, 50.0, 1), hold("main", 10.0, 60.5, 2)])
    assert [(row["what"], row["error"]) for row in rows] == [
        ("hold main, participant 1", 0.0),
        ("hold main, participant 2", 0.5),
    ]


def test_the_table_has_a_line_for_every_row_and_a_word_where_there_is_nothing() -> None:
    log = SceneLog(
        [Moment("hold:main", 10.0), Moment("call:main:10", 20.0)],
        [ended("main", 60.0), counted("before", 21, 100.0)],
    )
    lines = table(truth(log, [pulse("before", 21)])).splitlines()
    assert [line.split() for line in lines] == [
        ["what", "true", "kept", "error"],
        ["hold", "main", "50.000", "none", "none"],
        ["count", "before", "21", "21", "+0"],
        ["call", "main", "10", "s", "20.000", "20.000", "+0.000"],
    ]
    assert len({len(line) for line in lines}) == 1, "the columns stand below each other"

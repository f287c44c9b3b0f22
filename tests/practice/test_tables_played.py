"""CO2 and O2 tables as they are played: announced, held to, changed by voice, skipped, refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.practice import plan as steps
from coach.practice.safety import Limits, Person
from coach.practice.tables import co2_table, o2_table, total_s
from tests.practice.plans import KNOWN, UNCHANGED, plan, shipped
from tests.practice.rehearsal import Rehearsal, Replies, Reply, cooperative, heard


def willing(kind: str = "co2") -> Replies:
    labels = [f"{kind} {n}" for n in range(1, 9)]
    always = {k: v for k, v in cooperative(labels).items() if not k.startswith("hold:")}
    return always | {f"table:{kind}": (1.0, heard("start"))}


def table(
    kind: str = "co2",
    replies: dict[str, list[tuple[float, Reply]]] | None = None,
    person: Person = KNOWN,
    alone: bool = False,
    limits: Limits | None = None,
    always: Replies | None = None,
) -> Rehearsal:
    return Rehearsal(
        shipped(f"{kind}-table"),
        replies or {},
        people=[person],
        alone=alone,
        limits=limits or Limits(),
        always=willing(kind) | (always or {}),
    ).run()


def rests(session: Rehearsal) -> list[float]:
    """From the end of each hold to the mark of the next; the first from the start of its rest."""
    ends_s = [session.time_of("rest_start"), *[h.end_s or 0.0 for h in session.holds]]
    return [h.start_s - e for h, e in zip(session.holds, ends_s, strict=False)]


@pytest.mark.parametrize("kind", ["co2", "o2"])
@pytest.mark.parametrize("best_s", [60.0, 95.0, 180.0, 300.0])
def test_what_is_announced_is_what_is_done(kind: str, best_s: float) -> None:
    session = table(kind, person=Person(1, best_s=best_s, cleared=True))
    rounds = (co2_table if kind == "co2" else o2_table)(best_s)
    announced = session.values_of(f"table_{kind}")[0]
    assert announced["rounds"] == len(rounds) == len(session.holds)
    assert [h.duration_s for h in session.holds] == [pytest.approx(r.hold_s) for r in rounds]
    assert rests(session)[1:] == [pytest.approx(r.rest_s, abs=1e-6) for r in rounds[1:]]
    whole_s = (session.holds[-1].end_s or 0.0) - session.holds[0].start_s + rounds[0].rest_s
    assert announced["total"] == total_s(rounds) == pytest.approx(whole_s)


@settings(max_examples=25, deadline=None)
@given(
    best_s=st.floats(60.0, 480.0),
    kind=st.sampled_from(["co2", "o2"]),
    floor_s=st.sampled_from([60.0, 75.0, 100.0]),
    after_s=st.floats(0.2, 14.0),
)
def test_every_table_is_played_as_it_was_announced(
    best_s: float, kind: str, floor_s: float, after_s: float
) -> None:
    """For every best, every floor, and however long the answer to "are you okay" takes."""
    always = {f"check-in:{kind} {n}": (after_s, heard("okay")) for n in range(1, 9)}
    person = Person(1, best_s=best_s, cleared=True)
    session = table(kind, person=person, limits=Limits(rest_floor_s=floor_s), always=always)
    announced = session.values_of(f"table_{kind}")[0]
    assert session.finish is not None
    assert session.finish.code == 0
    lengths = [h.duration_s for h in session.holds]
    assert len(lengths) == announced["rounds"]
    assert lengths[0] == pytest.approx(announced["first_hold"])
    assert lengths[-1] == pytest.approx(announced["last_hold"])
    most_s = best_s / 2 if kind == "co2" else best_s * 0.8
    assert all(length is not None and length <= most_s + 1e-6 for length in lengths)
    assert all(rest >= floor_s - 0.0011 for rest in rests(session)[1:])
    # the last answer may take until the rest is nearly over: then it is longer, never shorter
    needed_s = 30.0 + 1.0 + after_s + 0.4 + 1.0 + 11.0 + 10.0
    if needed_s < floor_s:
        whole_s = (session.holds[-1].end_s or 0.0) - session.holds[0].start_s
        first_rest = announced["first_rest"]
        assert isinstance(first_rest, float)
        assert whole_s + first_rest == pytest.approx(announced["total"], abs=0.01)


def test_each_mark_falls_exactly_on_the_end_of_its_rest() -> None:
    session = table()
    assert rests(session)[0] == pytest.approx(150.0, abs=1.1)  # the line before it ends first
    assert rests(session)[1:] == [
        pytest.approx(r, abs=1e-6) for r in (135, 120, 105, 90, 75, 60, 60)
    ]


def test_recovery_and_check_in_lie_within_the_rest() -> None:
    session = table()
    assert len(session.check_ins) == 8
    assert set(session.well.values()) == {"okay"}
    for which, hold in enumerate(session.holds):
        assert hold.end_s is not None
        assert session.time_of("check_in", which) - hold.end_s >= 30.0


def test_the_words_that_lead_in_come_ten_seconds_before_each_mark() -> None:
    session = table()
    for which, hold in enumerate(session.holds):
        assert hold.start_s - session.time_of("rest_ending", which) == pytest.approx(11.0)


def test_a_late_check_in_makes_a_short_rest_longer_but_never_drops_the_lead_in() -> None:
    always = {f"check-in:co2 {n}": (14.0, heard("okay")) for n in range(1, 9)}
    session = table(always=always)
    short = rests(session)[-1]
    assert short >= 60.0
    assert session.lines.count("rest_ending") == len(session.holds) == 8
    for which, hold in enumerate(session.holds):
        assert hold.start_s - session.time_of("rest_ending", which) >= 11.0 - 1e-6


def test_holds_know_their_target_and_kind() -> None:
    session = table()
    assert {h.kind for h in session.holds} == {"co2"}
    assert {h.target_s for h in session.holds} == {90.0}
    assert [h.label for h in session.holds][:2] == ["co2 1", "co2 2"]
    assert {h.ended_by for h in session.holds} == {"cap"}


def test_somebody_may_come_up_earlier_and_the_table_goes_on() -> None:
    session = table(always={"hold:co2 3": (40.0, heard("done"))})
    assert session.ends[("co2 3", 1)] == 40.0
    assert session.holds[2].target_s == 90.0
    assert len(session.holds) == 8
    assert rests(session)[3] == pytest.approx(105.0, abs=1e-6)  # counted from when he came up


def test_a_stricter_floor_is_part_of_what_is_announced() -> None:
    session = table(limits=Limits(rest_floor_s=90.0))
    assert session.values_of("table_co2")[0]["last_rest"] == 90.0
    whole = session.values_of("table_co2")[0]["total"]
    assert whole == total_s(co2_table(180.0, 90.0))
    assert min(rests(session)[1:]) >= 90.0 - 1e-6
    longer = table("o2", limits=Limits(rest_floor_s=150.0))
    assert longer.values_of("table_o2")[0]["first_rest"] == 150.0


# --- changed before it starts


def offered(*words: str, kind: str = "co2", **given: Any) -> Rehearsal:
    turns = [(1.0, heard(word)) for word in (*words, "start")]
    always = {k: v for k, v in willing(kind).items() if k != f"table:{kind}"}
    return Rehearsal(
        shipped(f"{kind}-table"),
        {f"table:{kind}": turns},
        people=[KNOWN],
        alone=False,
        always=always,
    ).run()


def test_shorter_makes_every_hold_shorter_and_is_read_out_again() -> None:
    session = offered("shorter")
    assert [v["first_hold"] for v in session.values_of("table_co2")] == [90.0, 80.0]
    assert all(h.duration_s == pytest.approx(80.0) for h in session.holds)
    assert "table changed" in session.notes


def test_easier_takes_rounds_away_and_leaves_three() -> None:
    assert len(offered("easier").holds) == 6
    session = offered("easier", "easier", "easier", "easier")
    assert len(session.holds) == 3
    assert "nothing_to_change" in session.lines
    assert session.notes.count("table changed") == 3


def test_longer_goes_back_to_what_was_computed_and_never_past_it() -> None:
    session = offered("longer")
    assert "table_limit" in session.lines
    assert [h.target_s for h in session.holds] == [90.0] * 8
    assert session.notes == []
    back_again = offered("shorter", "longer")
    assert [h.target_s for h in back_again.holds] == [90.0] * 8


def test_shorter_has_an_end() -> None:
    session = offered(*["shorter"] * 12)
    assert session.holds[0].target_s == 45.0
    assert "nothing_to_change" in session.lines


def test_an_o2_table_changes_in_the_same_way() -> None:
    session = offered("shorter", kind="o2")
    assert [h.target_s for h in session.holds] == [50.0, 65.0, 80.0, 90.0, 105.0, 120.0]


def test_not_yet_gives_half_a_minute_in_silence() -> None:
    session = offered("not-yet")
    assert session.time_of("table_ask", 1) - session.time_of("table_ask", 0) >= 30.0
    assert session.lines.count("table_co2") == 1
    assert len(session.holds) == 8


def test_other_words_change_nothing() -> None:
    always = {k: v for k, v in willing().items() if k != "table:co2"}
    turns: dict[str, list[tuple[float, Reply]]] = {"table:co2": [(1.0, heard("okay"))]}
    session = Rehearsal(shipped("co2-table"), turns, people=[KNOWN], always=always).run()
    assert session.notes == []
    assert session.lines.count("table_ask") == 3


def test_nobody_who_starts_it_ends_the_session() -> None:
    always = {k: v for k, v in willing().items() if k != "table:co2"}
    session = Rehearsal(shipped("co2-table"), people=[KNOWN], always=always).run()
    assert session.finish is not None
    assert session.finish.reason == "nobody was ready"
    assert session.holds == []


def test_a_table_can_be_skipped_whole() -> None:
    session = table(always={"table:co2": (1.0, heard("skip"))})
    assert session.holds == []
    assert session.lines[-1] == "farewell"


# --- changed in the middle


def test_shorter_in_the_middle_shortens_what_is_still_to_come() -> None:
    session = table(
        replies={
            "rest_start": [(5.0, heard("go-on"))],
            "check-in:co2 2": [(1.0, heard("okay"))],
            "rest_ending": [
                (99.0, heard("go-on")),
                (99.0, heard("go-on")),
                (0.5, heard("shorter")),
            ],
        }
    )
    assert [h.target_s for h in session.holds] == [90.0, 90.0, *[80.0] * 6]
    assert [h.duration_s for h in session.holds][-1] == pytest.approx(80.0)
    assert "table_shortened" in session.lines


@pytest.mark.parametrize(("which", "left"), [(1, 6), (4, 6), (6, 6), (7, 7)])
def test_easier_in_the_middle_takes_rounds_from_the_end(which: int, left: int) -> None:
    turns = [(99.0, heard("go-on"))] * (which - 1) + [(0.5, heard("easier"))]
    session = table(replies={"rest_ending": turns})
    assert len(session.holds) == left
    assert "table_eased" in session.lines
    assert session.lines[-1] == "farewell"


def test_easier_before_the_last_hold_has_nothing_to_take() -> None:
    turns = [(99.0, heard("go-on"))] * 7 + [(0.5, heard("easier"))]
    session = table(replies={"rest_ending": turns})
    assert len(session.holds) == 8
    assert "nothing_to_change" in session.lines
    assert "table changed" not in session.notes


def test_longer_in_the_middle_is_declined_kindly() -> None:
    session = table(replies={"rest_ending": [(0.5, heard("longer"))]})
    assert "table_limit" in session.lines
    assert [h.target_s for h in session.holds] == [90.0] * 8
    assert "table changed" not in session.notes


def test_a_wish_about_a_table_where_there_is_none() -> None:
    lesson = plan(steps.Relaxation("relaxation", "calm", 60.0))
    session = Rehearsal(lesson).at(5.0, heard("shorter")).run()
    assert session.lines == ["nothing_to_change"]


def test_skip_in_a_rest_means_the_hold_and_the_rest_goes_on() -> None:
    turns = [(99.0, heard("go-on")), (99.0, heard("go-on")), (0.5, heard("skip"))]
    session = table(replies={"rest_ending": turns})
    assert [h.label for h in session.holds] == [f"co2 {n}" for n in (1, 2, 4, 5, 6, 7, 8)]
    assert "hold_skipped" in session.lines
    assert "skipped" in session.notes
    assert rests(session)[2] == pytest.approx(120.0, abs=1e-6)


def test_skip_before_the_last_hold_ends_the_table() -> None:
    turns = [(99.0, heard("go-on"))] * 7 + [(0.5, heard("skip"))]
    session = table(replies={"rest_ending": turns})
    assert len(session.holds) == 7
    assert session.lines[-1] == "farewell"


def test_thirty_seconds_more_lengthen_the_rest_and_move_its_words() -> None:
    session = table(replies={"rest_start": [(20.0, heard("add-thirty"))]})
    assert session.holds[0].start_s - session.time_of("rest_start") == pytest.approx(180.0, abs=1.1)
    assert session.holds[0].start_s - session.time_of("rest_ending") == pytest.approx(11.0)
    assert "added" in session.notes


def test_stop_in_the_middle_keeps_what_happened() -> None:
    turns = [(99.0, heard("go-on")), (99.0, heard("go-on")), (0.5, heard("stop"))]
    session = table(replies={"rest_ending": turns})
    assert len(session.holds) == 2
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "stopped")


def test_a_changed_plan_of_ones_own_with_targets_and_no_rests() -> None:
    """ "Easier" takes whole rounds; where no rest stands before a hold only the hold goes."""
    holds = [
        step
        for n in (1, 2, 3)
        for step in (
            steps.Hold(
                "hold", f"own {n}", "relaxed", 40.0, lead_in="", wait_for_start=False, target_s=40.0
            ),
            steps.Recovery("recovery"),
        )
    ]
    lesson = plan(steps.Talk("talk", ("settle",)), UNCHANGED, *holds)
    always = cooperative([]) | {f"check-in:own {n}": (1.0, heard("okay")) for n in (1, 2, 3)}
    session = Rehearsal(
        lesson, people=[KNOWN], always=always | {"settle": (-0.8, heard("easier"))}
    ).run()
    assert [h.label for h in session.holds] == ["own 1"]
    assert session.well == {("own 1", 1): "okay"}


# --- refused


@pytest.mark.parametrize("best_s", [None, 30.0, 59.9])
def test_without_a_best_of_a_minute_there_is_no_table(best_s: float | None) -> None:
    session = table(person=Person(1, best_s=best_s, cleared=True))
    assert session.lines[-1] == "table_needs_best"
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "table refused")
    assert session.holds == []


def test_one_table_a_day_is_enough() -> None:
    session = table(person=Person(1, best_s=180.0, cleared=True, tables_today=1))
    assert session.lines[-1] == "table_one_a_day"
    assert session.holds == []


def test_the_limit_of_tables_can_be_none_at_all() -> None:
    session = table(limits=Limits(tables_per_day=0))
    assert session.lines[-1] == "table_one_a_day"

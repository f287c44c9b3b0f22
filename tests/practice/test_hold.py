"""One hold of one person: the mark, the calls, every way it can end, contractions."""

from __future__ import annotations

from typing import Any

import pytest

from coach.practice.acts.hold import Holding
from coach.practice.conductor import Conductor
from coach.practice.events import (
    Begin,
    CueDone,
    Drop,
    Effect,
    Heard,
    Hush,
    Knocks,
    Listen,
    RoomBack,
    RoomLost,
    Say,
    Sound,
)
from coach.practice.safety import Limits, Person
from tests.practice.plans import CLEARING, RECOVERY, hold, one_hold, plan, shipped
from tests.practice.rehearsal import (
    Rehearsal,
    Reply,
    back,
    cooperative,
    heard,
    knocked,
    lost,
    unclear,
)

WILLING = cooperative(["one"])
UNENDED = {k: v for k, v in WILLING.items() if k != "hold:one"}


def held(*turns: tuple[float, Reply], lesson: Any = None, **given: Any) -> Rehearsal:
    """What happens so long after the mark."""
    session = Rehearsal(lesson or one_hold(), always=UNENDED, **given)
    session = Rehearsal(
        lesson or one_hold(), {"hold:one": list(turns[:1])}, always=UNENDED, **given
    )
    if len(turns) > 1:  # the mark is known once the session has been played that far
        mark_s = held(*turns[:1], lesson=lesson, **given).time_of("hold")
        for after_s, reply in turns[1:]:
            session.at(mark_s + after_s, reply)
    return session.run()


@pytest.mark.parametrize("after_s", [0.3, 3.0, 9.9, 10.0, 40.0, 63.27, 119.5])
@pytest.mark.parametrize(
    ("reply", "by"), [(heard("done"), "word"), (knocked(2), "knock"), (heard("stop"), "word")]
)
def test_word_knock_and_stop_end_it_at_their_onset(after_s: float, reply: Reply, by: str) -> None:
    session = held((after_s, reply))
    assert session.ends == {("one", 1): after_s}
    assert session.holds[0].ended_by == by
    assert session.lines.count("hold_ended") == 1
    assert session.lines[-1] == "check_in_thanks"
    assert session.finish is not None
    assert session.finish.code == 0


def test_stop_everyone_ends_it_too() -> None:
    session = held((30.0, heard("stop-all")))
    assert session.ends == {("one", 1): 30.0}
    assert session.holds[0].ended_by == "stop"


def test_a_reflex_at_the_mark_is_no_end() -> None:
    session = held((0.1, heard("done")), (20.0, heard("done")))
    assert session.ends == {("one", 1): 20.0}
    session = held((0.1, knocked(2)), (20.0, heard("done")))
    assert session.ends == {("one", 1): 20.0}


def test_stop_counts_even_while_the_mark_sounds() -> None:
    session = held((0.1, heard("stop")))
    assert session.ends == {("one", 1): 0.1}
    session = held((-0.1, heard("stop")))  # began before the mark, was understood after it
    assert session.ends == {("one", 1): 0.0}


def test_stop_before_the_mark_ends_the_session() -> None:
    session = Rehearsal(one_hold(), always=WILLING | {"hold_lead_in": (0.5, heard("stop"))}).run()
    assert session.holds == []
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "stopped")
    assert "recovery_start" not in session.lines


def test_at_the_cap_the_clock_ends_it() -> None:
    session = held(lesson=one_hold(cap_s=45.0))
    assert session.ends == {("one", 1): 45.0}
    assert (session.holds[0].ended_by, session.holds[0].source.by) == ("cap", "clock")
    assert "hold_cap" in session.lines
    assert [said for _, said in session.calls] == [10, 20, 30, 40]


@pytest.mark.parametrize(("cap_s", "most"), [(40.0, 30), (41.0, 40), (10.0, None)])
def test_no_call_falls_on_or_after_the_cap(cap_s: float, most: float | None) -> None:
    session = held(lesson=one_hold(cap_s=cap_s))
    assert max((said for _, said in session.calls), default=None) == most


@pytest.mark.parametrize("every_s", [5.0, 15.0, 30.0, 60.0])
def test_calls_come_as_often_as_the_plan_says_and_exactly(every_s: float) -> None:
    session = held(lesson=one_hold(call_every_s=every_s))
    assert [said for _, said in session.calls] == [
        every_s * n for n in range(1, 100) if every_s * n < 120
    ]
    for began_s, said_s in session.calls:
        assert began_s == pytest.approx(said_s, abs=1e-6)


def test_calls_go_on_as_long_as_the_hold_lasts() -> None:
    best = [Person(1, best_s=480.0)]
    lesson = one_hold(cap_s=400.0)
    session = held((301.7, heard("done")), lesson=lesson, people=best, alone=True)
    assert session.ends == {("one", 1): 301.7}
    assert [said for _, said in session.calls] == [10.0 * n for n in range(1, 31)]


def test_a_stop_exactly_while_a_call_is_being_spoken() -> None:
    session = held((30.3, heard("stop")))
    assert session.ends == {("one", 1): 30.3}
    assert [said for _, said in session.calls] == [10, 20, 30]


def test_nothing_is_said_in_a_hold_but_calls() -> None:
    session = held((50.0, heard("done")))
    mark_s, end_s = session.time_of("hold"), session.time_of("hold_ended")
    assert {name for t, name in session.said if mark_s < t < end_s} == {"time_call"}


@pytest.mark.parametrize(
    "word",
    ["pause", "skip", "repeat", "again", "louder", "help", "how-long", "add-thirty", "okay", "yes"],
)
def test_no_other_word_touches_a_hold(word: str) -> None:
    session = held((20.0, heard(word)), (50.0, heard("done")))
    assert session.ends == {("one", 1): 50.0}
    assert session.notes == []


def test_talk_in_the_room_does_not_end_a_hold() -> None:
    session = held((20.0, unclear()), (30.0, unclear()), (50.0, heard("done")))
    assert session.ends == {("one", 1): 50.0}
    assert "pardon" not in session.lines


def test_the_cap_is_the_stricter_of_plan_and_person() -> None:
    for person, limits, wanted in [
        (Person(1), Limits(hold_cap_s=30.0), 30.0),
        (Person(1, best_s=40.0), Limits(hold_cap_s=30.0), 36.0),  # nine tenths, alone
        (Person(1, best_s=300.0), Limits(), 120.0),  # the plan's own
    ]:
        session = held(lesson=one_hold(), people=[person], limits=limits)
        assert session.ends == {("one", 1): wanted}


def test_beside_an_instructor_the_best_itself_is_the_limit() -> None:
    session = held(people=[Person(1, best_s=100.0)], limits=Limits(hold_cap_s=30.0), alone=False)
    assert session.ends == {("one", 1): 100.0}


# --- contractions


def test_single_knocks_mark_contractions() -> None:
    session = held((30.0, knocked(1)), (36.5, heard("contraction")), (50.0, knocked(2)))
    assert session.holds[0].contractions_s == pytest.approx((30.0, 36.5))
    assert session.ends == {("one", 1): 50.0}


def test_a_hold_without_contractions_has_none_which_is_not_zero() -> None:
    assert held((50.0, heard("done"))).holds[0].contractions_s == ()


def test_a_contraction_lies_within_its_hold() -> None:
    """0 < onset <= hold: one that began after the end is no part of it."""
    late = knocked(1)
    session = held((49.5, knocked(2)), (49.55, late))
    for onset_s in session.holds[0].contractions_s:
        assert 0 < onset_s <= 49.5


def test_a_comfort_hold_ends_at_the_first_contraction() -> None:
    lesson = one_hold(until="first contraction")
    for reply in (knocked(1), heard("contraction")):
        session = held((31.0, reply), lesson=lesson)
        assert session.ends == {("one", 1): 31.0}
        assert session.holds[0].ended_by == "contraction"
        assert session.holds[0].contractions_s == pytest.approx((31.0,))


def test_the_comfort_hold_that_is_shipped_says_when_the_first_one_came() -> None:
    always = cooperative(["comfort"]) | {"hold:comfort": (33.0, knocked(1))}
    people = [Person(1, cleared=True)]
    session = Rehearsal(shipped("comfort-hold"), people=people, always=always).run()
    assert session.ends == {("comfort", 1): 33.0}
    assert session.values_of("sum_contraction")[0]["onset"] == pytest.approx(33.0)


def test_knocks_are_listened_for_only_in_the_hold() -> None:
    session = held((30.0, heard("done")))
    for _, effect in session.effects:
        if isinstance(effect, Listen):
            wanted = Knocks.MARKS if effect.situation == "hold" else Knocks.OFF
            assert effect.knocks is wanted


# --- the mark and the room


def at_the_mark(lesson: Any = None) -> tuple[Conductor, Sound, float]:
    """A conductor that has just sent the mark of its first hold."""
    direct = lesson or plan(CLEARING, hold(wait_for_start=False, lead_in=""), RECOVERY)
    conductor = Conductor(direct, [Person(1)], Limits())
    now_s, effects = 0.0, list(conductor.handle(Begin(0.0)))
    while not any(isinstance(e, Sound) for e in effects):
        said = next(e for e in effects if isinstance(e, Say))
        now_s += 1.0
        answer = "yes" if said.line in ("clear_dry", "clear_posture", "clear_near") else "no"
        conductor.handle(CueDone(now_s, said.cue, now_s))
        effects = list(conductor.handle(Heard(now_s, now_s, now_s, answer)))
    return conductor, next(e for e in effects if isinstance(e, Sound)), now_s


def sounds(effects: tuple[Effect, ...]) -> list[Sound]:
    return [e for e in effects if isinstance(e, Sound)]


def test_a_mark_that_did_not_sound_is_sounded_again_and_no_hold_has_begun() -> None:
    conductor, mark, now_s = at_the_mark()
    effects = conductor.handle(CueDone(now_s + 1.0, mark.cue, None, complete=False))
    assert [s.name for s in sounds(effects)] == ["hold"]
    assert conductor.stage.ledger.holds == []


def test_the_hold_begins_at_the_frame_at_which_the_mark_began() -> None:
    conductor, mark, now_s = at_the_mark()
    conductor.handle(CueDone(now_s + 1.37, mark.cue, now_s + 1.17))
    assert conductor.stage.ledger.holds[0].start_s == now_s + 1.17


def test_a_hold_that_has_begun_is_on_the_disk_at_once() -> None:
    conductor, mark, now_s = at_the_mark()
    conductor.handle(CueDone(now_s + 1.2, mark.cue, now_s + 1.0))
    (begun,) = conductor.stage.ledger.holds
    assert (begun.end_s, begun.ended_by) == (None, "unknown")


def test_what_was_still_being_said_is_hushed_before_the_mark() -> None:
    session = held((30.0, heard("done")))
    before = [e for t, e in session.effects if t <= session.time_of("hold")]
    assert any(isinstance(e, Hush) for e in before)


def test_a_room_that_is_lost_before_the_mark_waits_and_sounds_it_anew() -> None:
    conductor, mark, now_s = at_the_mark()
    lost_now = conductor.handle(RoomLost(now_s + 0.2, "loudspeaker"))
    assert Drop(mark.cue) in lost_now
    again = sounds(conductor.handle(RoomBack(now_s + 20.0)))
    assert [s.name for s in again] == ["hold"]
    assert again[0].at_s == pytest.approx(now_s + 21.0)


def test_a_room_that_is_lost_in_a_hold_does_not_stop_its_clock() -> None:
    session = held((20.0, lost()))
    assert session.ends == {("one", 1): 120.0}
    assert session.holds[0].ended_by == "cap"
    assert "room lost" in session.notes


def test_when_the_room_is_back_in_a_hold_it_says_so_and_calls_go_on() -> None:
    session = held((20.5, lost()), (33.0, back()), (65.0, heard("done")))
    assert session.ends == {("one", 1): 65.0}
    assert "room_back" in session.lines
    assert [said for _, said in session.calls][-3:] == [40, 50, 60]
    for began_s, said_s in session.calls:
        assert began_s == pytest.approx(said_s, abs=1e-6)


def test_a_call_that_fell_into_other_speech_is_left_out_not_late() -> None:
    """The words "I am with you again" are still sounding at 30 s: that call is not sounded."""
    session = held((20.5, lost()), (29.5, back()), (45.0, heard("done")))
    assert [said for _, said in session.calls] == [10, 20, 40]


def test_a_short_loss_between_two_calls_costs_none() -> None:
    session = held((22.0, lost()), (24.0, back()), (45.0, heard("done")))
    assert [said for _, said in session.calls] == [10, 20, 30, 40]


def test_nobody_can_know_how_long_a_hold_lasts() -> None:
    assert Holding(hold(), 1, 120.0).left_s(0.0) is None

"""Three people around one loudspeaker: everybody has a number, nobody is guessed."""

from __future__ import annotations

import pytest

from coach.practice import plan as steps
from coach.practice.events import Knocks, Listen, Say
from coach.practice.kept import Hold
from coach.practice.safety import Person
from tests.practice.plans import CLEARING, RECOVERY, count, hold, one_hold, plan, shipped
from tests.practice.rehearsal import Rehearsal, Replies, Reply, cooperative, heard, unclear

NUMBERS = (1, 2, 3)
GROUP = [Person(number) for number in NUMBERS]


def everybody(labels: tuple[str, ...] = ("one",)) -> dict[str, tuple[float, Reply]]:
    """All are cleared and well; nobody has ended a hold yet."""
    always = {k: v for k, v in cooperative(labels).items() if not k.startswith("hold")}
    for number in NUMBERS:
        always[f"clearing:any-of-these:{number}"] = (0.5, heard("no"))
        for label in labels:
            always[f"check-in:{label}:{number}"] = (1.0, heard("okay"))
    return always


def held(
    *turns: tuple[float, Reply],
    answers: dict[str, list[tuple[float, Reply]]] | None = None,
    always: Replies | None = None,
) -> Rehearsal:
    """What is heard so long after the mark."""

    def fresh() -> Rehearsal:
        willing = everybody() | (always or {})
        return Rehearsal(one_hold(), answers or {}, people=GROUP, alone=False, always=willing)

    mark_s = fresh().run().time_of("hold")
    session = fresh()
    for after_s, reply in turns:
        session.at(mark_s + after_s, reply)
    return session.run()


def not_to_the_end(*numbers: int, held_s: int = 120) -> dict[str, list[tuple[float, Reply]]]:
    return {f"whose:one:{held_s}:{number}": [(0.5, heard("no"))] for number in numbers}


def up(number: int | None) -> Reply:
    return heard("done", who=number)


def test_each_call_with_a_number_ends_that_persons_hold() -> None:
    session = held((31.0, up(2)), (44.4, up(3)), (52.0, up(1)))
    assert session.ends == {("one", 1): 52.0, ("one", 2): 31.0, ("one", 3): 44.4}
    assert session.lines.count("hold_ended") == 1
    assert [v["participant"] for v in session.values_of("up_heard")] == [2, 3, 1]
    assert "whose_time" not in session.lines


def test_calls_go_on_until_the_last_one_is_up() -> None:
    session = held((31.0, up(2)), (44.4, up(3)), (72.0, up(1)))
    assert [said for _, said in session.calls] == [10, 20, 30, 40, 50, 60, 70]


def test_the_last_one_needs_no_number_but_is_asked() -> None:
    """Somebody else may have said it."""
    answers = {"whose:one:52:1": [(0.5, heard("yes"))]}
    session = held((31.0, up(2)), (44.4, up(3)), (52.0, up(None)), answers=answers)
    assert session.ends[("one", 1)] == 52.0
    assert [said for _, said in session.calls] == [10, 20, 30, 40, 50]


def test_a_number_that_is_called_twice_is_asked_which_was_meant() -> None:
    """The first of two calls may have been misheard: it was six who said sixteen's, say."""
    answers = {
        "whose:one:31:1": [(0.5, heard("yes"))],
        "whose:one:31:2": [(0.5, heard("no"))],
        "whose:one:35:2": [(0.5, heard("yes"))],
    }
    answers |= not_to_the_end(1, 2)
    session = held((31.0, up(2)), (35.0, up(2)), (44.4, up(3)), answers=answers)
    assert session.ends == {("one", 1): 31.0, ("one", 2): 35.0, ("one", 3): 44.4}


def test_a_number_that_is_called_twice_does_not_end_the_hold_of_another() -> None:
    session = held((31.0, up(2)), (35.0, up(2)), (44.4, up(3)), (72.0, up(1)))
    assert session.ends[("one", 1)] == 72.0
    assert [said for _, said in session.calls] == [10, 20, 30, 40, 50, 60, 70]


def test_a_number_that_nobody_has_ends_nobodys_hold() -> None:
    session = held((31.0, up(9)), (40.0, up(1)), (50.0, up(2)), (60.0, up(3)))
    assert session.ends == {("one", 1): 40.0, ("one", 2): 50.0, ("one", 3): 60.0}


def test_two_who_call_at_the_same_moment_are_both_asked_afterwards() -> None:
    """The ear hears one unclear sound; the third calls alone. Nobody is guessed."""
    answers = {"whose:one:40:1": [(0.5, heard("yes"))], "whose:one:40:2": [(0.5, heard("yes"))]}
    session = held((40.0, unclear()), (60.0, up(3)), answers=answers | not_to_the_end(1, 2))
    assert session.ends[("one", 3)] == 60.0
    asked = [v["participant"] for v in session.values_of("whose_time")]
    assert asked == [1, 2]
    assert session.ends[("one", 1)] == 40.0
    assert session.ends[("one", 2)] == 40.0


def test_a_number_heard_in_a_jumble_is_asked_about_too() -> None:
    answers = {
        "whose:one:40:1": [(0.5, heard("yes"))],
        "whose:one:40:2": [(0.5, heard("no"))],
        "whose:one:41:2": [(0.5, heard("yes"))],
    }
    answers |= not_to_the_end(1, 2)
    session = held((40.4, unclear()), (40.9, up(2)), (60.0, up(3)), answers=answers)
    first_kept = [k for k in session.kept if isinstance(k, Hold) and k.participant == 2]
    assert [k.end_s for k in first_kept[:-1]] == [None]  # not taken when it was heard
    assert session.ends[("one", 2)] == 40.9


def test_who_calls_again_after_a_jumble_is_asked_if_it_was_the_second_time() -> None:
    turns = (40.0, unclear()), (43.0, up(2)), (50.0, up(3)), (61.0, up(1))
    for answer, held_s in (("yes", 40.0), ("no", 43.0)):
        session = held(*turns, answers={"twice:one:2": [(0.5, heard(answer))]})
        assert session.ends == {("one", 1): 61.0, ("one", 2): held_s, ("one", 3): 50.0}
    assert held(*turns).ends[("one", 2)] is None  # no answer: nobody knows


def test_who_calls_again_because_the_ear_had_caught_another_number_is_asked() -> None:
    """One and two at once sounded like three; two calls again; and later three."""
    answers = {"twice:one:2": [(0.5, heard("yes"))], "whose:one:40:1": [(0.5, heard("no"))]}
    turns = (40.0, up(3)), (43.0, up(2)), (60.0, up(3)), (70.0, up(1))
    session = held(*turns, answers=answers)
    assert session.ends[("one", 2)] == 40.0
    assert session.ends[("one", 1)] == 70.0
    assert session.ends[("one", 3)] is None  # not claimed by anybody


def test_a_call_that_another_runs_into_is_nobody_s_yet() -> None:
    """Of two who speak at once the ear may catch one number, and not always the right one."""
    answers = {"whose:one:40:2": [(0.5, heard("no"))], "whose:one:40:1": [(0.5, heard("yes"))]}
    session = held((40.0, up(2)), (40.2, up(None)), (60.0, up(3)), answers=answers)
    first_kept = [k.end_s for k in session.kept if isinstance(k, Hold) and k.participant == 2]
    assert first_kept[-1] is None
    assert session.ends[("one", 1)] == 40.0
    assert session.ends[("one", 3)] == 60.0


def test_when_a_jumble_may_have_been_the_last_ends_it_is_said_who_was_not_heard() -> None:
    answers = {f"twice:one:{n}": [(0.5, heard("yes"))] for n in (1, 2)}
    session = held((40.0, unclear()), (41.8, up(3)), (63.0, up(1)), (66.0, up(2)), answers=answers)
    assert session.values_of("who_holds") == [{"numbers": "1, 2"}]
    assert session.ends == {("one", 1): 40.0, ("one", 2): 40.0, ("one", 3): None}


def test_a_time_that_is_one_person_s_is_not_asked_about_again() -> None:
    answers = {"whose:one:40:1": [(0.5, heard("yes"))]}
    answers |= not_to_the_end(1, held_s=50)
    session = held((40.0, up(None)), (50.0, heard("stop")), answers=answers)
    assert [v["participant"] for v in session.values_of("whose_time")] == [1]


def test_what_nobody_claims_stays_unknown() -> None:
    answers = {
        "whose:one:40:1": [(0.5, heard("no"))],
        "whose:one:120:1": [(0.5, heard("no"))],
        "whose:one:40:2": [(0.5, heard("no"))],
    }
    session = held((40.0, unclear()), (60.0, up(3)), answers=answers)
    assert session.ends == {("one", 1): None, ("one", 2): None, ("one", 3): 60.0}
    assert [h.ended_by for h in session.holds] == ["unknown", "unknown", "word"]


def test_who_held_to_the_end_says_so() -> None:
    answers = {f"whose:one:120:{n}": [(0.5, heard("yes"))] for n in (1, 2)}
    session = held((60.0, up(3)), answers=answers)
    assert session.ends == {("one", 1): 120.0, ("one", 2): 120.0, ("one", 3): 60.0}
    assert session.holds[0].ended_by == "cap"
    assert [v["held"] for v in session.values_of("whose_cap")] == [pytest.approx(120.0)] * 2


def test_silence_afterwards_leaves_it_unknown_after_two_questions() -> None:
    session = held((60.0, up(3)))
    assert session.ends == {("one", 1): None, ("one", 2): None, ("one", 3): 60.0}
    assert session.lines.count("whose_cap") == 4
    assert session.finish is not None
    assert session.finish.code == 0


def test_as_many_calls_as_people_end_the_hold_and_whose_they_were_is_asked() -> None:
    answers = {
        "whose:one:40:1": [(0.5, heard("no"))],
        "whose:one:50:1": [(0.5, heard("yes"))],
        "whose:one:40:2": [(0.5, heard("yes"))],
        "twice:one:3": [(0.5, heard("no"))],  # it came soon after another
    }
    session = held((40.0, up(None)), (50.0, up(None)), (55.0, up(3)), answers=answers)
    assert session.ends == {("one", 1): 50.0, ("one", 2): 40.0, ("one", 3): 55.0}
    assert "hold_cap" not in session.lines
    assert [said for _, said in session.calls] == [10, 20, 30, 40, 50]


def test_a_call_without_a_number_by_the_last_but_one_ends_it_all_the_same() -> None:
    """Two have called, one with no number: nobody is left, whoever it was."""
    answers = {"whose:one:40:1": [(0.5, heard("yes"))], "whose:one:60:1": [(0.5, heard("yes"))]}
    session = held((40.0, up(None)), (50.0, up(2)), (60.0, up(None)), answers=answers)
    assert session.ends[("one", 2)] == 50.0
    assert session.ends[("one", 1)] == 40.0
    assert session.ends[("one", 3)] is None


def test_it_is_asked_only_when_everybody_is_known_to_be_well() -> None:
    session = held((40.0, unclear()), (60.0, up(3)))
    assert session.lines.index("whose_cap") > session.lines.index("recovery_start_group")
    last_check_in = max(i for i, n in enumerate(session.lines) if n == "check_in_number")
    assert session.lines.index("whose_cap") > last_check_in


def test_talk_in_the_room_is_not_asked_about() -> None:
    talk = [(5.0 + 7 * n, unclear()) for n in range(8)]
    session = held(*talk, (70.2, up(1)), (80.2, up(2)))
    assert "whose_time" not in session.lines
    assert [v["participant"] for v in session.values_of("whose_cap")] == [3, 3]


def test_a_sound_at_the_mark_is_nobodys_end() -> None:
    session = held((0.1, unclear()), (60.0, up(3)))
    assert "whose_time" not in session.lines


def test_stop_everyone_from_anybody_ends_it_for_all_and_each_says_if_it_was_so() -> None:
    """Somebody's call may not have been heard before."""
    answers = {"whose:one:40:1": [(0.5, heard("yes"))], "whose:one:40:3": [(0.5, heard("no"))]}
    for word in ("stop-all", "stop"):
        session = held((31.0, up(2)), (40.0, heard(word)), answers=answers)
        assert session.ends == {("one", 1): 40.0, ("one", 2): 31.0, ("one", 3): None}
        assert [h.ended_by for h in session.holds] == ["stop", "word", "unknown"]
        assert set(session.well.values()) == {"okay"}
        assert session.lines.count("hold_ended") == 1


def test_who_is_still_holding_can_be_asked() -> None:
    session = held((31.0, up(2)), (35.0, heard("who-holds")), (50.0, heard("stop-all")))
    assert session.values_of("who_holds") == [{"numbers": "1, 3"}]


def test_in_a_large_group_only_how_many_still_hold_is_said() -> None:
    many = [Person(number) for number in range(1, 13)]
    always = cooperative(["one"])
    for number in range(1, 13):
        always[f"clearing:any-of-these:{number}"] = (0.5, heard("no"))
        always[f"check-in:one:{number}"] = (1.0, heard("okay"))
    always["hold:one"] = (20.0, heard("who-holds"))
    session = Rehearsal(
        plan(CLEARING, hold(), RECOVERY), people=many, alone=False, always=always
    ).run()
    assert session.values_of("who_holds_many") == [{"people": 12}]
    assert "who_holds" not in session.lines


def test_who_holds_is_answered_outside_a_hold_too() -> None:
    session = held(always={"recovery:one": (2.0, heard("who-holds"))})
    assert "who_holds_none" in session.lines


def test_contractions_of_an_end_that_is_taken_later_lie_within_the_hold() -> None:
    answers = {"whose:one:40:1": [(0.5, heard("yes"))], "whose:one:120:2": [(0.5, heard("yes"))]}
    answers |= not_to_the_end(1)
    marks = [(t, heard("contraction", who=1)) for t in (30.0, 50.0)]
    session = held(*marks, (40.0, unclear()), (60.0, up(3)), answers=answers)
    assert session.ends[("one", 1)] == 40.0
    kept = next(h for h in session.holds if h.participant == 1)
    assert kept.contractions_s == pytest.approx((30.0,))


def test_a_number_called_three_times_is_asked_about_each_time() -> None:
    answers = {
        "whose:one:31:2": [(0.5, heard("no"))],
        "whose:one:35:2": [(0.5, heard("no"))],
        "whose:one:39:2": [(0.5, heard("yes"))],
    }
    session = held(
        *[(t, up(2)) for t in (31.0, 35.0, 39.0)], (44.4, up(3)), (60.0, up(1)), answers=answers
    )
    assert session.ends[("one", 2)] == 39.0
    assert session.ends[("one", 1)] == 60.0


def test_a_late_answer_is_not_taken_for_the_next_ones() -> None:
    """ "Okay" that begins while number two is being called was number one's."""
    session = held(
        (50.0, heard("stop-all")),
        always={"check-in:one:2": (-0.9, heard("okay")), "check-in:one:1": (1.0, heard("okay"))},
    )
    assert session.values_of("check_in_number")[:2] == [{"participant": 1}, {"participant": 2}]
    assert session.lines.count("check_in_number") > 3  # number two was asked again


def test_contractions_are_kept_for_the_number_that_is_given() -> None:
    session = held(
        (30.0, heard("contraction", who=2)), (33.0, heard("contraction")), (50.0, heard("stop-all"))
    )
    marks = {h.participant: h.contractions_s for h in session.holds}
    assert marks == {1: (), 2: (pytest.approx(30.0),), 3: ()}
    nobody = held((30.0, up(2)), (35.0, heard("contraction", who=2)), (50.0, heard("stop-all")))
    assert all(h.contractions_s == () for h in nobody.holds)


def test_knocks_mean_nothing_where_nobody_knows_whose_they_are() -> None:
    session = held((50.0, heard("stop-all")))
    assert all(e.knocks is Knocks.OFF for _, e in session.effects if isinstance(e, Listen))


def test_the_lengths_are_not_read_out_to_everybody() -> None:
    assert "hold_result" not in held((50.0, heard("stop-all"))).lines


# --- counts in turn


def counted(
    replies: dict[str, list[tuple[float, Reply]]], **always: tuple[float, Reply]
) -> Rehearsal:
    return Rehearsal(plan(count()), replies, people=GROUP, alone=False, always=always).run()


def numbered(**beats: int) -> dict[str, list[tuple[float, Reply]]]:
    replies: dict[str, list[tuple[float, Reply]]] = {}
    for who, given in beats.items():
        number = who.removeprefix("p")
        replies[f"pulse-ask:before:{number}"] = [(1.0, heard(number=given))]
        replies[f"pulse-read:before:{number}"] = [(1.0, heard("yes"))]
    return replies


def test_a_roll_call_takes_each_count_in_order() -> None:
    session = counted(numbered(p1=16, p2=18, p3=20))
    assert session.beats == {("before", 1): 16, ("before", 2): 18, ("before", 3): 20}
    assert [v["participant"] for v in session.values_of("pulse_ask_number")] == [1, 2, 3]
    assert [p.bpm for p in session.pulses] == [64.0, 72.0, 80.0]


def test_who_does_not_answer_is_passed_over_and_asked_once_more() -> None:
    late = numbered(p1=16, p3=20)
    late["pulse-ask:before:2"] = [
        (99.0, heard("go-on")),
        (99.0, heard("go-on")),
        (1.0, heard(number=18)),
    ]
    late["pulse-read:before:2"] = [(1.0, heard("yes"))]
    session = counted(late)
    assert [v["participant"] for v in session.values_of("pulse_ask_number")] == [1, 2, 3, 2, 2]
    assert session.beats[("before", 2)] == 18


def test_who_never_answers_is_kept_as_unknown() -> None:
    session = counted(numbered(p1=16, p3=20))
    assert session.beats == {("before", 1): 16, ("before", 3): 20, ("before", 2): None}
    assert session.lines.count("pulse_unknown") == 1
    assert session.pulses[-1].source.by == "nobody"


def test_who_lost_count_comes_again_at_the_end() -> None:
    replies = numbered(p1=16, p3=20)
    replies["pulse-ask:before:2"] = [(1.0, heard("lost-count")), (1.0, heard("lost-count"))]
    session = counted(replies)
    assert session.beats[("before", 2)] is None
    assert [v["participant"] for v in session.values_of("pulse_ask_number")] == [1, 2, 3, 2]


def test_taps_cannot_be_told_apart_so_a_group_counts() -> None:
    session = Rehearsal(
        plan(count(by="tap")), numbered(p1=16, p2=18, p3=20), people=GROUP, alone=False
    ).run()
    assert "pulse_find" in session.lines
    assert "pulse_find_tap" not in session.lines
    assert session.beats == {("before", 1): 16, ("before", 2): 18, ("before", 3): 20}


def test_a_fast_count_in_a_group_is_not_counted_again() -> None:
    session = counted(numbered(p1=26, p2=18, p3=20))
    assert "pulse_longer" not in session.lines
    assert session.beats[("before", 1)] == 26


# --- the whole lesson


def whole_lesson() -> Rehearsal:
    labels = ("baseline", "main")
    always = everybody(labels)
    ends = {"baseline": (41.0, 46.5, 52.2), "main": (63.0, 71.7, 88.8)}
    for label, beats in (("before", (18, 19, 20)), ("relaxed", (16, 15, 21))):
        for number, given in zip(NUMBERS, beats, strict=True):
            always[f"pulse-ask:{label}:{number}"] = (1.0, heard(number=given))
            always[f"pulse-read:{label}:{number}"] = (1.0, heard("yes"))
    session: Rehearsal | None = None
    marks_s: list[float] = []
    for label in labels:
        session = Rehearsal(shipped("first-lesson"), people=GROUP, alone=False, always=always)
        for one, mark_s in zip(labels, marks_s, strict=False):
            for number, end_s in zip(NUMBERS, ends[one], strict=True):
                session.at(mark_s + end_s, up(number))
        marks_s = [t for t, name in session.run().said if name == "hold"][: labels.index(label) + 1]
    session = Rehearsal(shipped("first-lesson"), people=GROUP, alone=False, always=always)
    for one, mark_s in zip(labels, marks_s, strict=True):
        for number, end_s in zip(NUMBERS, ends[one], strict=True):
            session.at(mark_s + end_s, up(number))
    return session.run()


@pytest.fixture(scope="module")
def lesson() -> Rehearsal:
    return whole_lesson()


def test_a_whole_first_lesson_in_a_group_keeps_what_each_has_done(lesson: Rehearsal) -> None:
    assert lesson.finish is not None
    assert (lesson.finish.code, lesson.finish.reason) == (0, "done")
    assert lesson.ends == {
        ("baseline", 1): 41.0,
        ("baseline", 2): 46.5,
        ("baseline", 3): 52.2,
        ("main", 1): 63.0,
        ("main", 2): 71.7,
        ("main", 3): 88.8,
    }
    assert lesson.beats[("relaxed", 3)] == 21
    assert len(lesson.check_ins) == 6
    assert set(lesson.well.values()) == {"okay"}


def test_the_summary_of_a_group_goes_by_number_and_ranks_nobody(lesson: Rehearsal) -> None:
    assert [v["participant"] for v in lesson.values_of("sum_number")] == [1, 2, 3]
    gains = [v["gain"] for v in lesson.values_of("sum_longer")]
    assert gains == [pytest.approx(22.0), pytest.approx(25.2), pytest.approx(36.6)]  # own baseline
    said = [s.line for _, s in lesson.spoken if isinstance(s, Say) and s.line.startswith("sum_")]
    assert said[0] == "sum_start"


def test_afterwards_whoever_says_a_number_hears_the_own_results() -> None:
    always = everybody()
    always |= {"hold:one": (30.0, heard("stop-all")), "whose:one:30:2": (0.5, heard("yes"))}
    parts = (*one_hold().steps, steps.Comparison("comparison"))
    turns: dict[str, list[tuple[float, Reply]]] = {
        "sum-ask": [
            (0.5, heard(number=2)),
            (0.5, heard(number=7)),
            (0.5, heard(number=3)),
            (0.5, heard("go-on")),
        ]
    }
    session = Rehearsal(plan(*parts), turns, people=GROUP, alone=False, always=always).run()
    told = [v["participant"] for v in session.values_of("sum_number")]
    assert told == [1, 2, 3, 2]  # all in a small group; then two; nobody has seven: silence ends it
    assert session.finish is not None
    assert session.finish.code == 0


@pytest.mark.parametrize("word", ["go-on", "no", "skip"])
def test_nobody_has_to_ask(word: str) -> None:
    always = everybody() | {"hold:one": (30.0, heard("stop-all")), "sum-ask": (0.5, heard(word))}
    parts = (*one_hold().steps, steps.Comparison("comparison"))
    session = Rehearsal(plan(*parts), people=GROUP, alone=False, always=always).run()
    assert session.lines.count("sum_ask") == 1
    assert session.finish is not None
    assert session.finish.code == 0


def test_moments_carry_the_number(lesson: Rehearsal) -> None:
    moments = {s.moment for _, s in lesson.spoken}
    assert {"check-in:main:1", "check-in:main:3", "pulse-ask:before:2"} <= moments

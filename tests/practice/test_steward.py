"""Between sessions: what somebody hears who talks to a coach that stays ready."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.practice.events import (
    Adjust,
    Begin,
    CueDone,
    CueDue,
    Effect,
    Event,
    Finish,
    Heard,
    Interrupted,
    Listen,
    Remind,
    Returned,
    RoomBack,
    Say,
    Schedule,
    Start,
    Tell,
    Told,
    Wait,
)
from coach.practice.steward import QUESTIONS, Standing, Steward
from coach.practice.words import Command, Situation


class Evening:
    """A steward, and somebody who talks to it."""

    def __init__(self, **given: bool) -> None:
        self.steward = Steward(20.0, **given)
        self.now_s = 0.0
        self.effects: list[Effect] = []
        self.give(Begin(0.0))

    def give(self, event: Event) -> list[Effect]:
        """Hand an event over; every line sounds for a second, and is over at once."""
        found = list(self.steward.handle(event))
        self.effects += found
        for say in [effect for effect in found if isinstance(effect, Say)]:
            self.now_s += 1.0
            found += self.give(CueDone(self.now_s, say.cue, self.now_s - 1.0))
        return found

    def say(self, command: str | None = None, number: int | None = None) -> list[Effect]:
        self.now_s += 1.0
        return self.give(Heard(self.now_s + 0.4, self.now_s, self.now_s + 0.3, command, number))

    def silence(self) -> list[Effect]:
        """The last wait runs out."""
        wait = [effect for effect in self.effects if isinstance(effect, Wait)][-1]
        self.now_s = max(self.now_s, wait.at_s)
        return self.give(CueDue(self.now_s, wait.cue))

    def lines(self, effects: list[Effect]) -> list[str]:
        return [effect.line for effect in effects if isinstance(effect, Say)]


@pytest.fixture
def evening() -> Evening:
    return Evening()


def starts(effects: list[Effect]) -> list[Start]:
    return [effect for effect in effects if isinstance(effect, Start)]


def tells(effects: list[Effect]) -> list[Tell]:
    return [effect for effect in effects if isinstance(effect, Tell)]


def test_it_sleeps_until_its_name_is_said(evening: Evening) -> None:
    assert evening.steward.standing is Standing.ASLEEP
    assert Listen(Situation.ASLEEP) in evening.effects
    found = evening.say(Command.WAKE)
    assert evening.lines(found) == ["steward_here"]
    assert Listen(Situation.AWAKE) in found


def test_asleep_it_does_nothing_without_its_name(evening: Evening) -> None:
    for command in (Command.LOUDER, Command.YES, Command.STOP, Command.STOP_ALL):
        assert evening.say(command) == []


def test_it_goes_back_to_sleep_when_nothing_is_wished(evening: Evening) -> None:
    evening.say(Command.WAKE)
    found = evening.silence()
    assert evening.steward.standing is Standing.ASLEEP
    assert evening.lines(found) == ["steward_asleep"]


def test_a_plan_is_started_for_the_person_who_gives_a_number(evening: Evening) -> None:
    evening.say(Command.WAKE)
    assert evening.lines(evening.say(Command.THREE_HOLDS)) == ["steward_who"]
    assert starts(evening.say(Command.NUMBER, 4)) == [Start("three-holds", (4,), alone=True)]


def test_a_plan_can_be_named_with_the_name_at_once(evening: Evening) -> None:
    evening.say(Command.FIRST_LESSON)
    assert starts(evening.say(Command.NUMBER, 1)) == [Start("first-lesson", (1,), alone=True)]


@pytest.mark.parametrize(("answer", "alone"), [(Command.YES, False), (Command.NO, True)])
def test_a_group_is_asked_whether_somebody_is_beside_them(
    evening: Evening, answer: str, alone: bool
) -> None:
    evening.say(Command.FIRST_LESSON)
    assert evening.lines(evening.say(Command.GROUP, 3)) == ["steward_beside"]
    assert starts(evening.say(answer)) == [Start("first-lesson", (1, 2, 3), alone=alone)]


def test_an_oxygen_table_asks_who_is_beside(evening: Evening) -> None:
    evening.say(Command.O2_TABLE)
    assert evening.lines(evening.say(Command.NUMBER, 2)) == ["steward_beside"]


def test_a_number_past_the_largest_group_is_asked_again(evening: Evening) -> None:
    evening.say(Command.FIRST_LESSON)
    found = evening.say(Command.NUMBER, 120)
    assert evening.lines(found) == ["steward_who"]
    assert starts(found) == []


def test_nobody_answers_who_it_is(evening: Evening) -> None:
    evening.say(Command.FIRST_LESSON)
    evening.silence()
    evening.silence()
    assert evening.steward.standing is Standing.ASLEEP
    assert starts(evening.effects) == []


def test_while_a_session_runs_it_hears_nothing(evening: Evening) -> None:
    evening.say(Command.FIRST_LESSON)
    evening.say(Command.NUMBER, 1)
    assert evening.say(Command.WAKE) == []


def test_after_a_session_it_asks_what_else_and_knows_who_it_was(evening: Evening) -> None:
    evening.say(Command.FIRST_LESSON)
    evening.say(Command.NUMBER, 3)
    assert evening.lines(evening.give(Returned(900.0, 0))) == ["steward_back"]
    assert tells(evening.say(Command.HOW_WAS_IT)) == [Tell(Command.HOW_WAS_IT, 3)]


def test_a_refusal_is_said_with_its_reason(evening: Evening) -> None:
    evening.say(Command.CO2_TABLE)
    evening.say(Command.NUMBER, 1)
    found = evening.give(Returned(20.0, 2, "at most 1 table a day"))
    assert evening.lines(found) == ["steward_refused", "steward_back"]
    assert found[0].values == {"reason": "at most 1 table a day"}  # type: ignore[union-attr]


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_question_is_looked_up_and_told_line_by_line(evening: Evening, question: str) -> None:
    evening.say(Command.WAKE)
    assert tells(evening.say(question)) == [Tell(question, 1)]
    found = evening.give(Told(30.0, (("rev_last_today", {}), ("rev_nothing", {}))))
    assert evening.lines(found) == ["rev_last_today", "rev_nothing", "steward_back"]


def test_a_proposal_is_taken(evening: Evening) -> None:
    evening.say(Command.WAKE)
    evening.say(Command.NEXT_SESSION)
    found = evening.give(Told(30.0, (("next_comfort", {}),), "comfort-hold"))
    assert evening.lines(found) == ["next_comfort", "steward_shall"]
    assert starts(evening.say(Command.YES)) == [Start("comfort-hold", (1,), alone=True)]


def test_a_proposal_is_declined_and_another_one_made(evening: Evening) -> None:
    evening.say(Command.WAKE)
    evening.say(Command.NEXT_SESSION)
    evening.give(Told(30.0, (("next_comfort", {}),), "comfort-hold"))
    again = tells(evening.say(Command.NO))
    assert again == [Tell(Command.NEXT_SESSION, 1, frozenset({"comfort-hold"}))]


def test_it_does_not_propose_for_ever(evening: Evening) -> None:
    evening.say(Command.WAKE)
    evening.say(Command.NEXT_SESSION)
    for plan in ("comfort-hold", "three-holds", "relaxation"):
        evening.give(Told(30.0, (("next_comfort", {}),), plan))
        evening.say(Command.NO)
    found = evening.give(Told(60.0, (("next_relaxation", {}),), "co2-table"))
    assert evening.lines(found)[-1] == "steward_back"


def test_an_oxygen_table_that_is_proposed_asks_who_is_beside(evening: Evening) -> None:
    evening.say(Command.NEXT_SESSION)
    evening.give(Told(30.0, (("next_o2", {}),), "o2-table"))
    assert evening.lines(evening.say(Command.YES)) == ["steward_beside"]


def test_its_voice_is_changed_when_awake(evening: Evening) -> None:
    evening.say(Command.WAKE)
    assert Adjust("volume", 1) in evening.say(Command.LOUDER)
    assert Adjust("speed", -1) in evening.say(Command.SLOWER)


def test_help_says_what_can_be_said_and_asks_on(evening: Evening) -> None:
    evening.say(Command.WAKE)
    assert evening.lines(evening.say(Command.HELP)) == ["help_awake", "steward_here"]
    evening.say(Command.FIRST_LESSON)
    assert evening.lines(evening.say(Command.HELP)) == ["help_who", "steward_who"]


def test_good_night_sends_it_to_sleep(evening: Evening) -> None:
    evening.say(Command.WAKE)
    assert evening.lines(evening.say(Command.SLEEP)) == ["steward_asleep"]
    assert evening.steward.standing is Standing.ASLEEP


def test_stop_ends_what_it_is_telling(evening: Evening) -> None:
    evening.say(Command.WAKE)
    evening.say(Command.HOW_WAS_IT)
    evening.say(Command.STOP)
    assert evening.steward.standing is Standing.ASLEEP


def test_in_a_scene_good_night_ends_it() -> None:
    evening = Evening(sleeps_for_good=True)
    evening.say(Command.WAKE)
    assert Finish(0, "done") in evening.say(Command.SLEEP)
    assert evening.say(Command.WAKE) == []


def test_a_signal_ends_it(evening: Evening) -> None:
    assert Finish(0, "done") in evening.give(Interrupted(5.0))


def test_it_reminds_once_and_stays_asleep(evening: Evening) -> None:
    assert evening.lines(evening.give(Remind(50.0))) == ["steward_reminder"]
    assert evening.steward.standing is Standing.ASLEEP


@pytest.mark.parametrize("day", ["mo", "su", "never"])
def test_practice_days_are_set_by_voice(evening: Evening, day: str) -> None:
    evening.say(Command.WAKE)
    assert Schedule(day) in evening.say(f"remind-{day}")
    found = evening.give(Told(9.0, ((f"remind_{day}", {}),)))
    assert evening.lines(found) == [f"remind_{day}", "steward_back"]


def test_a_room_that_is_back_finds_it_asleep_and_listening(evening: Evening) -> None:
    evening.say(Command.WAKE)
    evening.give(RoomBack(60.0))
    assert evening.steward.standing is Standing.ASLEEP


EVENTS = st.one_of(
    st.builds(
        lambda at, command, number: Heard(at, at, at, command, number),
        st.floats(0, 1e4),
        st.sampled_from([*Command, None]),
        st.none() | st.integers(0, 300),
    ),
    st.builds(CueDone, st.floats(0, 1e4), st.integers(0, 40), st.none() | st.floats(0, 1e4)),
    st.builds(CueDue, st.floats(0, 1e4), st.integers(0, 40)),
    st.builds(Returned, st.floats(0, 1e4), st.integers(0, 2), st.sampled_from(["", "no"])),
    st.builds(
        Told,
        st.floats(0, 1e4),
        st.just((("rev_nothing", {}),)),
        st.sampled_from(["", "three-holds", "o2-table"]),
    ),
    st.builds(Remind, st.floats(0, 1e4)),
    st.builds(RoomBack, st.floats(0, 1e4)),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(EVENTS, max_size=40))
def test_nothing_makes_it_fall_over_and_a_signal_always_ends_it(events: list[Event]) -> None:
    steward = Steward()
    steward.handle(Begin(0.0))
    for event in events:
        steward.handle(event)
    effects = steward.handle(Interrupted(1e4))
    assert [effect for effect in effects if isinstance(effect, Finish)]

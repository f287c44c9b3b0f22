"""Between sessions: woken by name, asked for plans and answers, silent when nobody wants it."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.practice.events import (
    Adjust,
    Begin,
    CueDone,
    CueDue,
    Drop,
    Effect,
    Event,
    Finish,
    Heard,
    Interrupted,
    Listen,
    Prefer,
    Remind,
    Returned,
    RoomBack,
    RoomLost,
    Say,
    Schedule,
    Start,
    Tell,
    Told,
    Unclear,
    Value,
    Wait,
)
from coach.practice.steward import LARGEST_GROUP, MOST_PROPOSALS, Standing, Steward
from coach.practice.words import Command

Lines = tuple[tuple[str, Mapping[str, Value]], ...]


class Night:
    """A steward on virtual time: every line takes a second, every wait comes when nobody speaks."""

    def __init__(self, steward: Steward | None = None) -> None:
        self.steward = steward or Steward()
        self.now_s = 0.0
        self.said: list[str] = []
        self.effects: list[Effect] = []
        self.out: dict[int, Say | Wait] = {}
        self.give(Begin(0.0))
        self.quiet()

    def give(self, event: Event) -> Night:
        for effect in self.steward.handle(event):
            self.effects.append(effect)
            match effect:
                case Say():
                    self.said.append(effect.line)
                    self.out[effect.cue] = effect
                case Wait():
                    self.out[effect.cue] = effect
                case Drop():
                    self.out.pop(effect.cue, None)
                case _:
                    pass
        return self

    def quiet(self) -> Night:
        """Until everything that is being said has been said."""
        while says := [cue for cue, effect in self.out.items() if isinstance(effect, Say)]:
            del self.out[says[0]]
            self.now_s += 1.0
            self.give(CueDone(self.now_s, says[0], self.now_s - 1.0))
        return self

    def wait(self) -> Night:
        """Until the next wait runs out, and what is said then is over."""
        cue, effect = next((c, e) for c, e in self.out.items() if isinstance(e, Wait))
        del self.out[cue]
        self.now_s = max(self.now_s, effect.at_s)
        self.give(CueDue(self.now_s, cue))
        return self.quiet()

    def hear(self, *commands: str, number: int | None = None) -> Night:
        for command in commands or (None,):
            self.give(Heard(self.now_s, self.now_s, self.now_s, command, number))
            self.quiet()
        return self

    def last(self, kind: type[Effect]) -> Effect:
        return [effect for effect in self.effects if isinstance(effect, kind)][-1]

    @property
    def situation(self) -> str:
        heard = self.last(Listen)
        assert isinstance(heard, Listen)
        return heard.situation

    @property
    def standing(self) -> Standing:
        return self.steward.standing


def test_it_is_asleep_and_says_how_to_wake_it() -> None:
    night = Night()
    assert night.standing is Standing.ASLEEP
    assert night.said == ["steward_asleep"]
    assert night.situation == "asleep"


@pytest.mark.parametrize("word", ["yes", "stop", "louder", "start", "okay", "go-on"])
def test_asleep_it_does_nothing_without_its_name(word: str) -> None:
    night = Night().hear(word)
    assert night.standing is Standing.ASLEEP
    assert night.said == ["steward_asleep"]


def test_its_name_wakes_it_and_it_sleeps_again_when_nobody_wants_anything() -> None:
    night = Night().hear("wake")
    assert (night.standing, night.situation) == (Standing.AWAKE, "awake")
    assert night.said[-1] == "steward_here"
    since_s = night.now_s
    night.wait()
    assert night.standing is Standing.ASLEEP
    assert night.now_s - since_s >= 20.0


def test_how_long_it_stays_awake_is_configured() -> None:
    night = Night(Steward(awake_s=5.0)).hear("wake")
    since_s = night.now_s
    night.wait()
    assert night.now_s - since_s == pytest.approx(6.0, abs=1.0)


@pytest.mark.parametrize("plan", ["first-lesson", "co2-table", "relaxation", "morning-pulse"])
def test_a_plan_is_started_for_whoever_is_there(plan: str) -> None:
    night = Night().hear("wake", f"plan-{plan}")
    assert (night.standing, night.situation) == (Standing.ASKING_WHO, "who")
    night.hear(number=2)
    assert night.last(Start) == Start(plan, (2,), alone=True)
    assert night.standing is Standing.AWAY


def test_a_plan_can_be_asked_for_behind_the_name() -> None:
    night = Night().hear("plan-three-holds")
    assert night.standing is Standing.ASKING_WHO


def test_who_does_not_answer_is_asked_again_and_then_left_in_peace() -> None:
    night = Night().hear("wake", "plan-relaxation").wait()
    assert night.said.count("steward_who") == 2
    assert night.wait().standing is Standing.ASLEEP
    assert not any(isinstance(e, Start) for e in night.effects)


@pytest.mark.parametrize("number", [0, LARGEST_GROUP + 1, 240])
def test_a_number_that_nobody_has_is_asked_again(number: int) -> None:
    night = Night().hear("plan-relaxation").hear(number=number)
    assert night.standing is Standing.ASKING_WHO
    assert night.said.count("steward_who") == 2


@pytest.mark.parametrize(("word", "alone"), [("yes", False), ("no", True)])
def test_a_group_says_how_many_and_whether_somebody_is_beside(word: str, alone: bool) -> None:
    night = Night().hear("plan-first-lesson").hear("group", number=3)
    assert night.standing is Standing.ASKING_BESIDE
    night.hear(word)
    assert night.last(Start) == Start("first-lesson", (1, 2, 3), alone)


def test_an_o2_table_asks_whether_somebody_is_beside() -> None:
    night = Night().hear("plan-o2-table").hear(number=1)
    assert night.standing is Standing.ASKING_BESIDE
    assert night.hear("no").last(Start) == Start("o2-table", (1,), alone=True)


def test_other_words_answer_neither_question() -> None:
    night = Night().hear("plan-o2-table", "okay", "yes").hear(number=1).hear("okay", "start")
    assert night.standing is Standing.ASKING_BESIDE
    assert not any(isinstance(e, Start) for e in night.effects)


def test_in_a_session_it_hears_nothing_and_afterwards_asks_what_else() -> None:
    night = Night().hear("plan-relaxation").hear(number=1)
    night.hear("wake", "plan-first-lesson", "stop", "sleep")
    assert night.standing.value == "away"
    night.give(Returned(500.0, 0)).quiet()
    assert night.standing is Standing.AWAKE
    assert night.said[-1] == "steward_back"
    assert night.situation == "awake"  # the session had turned the ear


def test_a_refusal_is_told_with_its_reason() -> None:
    night = Night().hear("plan-co2-table").hear(number=1)
    night.give(Returned(9.0, 2, "one table a day")).quiet()
    told = next(e for e in night.effects if isinstance(e, Say) and e.line == "steward_refused")
    assert told.values == {"reason": "one table a day"}
    assert night.standing is Standing.AWAKE


# --- questions about what was kept

ANSWER: Lines = (("rev_none", {}), ("sum_number", {"participant": 1}))


@pytest.mark.parametrize("question", ["how-was-it", "best-month", "compare-week", "my-pulse"])
def test_a_question_is_looked_up_and_the_answer_spoken(question: str) -> None:
    night = Night().hear(question)
    assert night.last(Tell) == Tell(question, 1, frozenset())
    assert night.standing.value == "telling"
    night.give(Told(night.now_s, ANSWER)).quiet()
    assert night.said[-3:] == ["rev_none", "sum_number", "steward_back"]
    assert night.standing is Standing.AWAKE


def test_whoever_practised_last_is_meant() -> None:
    night = Night().hear("plan-relaxation").hear(number=4).give(Returned(9.0, 0)).quiet()
    asked = night.hear("my-pulse").last(Tell)
    assert asked == Tell("my-pulse", 4, frozenset())


def test_a_number_asks_for_the_results_of_that_person() -> None:
    asked = Night().hear("wake").hear("number", number=4).last(Tell)
    assert asked == Tell("how-was-it", 4, frozenset())


def test_an_answer_without_lines_ends_in_the_question_what_else() -> None:
    night = Night().hear("how-was-it").give(Told(5.0, ())).quiet()
    assert night.said[-1] == "steward_back"


def test_a_long_answer_can_be_cut_short() -> None:
    night = Night()
    night.give(Heard(1.0, 1.0, 1.0, "how-was-it"))
    night.give(Told(2.0, ANSWER))  # the first line sounds
    night.give(Heard(2.5, 2.5, 2.5, "stop"))
    night.quiet()
    assert "sum_number" not in night.said
    assert night.standing is Standing.ASLEEP


@pytest.mark.parametrize(("answer", "badly"), [("yes", False), ("no", True)])
def test_before_a_proposal_it_asks_how_the_night_was(answer: str, badly: bool) -> None:
    night = Night().hear("next-session")
    assert night.said[-1] == "steward_sleep"
    asked = night.hear(answer).last(Tell)
    assert asked == Tell("next-session", 1, frozenset(), slept_badly=badly)


def test_a_proposal_is_begun_after_a_yes() -> None:
    night = Night().hear("next-session", "yes")
    night.give(Told(night.now_s, ANSWER, "three-holds")).quiet()
    assert (night.standing, night.said[-1]) == (Standing.PROPOSING, "steward_shall")
    assert night.hear("yes").last(Start) == Start("three-holds", (1,), alone=True)


def test_a_proposed_o2_table_still_asks_who_is_beside() -> None:
    night = (
        Night().hear("next-session", "yes").give(Told(3.0, ANSWER, "o2-table")).quiet().hear("yes")
    )
    assert night.standing is Standing.ASKING_BESIDE


def test_a_no_asks_for_something_else_and_not_for_ever() -> None:
    night = Night().hear("next-session", "yes")
    for n in range(MOST_PROPOSALS):
        night.give(Told(night.now_s, ANSWER, f"plan {n}")).quiet().hear("no")
        asked = night.last(Tell)
        assert isinstance(asked, Tell)
        assert asked.declined == frozenset(f"plan {m}" for m in range(n + 1))
    night.give(Told(night.now_s, ANSWER, "plan 9")).quiet()
    assert night.standing is Standing.AWAKE
    assert night.hear("next-session", "yes").last(Tell) == Tell("next-session", 1, frozenset())


def test_silence_to_a_proposal_is_no_yes() -> None:
    night = Night().hear("next-session", "yes").give(Told(3.0, ANSWER, "three-holds")).quiet()
    night.wait().wait()
    assert night.standing is Standing.ASLEEP
    assert not any(isinstance(e, Start) for e in night.effects)


# --- reminders, the voice, help, good night


@pytest.mark.parametrize(("number", "day"), [(1, "mo"), (7, "su")])
def test_a_practice_day_is_set_by_its_number(number: int, day: str) -> None:
    night = Night().hear("wake", "remind")
    assert night.said[-1] == "steward_day"
    night.hear("number", number=number)
    assert night.last(Schedule) == Schedule(day)
    night.give(Told(night.now_s, ((f"remind_{day}", {}),))).quiet()
    assert night.said[-2:] == [f"remind_{day}", "steward_back"]


def test_a_day_that_no_week_has_is_asked_again() -> None:
    night = Night().hear("wake", "remind").hear("number", number=8)
    assert night.said[-2:] == ["steward_day", "steward_day"]
    assert not any(isinstance(e, Schedule) for e in night.effects)


@pytest.mark.parametrize(("said", "count"), [("knocks-on", True), ("knocks-off", False)])
def test_whether_knocks_count_is_said_by_voice(said: str, count: bool) -> None:
    assert Night().hear("wake", said).last(Prefer) == Prefer(1, count)


def test_reminders_are_ended_by_voice() -> None:
    assert Night().hear("wake", "remind-never").last(Schedule) == Schedule("never")


def test_a_planned_time_is_reminded_of() -> None:
    night = Night().give(Remind(100.0)).quiet()
    assert night.said[-1] == "steward_reminder"
    assert night.standing is Standing.ASLEEP


def test_a_planned_time_that_was_missed_is_told_as_such() -> None:
    assert Night().give(Remind(100.0, late=True)).quiet().said[-1] == "steward_reminder_late"


def test_the_voice_can_be_changed_when_it_is_awake() -> None:
    night = Night().hear("wake", "softer", "faster")
    assert [e for e in night.effects if isinstance(e, Adjust)] == [
        Adjust("volume", -1),
        Adjust("speed", 1),
    ]
    assert Night().hear("softer").said == ["steward_asleep"]


@pytest.mark.parametrize(
    ("before", "line", "again"),
    [
        (("wake",), "help_awake", "steward_here"),
        (("plan-relaxation",), "help_who", "steward_who"),
        ((), "help_asleep", "help_asleep"),
    ],
)
def test_help_says_what_can_be_said_and_asks_again(
    before: tuple[str, ...], line: str, again: str
) -> None:
    night = Night()
    if before:
        night.hear(*before)
    night.hear("help")
    assert line in night.said
    assert night.said[-1] == again


@pytest.mark.parametrize("word", ["sleep", "stop", "stop-all"])
def test_it_goes_to_sleep_when_it_is_told_to(word: str) -> None:
    night = Night().hear("wake", word)
    assert night.standing is Standing.ASLEEP
    assert night.situation == "asleep"
    assert not any(isinstance(e, Finish) for e in night.effects)


def test_in_a_scene_good_night_is_the_end() -> None:
    night = Night(Steward(sleeps_for_good=True)).hear("wake", "stop")
    assert night.standing is Standing.ASLEEP
    night.hear("sleep")
    assert night.last(Finish) == Finish(0, "done")
    assert night.steward.handle(Heard(99.0, 99.0, 99.0, "wake")) == ()


def test_it_can_be_ended_from_outside() -> None:
    night = Night().give(Interrupted(5.0))
    assert night.last(Finish) == Finish(0, "done")


def test_a_room_that_is_back_finds_it_asleep() -> None:
    night = Night().hear("wake").give(RoomLost(5.0, "microphone")).give(RoomBack(9.0)).quiet()
    assert night.standing is Standing.ASLEEP


EVENTS: st.SearchStrategy[Event] = st.one_of(
    st.builds(
        Heard,
        st.floats(0, 500),
        st.floats(0, 500),
        st.floats(0, 500),
        st.one_of(st.none(), st.sampled_from([c.value for c in Command])),
        st.one_of(st.none(), st.integers(0, 300)),
    ),
    st.builds(Told, st.floats(0, 500), st.just(ANSWER), st.sampled_from(["", "o2-table"])),
    st.builds(Returned, st.floats(0, 500), st.integers(0, 2), st.sampled_from(["", "not today"])),
    st.builds(CueDone, st.floats(0, 500), st.integers(0, 30), st.floats(0, 500)),
    st.builds(CueDue, st.floats(0, 500), st.integers(0, 30)),
    st.builds(Unclear, st.floats(0, 500), st.floats(0, 500), st.floats(0, 500)),
    st.builds(Remind, st.floats(0, 500)),
    st.builds(RoomBack, st.floats(0, 500)),
    st.builds(RoomLost, st.floats(0, 500), st.just("microphone")),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(EVENTS, max_size=40))
def test_no_order_of_events_raises_or_starts_anything_for_nobody(events: list[Event]) -> None:
    night = Night()
    for event in events:
        night.give(event)
    for effect in night.effects:
        if isinstance(effect, Start):
            assert effect.participants
            assert all(1 <= number <= LARGEST_GROUP for number in effect.participants)
            assert effect.plan
    night.give(Interrupted(600.0))
    assert night.standing is Standing.OVER

"""The stage: cues, listening, keeping, and what "repeat" is about."""

from __future__ import annotations

import pytest

from coach.practice.events import Drop, Heard, Hush, Keep, Knocks, Listen, Rank, Say, Wait
from coach.practice.kept import CLOCK, Hold, Note
from coach.practice.safety import Limits, Person
from coach.practice.stage import Ledger, Stage, spoken
from coach.practice.words import Situation


def stage(people: int = 1) -> Stage:
    return Stage([Person(n) for n in range(1, people + 1)], Limits(), True, people > 1)


def held(label: str, number: int, participant: int = 1, end_s: float | None = 50.0) -> Hold:
    key = f"hold:{label}:{participant}"
    return Hold(key, participant, label, "relaxed", number, 10.0, end_s, "word", (), None, CLOCK)


def test_a_later_value_with_the_same_key_takes_the_place_of_the_earlier() -> None:
    ledger = Ledger()
    ledger.add(held("one", 1, end_s=None))
    ledger.add(held("two", 2))
    ledger.add(held("one", 1, end_s=44.0))
    assert [hold.label for hold in ledger.holds] == ["one", "two"]  # in the order of their begin
    assert ledger.holds[0].duration_s == 34.0


def test_an_open_end_has_no_length() -> None:
    assert held("one", 1, end_s=None).duration_s is None


def test_a_fresh_key_never_takes_the_place_of_anything() -> None:
    ledger = Ledger()
    keys = []
    for _ in range(4):
        key = ledger.fresh("check-in:one:1")
        keys.append(key)
        ledger.add(Note(key, 1, "x", "", 0.0))
    assert keys == ["check-in:one:1", *(f"check-in:one:1#{n}" for n in (2, 3, 4))]
    assert ledger.fresh("check-in:one:11") == "check-in:one:11"


def test_the_last_hold_is_everybodys_latest() -> None:
    ledger = Ledger()
    assert ledger.last_holds == []
    for number, label in ((1, "one"), (2, "two")):
        for participant in (1, 2):
            ledger.add(held(label, number, participant))
    assert [(h.label, h.participant) for h in ledger.last_holds] == [("two", 1), ("two", 2)]


def test_moments_carry_a_number_only_in_a_group() -> None:
    assert stage().moment("ready:one", 1) == "ready:one"
    assert stage(3).moment("ready:one", 2) == "ready:one:2"


def test_every_cue_is_fresh() -> None:
    one = stage()
    cues = [one.say("welcome"), one.sound("hold"), one.wait(5.0), one.cue()]
    assert len(set(cues)) == 4
    assert [type(e) for e in one.effects][:1] == [Say]
    assert isinstance(one.effects[2], Wait)


def test_the_ear_is_turned_only_when_something_changes() -> None:
    one = stage()
    one.listen(Situation.ANYTIME)
    one.listen(Situation.ANYTIME)
    one.listen(Situation.ANYTIME, Knocks.BEATS)
    one.listen(Situation.ANYTIME)
    assert one.effects == [
        Listen("anytime", Knocks.OFF),
        Listen("anytime", Knocks.BEATS),
        Listen("anytime", Knocks.OFF),
    ]


def test_no_cue_is_no_cue_to_be_dropped() -> None:
    one = stage()
    one.drop(None, 7, None)
    one.hush(Rank.SAFETY)
    assert one.effects == [Drop(7), Hush(Rank.SAFETY)]


def test_what_is_kept_is_known_and_sent() -> None:
    one = stage()
    one.now_s = 12.5
    one.note("skipped", "round 2")
    one.note("paused")
    kept = [e.kept for e in one.effects if isinstance(e, Keep)]
    assert kept == one.ledger.notes
    assert [(n.what, n.detail, n.at_s) for n in one.ledger.notes] == [
        ("skipped", "round 2", 12.5),
        ("paused", "", 12.5),
    ]


@pytest.mark.parametrize(("rank", "remembered"), [
    (Rank.TALK, False), (Rank.GUIDANCE, True), (Rank.TIMING, False), (Rank.SAFETY, True),
])  # fmt: skip
def test_remarks_and_calls_are_not_what_repeat_is_about(rank: Rank, remembered: bool) -> None:
    one = stage()
    one.say("welcome", rank=rank)
    assert (one.last_line is not None) == remembered


def test_a_line_that_is_still_to_come_is_not_the_last_one() -> None:
    one = stage()
    one.say("welcome")
    cue = one.say("settle", at_s=30.0)
    assert one.last_line == ("welcome", {})
    one.now_s = 31.0
    assert one.last_line == ("settle", {})
    one.drop(cue)  # it has begun: it stays what was said last
    assert one.last_line == ("settle", {})


def test_the_source_of_what_was_spoken() -> None:
    source = spoken(Heard(3.0, 2.2, 2.6, "done", text="three up", confidence=0.83))
    assert (source.by, source.phrase, source.confidence) == ("voice", "three up", 0.83)
    assert (source.onset_s, source.noticed_s) == (2.2, 3.0)

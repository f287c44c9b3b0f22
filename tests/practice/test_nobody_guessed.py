"""Groups by chance: what is kept of each person is the truth, or it is unknown; never wrong.

The ear of these tests is a poor one: calls that overlap are one unclear sound, or only the number
of one of them; some call without a number; some call again because they were not heard; others
talk. Afterwards people answer as they know: about a time that is theirs with yes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.practice.safety import Person
from tests.practice.plans import CLEARING, RECOVERY, hold, plan
from tests.practice.rehearsal import Rehearsal, Replies, cooperative, heard, unclear

OVERLAP_S = 0.6  # calls this close are one sound for the ear
NEAR_S = 1.0  # as well as somebody knows the time of the own call
CAP_S = 120.0
LESSON = plan(CLEARING, hold(cap_s=CAP_S), RECOVERY)


@dataclass(frozen=True, slots=True)
class Call:
    """One person comes up: when, and whether with the number."""

    number: int
    at_s: float
    named: bool = True


def willing(calls: list[Call]) -> Replies:
    """Everybody is cleared and well, and answers truly about every time that is asked about."""
    always = {k: v for k, v in cooperative(["one"]).items() if not k.startswith("hold")}
    for call in calls:
        number = call.number
        always[f"clearing:any-of-these:{number}"] = (0.5, heard("no"))
        always[f"check-in:one:{number}"] = (1.0, heard("okay"))
        always[f"twice:one:{number}"] = (0.5, heard("no"))
        for second in range(int(CAP_S) + 2):
            mine = abs(second - call.at_s) <= NEAR_S
            always[f"whose:one:{second}:{number}"] = (0.5, heard("yes" if mine else "no"))
    return always


def played(calls: list[Call], talk_s: tuple[float, ...] = ()) -> Rehearsal:
    """The hold as the poor ear hears it."""

    def fresh() -> Rehearsal:
        people = [Person(call.number) for call in sorted(calls, key=lambda call: call.number)]
        return Rehearsal(LESSON, people=people, alone=False, always=willing(calls))

    mark_s = fresh().run().time_of("hold")
    session = fresh()
    groups: list[list[Call]] = []
    for call in sorted(calls, key=lambda call: call.at_s):
        if groups and call.at_s - groups[-1][-1].at_s < OVERLAP_S:
            groups[-1].append(call)
        else:
            groups.append([call])
    for together in groups:
        first = together[0]
        if len(together) > 1:
            session.at(mark_s + first.at_s, unclear())
        else:
            session.at(
                mark_s + first.at_s, heard("done", who=first.number if first.named else None)
            )
    for at_s in talk_s:
        session.at(mark_s + at_s, unclear())
    return session.run()


def nothing_is_wrong(session: Rehearsal, calls: list[Call]) -> int:
    """How many ends are known; each of them is the person's own."""
    true_s = {call.number: call.at_s for call in calls}
    kept = {hold.participant: hold.duration_s for hold in session.holds}
    assert kept.keys() == true_s.keys()
    for number, kept_s in kept.items():
        if kept_s is not None:
            assert abs(kept_s - true_s[number]) <= NEAR_S + 0.5, (number, kept_s, true_s[number])
    assert session.finish is not None
    assert session.finish.code == 0
    assert len(session.check_ins) == len(calls)
    return sum(1 for kept_s in kept.values() if kept_s is not None)


TIMES = st.floats(5.0, CAP_S - 5.0).map(lambda at_s: round(at_s, 1))


@settings(max_examples=60, deadline=None)
@given(
    times=st.lists(TIMES, min_size=2, max_size=6),
    named=st.lists(st.booleans(), min_size=6, max_size=6),
    talk=st.lists(TIMES, max_size=3),
)
def test_no_end_is_ever_wrong(times: list[float], named: list[bool], talk: list[float]) -> None:
    calls = [Call(n, at_s, named[n - 1]) for n, at_s in enumerate(times, 1)]
    nothing_is_wrong(played(calls, tuple(talk)), calls)


@settings(max_examples=30, deadline=None)
@given(times=st.lists(TIMES, min_size=2, max_size=8, unique=True))
def test_calls_with_numbers_that_stand_alone_are_all_known(times: list[float]) -> None:
    """Nobody near anybody: every end is known at once, and nobody is asked anything."""
    ordered = sorted(times)
    calls = [Call(n, at_s) for n, at_s in enumerate(ordered, 1)]
    if any(b - a < 2.0 for a, b in pairwise(ordered)):
        nothing_is_wrong(played(calls), calls)
        return
    session = played(calls)
    assert nothing_is_wrong(session, calls) == len(calls)
    assert "whose_time" not in session.lines
    assert session.ends == {("one", call.number): call.at_s for call in calls}


@pytest.mark.parametrize("size", [3, 8, 20])
@pytest.mark.parametrize("seed", range(4))
def test_groups_of_three_eight_and_twenty(size: int, seed: int) -> None:
    random = Random(seed * 100 + size)
    calls = [
        Call(n, round(random.uniform(20.0, CAP_S - 10.0), 1), random.random() < 0.9)
        for n in range(1, size + 1)
    ]
    session = played(calls)
    known = nothing_is_wrong(session, calls)
    assert known >= size * 0.6  # and most of them are not merely unknown


@pytest.mark.parametrize("seed", range(6))
def test_two_at_the_same_moment_get_the_same_time_after_a_yes_each(seed: int) -> None:
    random = Random(seed)
    at_s = round(random.uniform(20.0, 90.0), 1)
    calls = [Call(1, at_s), Call(2, at_s + 0.3), Call(3, at_s + 20.0)]
    session = played(calls)
    assert nothing_is_wrong(session, calls) == 3
    asked = [v["participant"] for v in session.values_of("whose_time")]
    assert asked[:2] == [1, 2]
    assert 3 not in asked

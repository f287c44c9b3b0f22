"""The window for an answer after a hold.

Borrowed from a rule for competition in water, and said to be: an athlete has 15 s after surfacing
to show, unaided, that he is well (AIDA competition rules, surface protocol). On dry land nobody
judges; here the window decides when the coach begins to worry. The watch of at least 30 s after
breathing resumes: Alert Diver, spring 2016, p. 53.
"""

from __future__ import annotations

import pytest

from coach.practice.events import Heard
from coach.practice.safety import HARD_CHECK_IN_S, HARD_WATCH_S, Limits
from tests.practice.plans import one_hold
from tests.practice.rehearsal import Rehearsal, cooperative, heard


def answered(after_s: float, limits: Limits | None = None) -> Rehearsal:
    always = {k: v for k, v in cooperative(["one"]).items() if not k.startswith("check-in")}
    replies = {"check-in:one": [(after_s, heard("okay"))]}
    return Rehearsal(one_hold(), replies, always=always, limits=limits or Limits()).run()


def test_an_answer_after_14_9_s_passes() -> None:
    session = answered(14.9)
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (0, "done")
    assert session.check_ins[0].reply_after_s == pytest.approx(14.9)
    assert session.escalations == []
    assert "alarm" not in session.lines


@pytest.mark.parametrize("after_s", [15.1, 15.7, 16.5, 30.0])
def test_an_answer_after_15_1_s_escalates(after_s: float) -> None:
    session = answered(after_s)
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, "late answer")
    assert session.check_ins[0].answer == "okay"
    assert session.escalations


def test_a_word_that_began_in_time_passes_however_slow_the_ear() -> None:
    """The alarm waits a second for the ear; a slower one stops it, and the answer counts."""

    def slow(onset_s: float) -> Heard:
        return Heard(onset_s + 2.5, onset_s, onset_s + 0.4, "okay", text="okay")

    always = {k: v for k, v in cooperative(["one"]).items() if not k.startswith("check-in")}
    session = Rehearsal(one_hold(), {"check-in:one": [(14.9, slow)]}, always=always).run()
    assert session.finish is not None
    assert session.finish.code == 0
    assert session.lines.count("alarm") == 1


def test_a_stricter_window_is_kept_as_strictly() -> None:
    strict = Limits(check_in_s=8.0)
    assert answered(7.9, strict).escalations == []
    assert answered(8.1, strict).escalations


def test_the_window_and_the_watch_are_those_of_the_sources() -> None:
    assert HARD_CHECK_IN_S == 15.0
    assert HARD_WATCH_S == 30.0


def test_nobody_is_asked_before_30_s_of_breathing() -> None:
    session = answered(1.0)
    end_s = session.holds[0].end_s
    assert end_s is not None
    assert session.time_of("check_in") - end_s >= 30.0

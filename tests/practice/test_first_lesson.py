"""A whole first lesson, alone: what is done, in which order, and what is kept of it."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from coach.practice.events import Listen, Rank, Say, Sound
from coach.practice.kept import Hold
from tests.practice.plans import shipped
from tests.practice.rehearsal import Rehearsal, Replies, cooperative, heard, knocked

LESSON = shipped("first-lesson")
WILLING = cooperative(["baseline", "main"], {"before": 18, "relaxed": 15}) | {
    "hold:baseline": (47.3, heard("done")),
    "hold:main": (73.4, knocked(2)),
}


def lesson(**other: Any) -> Rehearsal:
    replies: Replies = WILLING | other
    return Rehearsal(LESSON, always=replies).run()


@pytest.fixture(scope="module")
def played() -> Rehearsal:
    return lesson()


def test_the_lesson_comes_to_its_end(played: Rehearsal) -> None:
    assert played.finish is not None
    assert (played.finish.code, played.finish.reason) == (0, "done")
    assert played.lines[-1] == "farewell"
    assert played.now_s < 600


def test_the_order_is_the_one_that_is_taught(played: Rehearsal) -> None:
    order = [
        "welcome",
        "safety_land",
        "clear_dry",
        "clear_surgery",
        "settle",
        "ready",
        "hold",
        "hold_ended",
        "recovery_start",
        "check_in",
        "count",
        "count-end",
        "pulse_ask",
        "relax_weight",
        "relax_return",
        "breathe_up",
        "full_breath_in",
        "sum_start",
        "farewell",
    ]
    first = [played.lines.index(name) for name in order]
    assert first == sorted(first)


def test_nothing_is_said_before_the_first_question_that_asks_for_a_hold(played: Rehearsal) -> None:
    assert played.lines.index("hold") > played.lines.index("clear_surgery")


def test_holds_are_kept_to_the_onset_of_word_and_knock(played: Rehearsal) -> None:
    assert played.ends == {("baseline", 1): 47.3, ("main", 1): 73.4}
    assert [hold.ended_by for hold in played.holds] == ["word", "knock"]
    assert [hold.kind for hold in played.holds] == ["baseline", "main"]
    assert [hold.number for hold in played.holds] == [1, 2]


def test_the_source_tells_when_it_sounded_and_when_it_was_noticed(played: Rehearsal) -> None:
    source = played.holds[0].source
    assert (source.by, source.phrase, source.confidence) == ("voice", "done", 1.0)
    assert source.onset_s == played.holds[0].end_s
    assert source.onset_s is not None
    assert source.noticed_s == pytest.approx(source.onset_s + 0.4)
    assert played.holds[1].source.by == "knock"


def test_calls_fall_on_every_tenth_second_of_the_hold(played: Rehearsal) -> None:
    said = [elapsed_s for _, elapsed_s in played.calls]
    assert said == [10, 20, 30, 40, 10, 20, 30, 40, 50, 60, 70]
    for began_s, elapsed_s in played.calls:
        assert began_s == pytest.approx(elapsed_s, abs=1e-6)


def test_no_call_comes_after_the_end_of_a_hold(played: Rehearsal) -> None:
    for at_s, name in played.said:
        if name == "time_call":
            inside = [h for h in played.holds if h.start_s < at_s and h.end_s and at_s < h.end_s]
            assert inside


def test_the_length_is_said_after_the_hold_and_is_on_the_disk_before(played: Rehearsal) -> None:
    said = played.values_of("hold_result")
    assert [v["held"] for v in said] == [pytest.approx(47.3), pytest.approx(73.4)]
    kinds = [e for _, e in played.effects]
    for end in ("baseline", "main"):
        keeps = [
            i
            for i, e in enumerate(kinds)
            if isinstance(k := getattr(e, "kept", None), Hold) and k.label == end and k.end_s
        ]
        tells = [i for i, e in enumerate(kinds) if isinstance(e, Say) and e.line == "hold_result"]
        assert any(keeps[0] < i for i in tells)


def test_counts_are_kept_after_a_yes(played: Rehearsal) -> None:
    before, relaxed = played.pulses
    assert (before.beats, before.bpm, before.place) == (18, 72.0, "before")
    assert (relaxed.beats, relaxed.bpm, relaxed.place) == (15, 60.0, "relaxed")
    assert not before.corrected
    assert before.source.phrase == ""
    assert before.source.noticed_s is not None
    assert before.source.noticed_s < played.time_of("kept")


def test_the_window_lies_exactly_between_two_tones(played: Rehearsal) -> None:
    for pulse, which in zip(played.pulses, (0, 1), strict=True):
        assert pulse.start_s == played.time_of("count", which)
        assert played.time_of("count-end", which) - pulse.start_s == pytest.approx(15.0, abs=1e-6)


def test_breathing_is_watched_before_the_check_in(played: Rehearsal) -> None:
    for which, hold in enumerate(played.holds):
        assert hold.end_s is not None
        assert played.time_of("check_in", which) - hold.end_s >= 30.0
    assert played.well == {("baseline", 1): "okay", ("main", 1): "okay"}
    assert [c.asked for c in played.check_ins] == [1, 1]
    assert [c.reply_after_s for c in played.check_ins] == [pytest.approx(1.0)] * 2


def test_the_breathe_up_is_slow_and_has_one_full_breath(played: Rehearsal) -> None:
    start_s, end_s = played.time_of("breathe_up"), played.time_of("ready", 1)
    inside = [(t, name) for t, name in played.said if start_s < t < end_s]
    breaths = [t for t, name in inside if name in ("breathe_in", "breathe-in", "full_breath_in")]
    gaps = {round(b - a, 6) for a, b in pairwise(breaths)}
    assert gaps == {10.0}  # six a minute
    outs = [t for t, name in inside if name in ("breathe_out", "breathe-out", "full_breath_out")]
    for breath_in, breath_out in zip(breaths, outs, strict=True):
        assert breath_out - breath_in == pytest.approx(4.0)  # out for six: longer than in
    assert [name for _, name in inside].count("full_breath_in") == 1
    assert end_s - start_s == pytest.approx(70.0, abs=1.5)


def test_relaxation_is_mostly_silence(played: Rehearsal) -> None:
    start_s = played.time_of("relax_weight")
    said = [t for t, name in played.said if start_s <= t < start_s + 118 and "relax" in name]
    assert len(said) == 7
    assert played.time_of("relax_return") - played.time_of("relax_quiet") == pytest.approx(50.0)


def test_the_comparison_says_what_was_kept_with_its_cautions(played: Rehearsal) -> None:
    assert played.values_of("sum_baseline")[0]["held"] == pytest.approx(47.3)
    assert played.values_of("sum_longer")[0]["gain"] == pytest.approx(26.1)
    assert played.values_of("sum_pulse_two")[0] == {"before": 72, "after": 60, "difference": 12}
    assert "sum_pulse_differs" in played.lines
    assert "sum_caution" in played.lines


def test_the_ear_is_turned_to_what_may_be_answered(played: Rehearsal) -> None:
    turned = [e.situation for _, e in played.effects if isinstance(e, Listen)]
    wanted = ["anytime", "question", "ready", "hold", "check-in", "number"]
    assert [s for i, s in enumerate(turned) if s not in turned[:i]] == wanted


def test_safety_speaks_with_the_highest_rank(played: Rehearsal) -> None:
    for _, effect in played.effects:
        if isinstance(effect, Say) and effect.line.startswith(("clear_", "check_in", "hold_ended")):
            assert effect.rank is Rank.SAFETY or effect.line == "check_in_thanks"
        if isinstance(effect, Sound) and effect.name in ("hold", "count", "count-end"):
            assert effect.rank is Rank.TIMING


def test_the_same_lesson_is_the_same_again() -> None:
    assert lesson().effects == lesson().effects


def test_a_count_that_was_misheard_is_corrected_by_voice() -> None:
    corrections = {
        "pulse-ask:before": [(1.0, heard(number=50))],
        "pulse-read:before": [(1.0, heard("no", number=15)), (1.0, heard("yes"))],
    }
    always = {k: v for k, v in WILLING.items() if k not in corrections}
    pulse = Rehearsal(LESSON, corrections, always=always).run().pulses[0]
    assert (pulse.beats, pulse.bpm) == (15, 60.0)
    assert (pulse.first_heard, pulse.corrected) == (50, True)


def test_a_participant_who_says_nothing_at_all_is_left_in_peace() -> None:
    silent = Rehearsal(LESSON).run()
    assert silent.finish is not None
    assert (silent.finish.code, silent.finish.reason) == (1, "not cleared")
    assert silent.lines.count("clear_dry") == 3
    assert "hold" not in silent.lines
    assert silent.answers == {("dry", 0): "none"}


@pytest.mark.parametrize("moment", ["hold:baseline", "hold:main"])
def test_nobody_is_led_past_the_cap(moment: str) -> None:
    capped = Rehearsal(LESSON, always={k: v for k, v in WILLING.items() if k != moment}).run()
    label = moment.removeprefix("hold:")
    cap_s = {"baseline": 120.0, "main": 150.0}[label]
    hold = next(hold for hold in capped.holds if hold.label == label)
    assert hold.duration_s == pytest.approx(cap_s)
    assert hold.ended_by == "cap"
    assert "hold_cap" in capped.lines
    assert max(elapsed_s for _, elapsed_s in capped.calls) < cap_s


def test_somebody_who_is_not_ready_yet_gets_half_a_minute_more() -> None:
    replies = {"ready:baseline": [(1.0, heard("not-yet")), (1.0, heard("start"))]}
    always = {k: v for k, v in WILLING.items() if k != "ready:baseline"}
    later = Rehearsal(LESSON, replies, always=always).run()
    assert later.finish is not None
    assert later.finish.code == 0
    assert later.time_of("ready", 1) - later.time_of("ready", 0) >= 30.0
    assert "take_your_time" in later.lines


def test_who_asks_for_time_is_asked_as_often_again() -> None:
    """The silence before does not count against them."""
    always = {k: v for k, v in WILLING.items() if k != "ready:baseline"}
    turns = {"ready:baseline": [(99.0, heard("yes")), (1.0, heard("not-yet"))]}
    session = Rehearsal(LESSON, turns, always=always).run()
    assert session.lines.count("ready") == 2 + 3
    assert session.finish is not None
    assert session.finish.reason == "nobody was ready"


def test_nobody_who_says_start_ends_the_session_kindly() -> None:
    always = {k: v for k, v in WILLING.items() if k != "ready:baseline"}
    gone = Rehearsal(LESSON, always=always).run()
    assert gone.finish is not None
    assert (gone.finish.code, gone.finish.reason) == (1, "nobody was ready")
    assert gone.lines.count("ready") == 3
    assert gone.lines[-1] == "nobody_ready"


def test_a_shorter_main_hold_is_no_failure() -> None:
    short = lesson(**{"hold:main": (30.0, heard("done"))})
    assert short.values_of("sum_shorter")[0]["gain"] == pytest.approx(17.3)
    assert short.finish is not None
    assert short.finish.code == 0


def test_two_holds_of_one_length_are_called_so() -> None:
    same = lesson(**{"hold:main": (47.6, heard("done"))})
    assert "sum_same" in same.lines


def test_pulses_that_hardly_differ_are_not_called_an_effect() -> None:
    same = lesson(**{"pulse-ask:relaxed": (1.0, heard(number=17))})
    assert "sum_pulse_same" in same.lines
    assert "sum_pulse_differs" not in same.lines

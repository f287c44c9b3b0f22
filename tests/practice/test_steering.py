"""Every word in every phase: what it does where it means something, and that it does no harm."""

from __future__ import annotations

import pytest

from coach.practice import plan as steps
from coach.practice.events import Adjust, Listen, Say
from coach.practice.kept import Hold, Note
from coach.practice.words import Command
from tests.practice.plans import CLEARING, RECOVERY, count, hold, plan
from tests.practice.rehearsal import Rehearsal, Replies, cooperative, heard

CALM = steps.Relaxation(
    "relaxation",
    "calm",
    60.0,
    (steps.Spoken(2.0, "relax_weight"), steps.Spoken(30.0, "relax_face")),
)
LESSON = plan(
    steps.Talk("talk", ("welcome", "settle")), CLEARING, CALM, count(), hold(), RECOVERY
)  # fmt: skip
WILLING = cooperative(["one"], {"before": 20})

# a line or moment of each phase, and how long after it the word falls; at a question it takes the
# place of the first answer
PHASES = {
    "speaking": ("welcome", -0.5),
    "relaxing": ("relax_weight", 5.0),
    "asking": ("clearing:heart", 0.2),
    "ready": ("ready:one", 0.3),
    "counting": ("count", 5.0),
    "taking": ("pulse-ask:before", 0.3),
    "read back": ("pulse-read:before", 0.3),
    "holding": ("hold:one", 15.0),
    "watched": ("recovery:one", 5.0),
    "checking": ("check-in:one", 0.3),
}
STOPPING = (Command.STOP, Command.STOP_ALL)
UNWELL = (Command.UNWELL, Command.DIZZY, Command.TINGLING, Command.FAINTED)
HARMLESS = [c for c in Command if c not in (*STOPPING, *UNWELL)]


def once(phase: str, word: str, **always: tuple[float, object]) -> Rehearsal:
    """A willing person who says the word once in that phase, and "go on" in a pause."""
    line, delay_s = PHASES[phase]
    others: Replies = {"paused": (10.0, heard("go-on")), **WILLING, **always}  # type: ignore[dict-item]
    return Rehearsal(LESSON, {line: [(delay_s, heard(word))]}, always=others).run()


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("word", HARMLESS)
def test_no_word_breaks_a_session_in_any_phase(phase: str, word: str) -> None:
    """Whatever is said once, everything ends well; only "no" to "are you okay" ends it early."""
    answers = {"check-in:one afterwards": (1.0, heard("okay"))}
    session = once(phase, word, **answers)
    assert session.finish is not None
    if (phase, word) == ("checking", "no"):
        assert session.finish.reason == "unwell"
        return
    assert (session.finish.code, session.finish.reason) == (0, "done")
    assert [h.ended_by for h in session.holds] == [
        "cap" if phase == "holding" and word != "done" else "word"
    ]
    assert session.well == {("one", 1): "okay"}
    at_number = phase in ("taking", "read back")
    if word == "skip" and (at_number or phase == "counting"):
        assert session.beats == {}
    else:
        lost = word == "lost-count" and at_number
        assert session.beats == {("before", 1): None if lost else 20}


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("word", [*STOPPING])
def test_stop_ends_the_session_in_every_phase_and_the_hold_in_a_hold(phase: str, word: str) -> None:
    session = once(phase, word)
    assert session.finish is not None
    if phase == "holding":
        assert session.ends == {("one", 1): 15.0}
        assert session.well == {("one", 1): "okay"}
        return
    assert (session.finish.code, session.finish.reason) == (1, "stopped")
    assert session.lines[-2:] == ["stopped", "goodbye"]
    word_s = next(k.at_s for k in session.kept if isinstance(k, Note))
    assert session.now_s - word_s < 6.0  # and soon


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("word", [*UNWELL])
def test_not_well_ends_the_session_in_every_phase_and_is_watched(phase: str, word: str) -> None:
    answers = {
        "check-in:one afterwards": (1.0, heard("okay")),
        "check-in:session afterwards": (1.0, heard("okay")),
    }
    session = once(phase, word, **answers)
    assert session.finish is not None
    assert (session.finish.code, session.finish.reason) == (1, word)
    assert session.time_of("unwell_help") < session.time_of("check_in", -1)
    assert session.time_of("check_in", -1) - session.time_of("unwell_stop") >= 28.0
    assert [c.answer for c in session.check_ins][-2:] == [word, "okay"]
    assert session.lines[-1] == "unwell_end"


def test_stop_said_twice_ends_at_once() -> None:
    session = Rehearsal(
        LESSON, {"welcome": [(0.1, heard("stop"))], "stopped": [(-0.8, heard("stop"))]}
    ).run()
    assert session.finish is not None
    assert session.finish.reason == "stopped"
    assert "goodbye" not in session.lines
    assert session.now_s < 4.0


# --- pause and go on


@pytest.mark.parametrize(
    ("phase", "again"),
    [
        ("speaking", "welcome"),
        ("asking", "clear_heart"),
        ("ready", "ready"),
        ("counting", "count"),
        ("taking", "pulse_ask"),
        ("read back", "pulse_read"),
    ],
)
def test_after_a_pause_what_was_cut_is_said_again(phase: str, again: str) -> None:
    session = once(phase, "pause")
    assert session.lines.count(again) == 2
    assert session.time_of(again, 1) - session.time_of("paused") >= 10.0
    assert session.notes == ["paused", "went on"]


@pytest.mark.parametrize("phase", ["holding", "watched", "checking"])
def test_a_hold_and_the_watch_after_it_are_not_paused(phase: str) -> None:
    session = once(phase, "pause")
    assert session.notes == []
    assert session.now_s < Rehearsal(LESSON, always=WILLING).run().now_s + 90.0


def test_a_pause_does_not_shorten_a_stretch() -> None:
    usual, paused = Rehearsal(LESSON, always=WILLING).run(), once("relaxing", "pause")
    length_s = {
        name: s.time_of("pulse_find") - s.time_of("relax_weight")
        for name, s in (("usual", usual), ("paused", paused))
    }
    said_s = paused.time_of("paused") + 1.0 + 10.0 + 0.4 - (paused.time_of("relax_weight") + 6.4)
    assert length_s["paused"] - length_s["usual"] == pytest.approx(said_s, abs=1e-6)
    between_s = paused.time_of("relax_face") - paused.time_of("relax_weight")
    assert between_s == pytest.approx(28.0 + said_s, abs=1e-6)


@pytest.mark.parametrize("phase", ["asking", "ready", "taking"])
def test_in_a_pause_no_answer_is_listened_for(phase: str) -> None:
    """Fewer phrases, fewer mistakes: people talk in a pause."""
    session = once(phase, "pause")
    paused_s = session.time_of("paused")
    turned = [(t, e.situation) for t, e in session.effects if isinstance(e, Listen)]
    assert [s for t, s in turned if t <= paused_s][-1] == "anytime"
    assert next(s for t, s in turned if t > paused_s) != "anytime"


def test_in_a_pause_only_go_on_goes_on() -> None:
    words = ("start", "yes", "okay", "skip", "louder", "pause", "how-long", "add-thirty")
    turns = [(3.0, heard(word)) for word in words]
    session = Rehearsal(LESSON, {"settle": [(-0.5, heard("pause"))], "paused": turns[:1]})
    for n, (_, reply) in enumerate(turns):
        session.at(10.0 + 3 * n, reply)
    session.limit_s = 300.0
    session.run()
    assert session.finish is None
    assert session.notes == ["paused"]


@pytest.mark.parametrize("word", ["help", "repeat"])
def test_who_asks_in_a_pause_hears_how_to_go_on(word: str) -> None:
    turns = [(3.0, heard(word)), (3.0, heard("go-on"))]
    session = Rehearsal(
        LESSON, {"settle": [(-0.5, heard("pause"))], "paused": turns}, always=WILLING
    ).run()
    assert session.lines.count("paused") == 2
    assert session.finish is not None
    assert session.finish.code == 0


def test_stop_ends_a_pause() -> None:
    turns = {"settle": [(-0.5, heard("pause"))], "paused": [(3.0, heard("stop"))]}
    session = Rehearsal(LESSON, turns).run()
    assert session.finish is not None
    assert session.finish.reason == "stopped"


def test_a_pause_in_the_last_words_leads_back_to_them() -> None:
    turns = {
        "welcome": [(-0.5, heard("stop"))],
        "stopped": [(-0.5, heard("pause"))],
        "paused": [(5.0, heard("go-on"))],
    }
    session = Rehearsal(LESSON, turns).run()
    assert session.lines[-1] == "goodbye"
    assert session.finish is not None
    assert session.finish.reason == "stopped"


# --- skip


def test_skip_leaves_a_stretch_for_the_next() -> None:
    session = once("relaxing", "skip")
    assert "relax_face" not in session.lines
    assert session.time_of("pulse_find") - session.time_of("relax_weight") < 8.0
    assert session.notes == ["skipped"]


@pytest.mark.parametrize("phase", ["asking", "ready", "watched", "checking"])
def test_what_must_be_cannot_be_skipped(phase: str) -> None:
    session = once(phase, "skip")
    assert "cannot_skip" in session.lines
    assert session.notes == []


def test_skip_in_the_last_words_ends_nowhere_else() -> None:
    turns = {"welcome": [(-0.5, heard("stop"))], "stopped": [(-0.5, heard("skip"))]}
    session = Rehearsal(LESSON, turns).run()
    assert session.lines[-1] in ("cannot_skip", "goodbye")
    assert session.finish is not None
    assert session.finish.reason == "stopped"


# --- repeat, help, how long, thirty more, louder


@pytest.mark.parametrize("word", ["repeat", "again"])
def test_repeat_says_the_last_line_again(word: str) -> None:
    session = once("relaxing", word)
    assert session.lines.count("relax_weight") == 2


def test_repeat_says_again_what_was_taught_not_what_was_remarked() -> None:
    turns = {"relax_weight": [(2.0, heard("louder"))], "adjusted": [(2.0, heard("repeat"))]}
    session = Rehearsal(plan(CALM), turns).run()
    assert session.lines.count("relax_weight") == 2
    assert session.lines.count("adjusted") == 1


def test_repeat_after_a_pause_says_what_was_last_taught() -> None:
    """Not the remark about the pause, nor the line that was to come when it began."""
    session = Rehearsal(plan(CALM), {"relax_weight": [(5.0, heard("pause"))]})
    session.at(45.0, heard("go-on")).at(50.0, heard("repeat")).run()
    assert session.lines == ["relax_weight", "paused", "relax_weight", "relax_face"]


def test_repeat_before_anything_was_said_is_silent() -> None:
    quiet = plan(steps.Relaxation("relaxation", "quiet", 20.0))
    assert Rehearsal(quiet).at(5.0, heard("repeat")).run().lines == []


@pytest.mark.parametrize(
    ("phase", "line"),
    [
        ("speaking", "help_anytime"),
        ("asking", "help_question"),
        ("ready", "help_ready"),
        ("counting", "help_anytime"),
        ("taking", "help_number"),
        ("checking", "help_check_in"),
    ],
)
def test_help_says_what_can_be_said_here(phase: str, line: str) -> None:
    assert line in once(phase, "help").lines


def test_how_long_tells_what_is_left_or_that_nobody_can_know() -> None:
    assert once("relaxing", "how-long").values_of("left")[0]["left"] == pytest.approx(51.6)
    for phase in ("speaking", "asking", "taking"):
        assert "left_unknown" in once(phase, "how-long").lines


def test_thirty_seconds_more() -> None:
    usual, more = Rehearsal(LESSON, always=WILLING).run(), once("relaxing", "add-thirty")
    assert more.time_of("pulse_find") - usual.time_of("pulse_find") == pytest.approx(30.0)
    assert more.time_of("relax_face") - usual.time_of("relax_face") == pytest.approx(30.0)
    added = next(k for k in more.kept if isinstance(k, Note))
    assert (added.what, added.detail) == ("added", "30 s")


def test_thirty_seconds_more_at_the_very_end_of_a_stretch() -> None:
    session = Rehearsal(plan(CALM), {"relax_face": [(25.0, heard("add-thirty"))]}).run()
    assert session.now_s == pytest.approx(90.0)


def test_thirty_seconds_more_before_a_hold() -> None:
    usual, more = Rehearsal(LESSON, always=WILLING).run(), once("ready", "add-thirty")
    assert more.time_of("hold") - usual.time_of("hold") >= 29.0
    assert "take_your_time" in more.lines


def test_where_there_is_no_length_nothing_can_be_added() -> None:
    session = once("speaking", "add-thirty")
    assert "nothing_to_change" in session.lines
    assert session.notes == []


@pytest.mark.parametrize(
    ("word", "what", "step"),
    [
        ("louder", "volume", 1),
        ("softer", "volume", -1),
        ("faster", "speed", 1),
        ("slower", "speed", -1),
    ],
)
@pytest.mark.parametrize("phase", ["speaking", "relaxing", "asking", "taking", "watched"])
def test_the_voice_can_be_changed(phase: str, word: str, what: str, step: int) -> None:
    session = once(phase, word)
    assert [e for _, e in session.effects if isinstance(e, Adjust)] == [Adjust(what, step)]
    assert "adjusted" in session.lines


# --- the breathe-up


BREATHS = steps.BreatheUp("breathe-up", "first", 46.0, full_breaths=2)


def test_repeat_and_pauses_add_no_full_breath() -> None:
    """At most two full breaths, whatever is said: more would hide the warning."""
    turns = {
        "full_breath_in": [(-0.8, heard("pause")), (0.2, heard("repeat")), (0.4, heard("again"))],
        "paused": [(5.0, heard("go-on"))],
    }
    session = Rehearsal(plan(BREATHS), turns).run()
    assert session.lines.count("full_breath_in") == 2
    assert session.finish is not None


def test_a_pause_before_a_full_breath_does_not_cost_it() -> None:
    turns = {"breathe_up": [(1.0, heard("pause"))], "paused": [(5.0, heard("go-on"))]}
    session = Rehearsal(plan(BREATHS), turns).run()
    assert session.lines.count("full_breath_in") == 2
    assert session.lines.count("breathe_in") == 2


def test_a_short_breathe_up_has_no_more_full_breaths_than_breaths() -> None:
    short = steps.BreatheUp("breathe-up", "short", 16.0, full_breaths=2)
    session = Rehearsal(plan(short)).run()
    assert session.lines == ["breathe_up", "full_breath_in", "full_breath_out"]


def test_a_breath_that_other_words_covered_is_left_out() -> None:
    """A timed word that falls into safety speech does not come late."""
    session = Rehearsal(plan(BREATHS)).run()
    said = [(t, s) for t, s in session.spoken if isinstance(s, Say) and s.at_s is not None]
    assert all(t == pytest.approx(s.at_s) for t, s in said)


def test_nothing_that_was_kept_is_taken_back_by_any_word() -> None:
    for phase in PHASES:
        session = once(phase, "again")
        ends = [k for k in session.kept if isinstance(k, Hold) and k.end_s is not None]
        assert len(ends) == 1


def test_a_pause_while_a_full_breath_is_said_does_not_repeat_it() -> None:
    """Cut in the middle it was begun all the same."""
    turns = {"full_breath_in": [(-0.9, heard("pause"))], "paused": [(5.0, heard("go-on"))]}
    session = Rehearsal(plan(BREATHS), turns).run()
    paused_s = session.time_of("paused")
    began = [t for t, name in session.said if name == "full_breath_in"]
    assert began[0] < paused_s < began[0] + 1.0
    assert len(began) == 2


def test_a_line_at_the_very_beginning_of_a_stretch_comes_at_once() -> None:
    calm = steps.Relaxation("relaxation", "calm", 20.0, (steps.Spoken(0.0, "relax_weight"),))
    session = Rehearsal(plan(calm)).run()
    assert session.said == [(0.0, "relax_weight")]
    assert session.now_s == pytest.approx(20.0)

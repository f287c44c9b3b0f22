"""What every ear promises; the real one and its twin are both held to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from coach.ear.scripted import Knock, Said
from coach.ports import Ear
from coach.practice.events import Heard, Knocked, Knocks, Unclear
from coach.practice.words import Command
from tests.ear.air import air, listen, said

ONSET_S = 0.08
Script = Sequence[Said | Knock]
MakeEar = Callable[[Script], Ear]


class EarConformance:
    """Subclasses give the fixture `make_ear`: an ear in whose air the script will be."""

    @pytest.mark.parametrize(
        ("situation", "text", "command", "number", "participant"),
        [
            ("question", "yes", Command.YES, None, None),
            ("question", "no", Command.NO, None, None),
            ("ready", "i am ready", Command.START, None, None),
            ("hold", "done", Command.DONE, None, None),
            ("group-hold", "number three done", Command.DONE, None, 3),
            ("number", "twenty two", Command.NUMBER, 22, None),
            ("number", "one seven", Command.NUMBER, 17, None),
            ("number", "no twenty one", Command.NO, 21, None),
            ("check-in", "i am okay", Command.OKAY, None, None),
            ("anytime", "stop", Command.STOP, None, None),
        ],
    )
    def test_a_phrase_is_one_event_with_its_times(
        self, make_ear: MakeEar, situation: str, text: str, command: Command,
        number: int | None, participant: int | None,
    ) -> None:  # fmt: skip
        script = [said(text, 1.5)]
        ear = make_ear(script)
        ear.attend(situation, Knocks.OFF)
        (event,) = listen(ear, air(script, 4.5))
        assert isinstance(event, Heard)
        assert (event.command, event.number, event.participant) == (command, number, participant)
        assert event.onset_s == pytest.approx(1.5, abs=ONSET_S)
        assert event.end_s == pytest.approx(script[0].end_s, abs=0.2)
        assert script[0].onset_s < event.at_s < script[0].end_s + 0.7
        assert 0 < event.confidence <= 1

    def test_silence_gives_nothing(self, make_ear: MakeEar) -> None:
        ear = make_ear([])
        ear.attend("hold", Knocks.MARKS)
        assert listen(ear, air([], 5.0)) == []

    def test_a_phrase_of_another_situation_is_not_understood(self, make_ear: MakeEar) -> None:
        script = [said("contraction", 1.5)]
        ear = make_ear(script)
        ear.attend("question", Knocks.OFF)
        assert not any(isinstance(e, Heard) for e in listen(ear, air(script, 4.0)))

    def test_other_speech_is_unclear_at_most(self, make_ear: MakeEar) -> None:
        script = [said("the garden behind our kitchen window", 1.5)]
        ear = make_ear(script)
        ear.attend("check-in", Knocks.OFF)
        events = listen(ear, air(script, 5.5))
        assert [type(event) for event in events] == [Unclear]
        assert events[0].onset_s == pytest.approx(1.5, abs=0.3)

    def test_a_new_situation_holds_from_then_on(self, make_ear: MakeEar) -> None:
        script = [said("yes", 1.5), said("done", 4.5)]
        ear = make_ear(script)
        ear.attend("question", Knocks.OFF)
        heard = []
        for block in air(script, 7.0).blocks():
            if block.start_s == 3.5:
                ear.attend("hold", Knocks.OFF)
            heard += [e.command for e in ear.feed(block) if isinstance(e, Heard)]
        assert heard == [Command.YES, Command.DONE]

    def test_knocks_mark_and_pairs_are_joined(self, make_ear: MakeEar) -> None:
        script = [Knock(1.5), Knock(3.5, count=2)]
        ear = make_ear(script)
        ear.attend("hold", Knocks.MARKS)
        one, two = listen(ear, air(script, 5.5))
        assert isinstance(one, Knocked)
        assert isinstance(two, Knocked)
        assert (one.count, two.count) == (1, 2)
        assert one.onset_s == pytest.approx(1.5, abs=0.006)
        assert two.onset_s == pytest.approx(3.5, abs=0.006)
        assert one.at_s > 1.5 + 0.6  # a second knock could have come so long
        assert two.at_s < 3.5 + 0.3 + 0.35

    def test_knocks_that_mean_nothing_here_are_not_told(self, make_ear: MakeEar) -> None:
        script = [Knock(1.5), Knock(3.5, count=2)]
        ear = make_ear(script)
        ear.attend("anytime", Knocks.OFF)
        assert not any(isinstance(e, Knocked | Heard) for e in listen(ear, air(script, 5.5)))

    def test_no_event_is_told_before_its_block_is_over(self, make_ear: MakeEar) -> None:
        script = [said("yes", 1.5), said("no", 4.0)]
        ear = make_ear(script)
        ear.attend("question", Knocks.OFF)
        for block in air(script, 6.0).blocks(0.5):
            for event in ear.feed(block):
                assert event.onset_s < event.at_s <= block.start_s + 0.5 + 1e-9

"""The real ear in rooms: blocks, noise, talk, and the coach's own voice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from coach.ear.listener import Listener
from coach.ear.model import SpeechModel
from coach.ear.scripted import Knock, Said
from coach.ports import EAR_RATE_HZ, Block, EarEvent
from coach.practice.events import Heard, Knocked, Knocks, Unclear
from coach.practice.words import Command
from tests.ear.air import BRITON, NATURAL, Air, air, clip, knock_sound, listen, said

LINE = "Your first pulse was sixty eight beats a minute. Breathe out slowly."


def hear(
    model: SpeechModel, air: Air, situation: str, knocks: Knocks = Knocks.OFF, block_s: float = 0.02
) -> list[EarEvent]:
    ear = Listener(model)
    ear.attend(situation, knocks)
    return listen(ear, air, block_s)


def behind(text: str, level_db: float, front: Air) -> Air:
    """The front with a Briton who talks far behind it, from room time 1 s on."""
    talk = air([said(text, 1.0)], len(front.microphone) / EAR_RATE_HZ, BRITON)
    quieter = (talk.microphone * 10 ** (level_db / 20)).astype(np.float32)
    return Air(quieter + front.microphone, front.played)


def moved(air: Air, by_s: float, from_s: float = 0.0) -> Iterator[Block]:
    """Its blocks on a clock that stands elsewhere, from room time `from_s` on."""
    for block in air.blocks():
        start_s = block.start_s + (by_s if block.start_s >= from_s else 0.0)
        yield Block(start_s, block.microphone, block.played)


def commands(events: Sequence[EarEvent]) -> list[str | None]:
    return [event.command for event in events if isinstance(event, Heard)]


def test_the_size_of_the_blocks_changes_nothing(model: SpeechModel) -> None:
    script: list[Said | Knock] = [
        said("twenty two", 1.5), said("the kettle is on the table", 3.5), said("no", 7.0),
        said("stop", 8.5),
    ]  # fmt: skip
    sound = air(script, 10.5, coach={5.5: clip(LINE, BRITON)})
    events = hear(model, sound, "number", Knocks.MARKS, 0.01)
    assert Command.NUMBER in commands(events)
    for block_s in (0.02, 0.037, 0.2):
        assert hear(model, sound, "number", Knocks.MARKS, block_s) == events


@pytest.mark.parametrize("noise_db", [-60.0, -40.0, -30.0])
def test_noise_alone_is_nothing(model: SpeechModel, noise_db: float) -> None:
    assert hear(model, air([], 20.0, noise_db=noise_db), "hold", Knocks.MARKS) == []


def test_other_talk_is_no_command(model: SpeechModel) -> None:
    talk = [
        "did you see the new bicycle", "she bought tomatoes and cheese", "it rains in the valley",
        "my brother works on a farm", "the train leaves at the weekend",
    ]  # fmt: skip
    script = [said(text, 1.5 + 3.5 * number) for number, text in enumerate(talk)]
    for situation in ("hold", "check-in", "question", "ready", "asleep"):
        assert commands(hear(model, air(script, 19.5), situation)) == []


def test_a_stopping_word_is_told_before_an_answer_would_be(model: SpeechModel) -> None:
    script = [said("stop", 1.5)]
    (event,) = hear(model, air(script, 4.0), "question")
    assert event.at_s - script[0].end_s < 0.25
    script = [said("yes", 1.5)]
    (event,) = hear(model, air(script, 4.0), "question")
    assert 0.3 < event.at_s - script[0].end_s < 0.7


def test_a_sentence_that_begins_like_a_stopping_word_stops_nothing(model: SpeechModel) -> None:
    sentences = ["help fight continental drift", "stop at the bakery on the way home for the bread",
                 "done with the washing she went to the harbour"]  # fmt: skip
    for voice in (NATURAL, BRITON, "espeak:en-gb+f3@165"):
        script = [said(text, 1.5 + 5.0 * number, voice) for number, text in enumerate(sentences)]
        assert commands(hear(model, air(script, 17.0, voice), "hold")) == []


def test_a_stopping_word_between_others_words_waits_for_a_longer_pause(model: SpeechModel) -> None:
    for pause_s, expected in ((0.22, []), (0.6, [Command.STOP])):
        before = said("she bought tomatoes and cheese", 1.5)
        word = said("stop", before.end_s + pause_s)
        after = said("the train leaves at the weekend", word.end_s + pause_s)
        assert commands(hear(model, air([before, word, after], 9.0), "hold")) == expected


def test_stop_is_told_soon_where_others_talk_on_behind_it(model: SpeechModel) -> None:
    """No pause follows in the level."""
    word = said("stop", 2.0)
    both = behind("my brother works on a farm in the valley near the sea", -14.0, air([word], 7.0))
    (event,) = (e for e in hear(model, both, "hold") if isinstance(e, Heard))
    assert event.command is Command.STOP
    assert event.at_s - word.end_s < 0.6


def test_stop_and_stop_everyone(model: SpeechModel) -> None:
    heard = commands(hear(model, air([said("stop everyone", 1.5)], 4.5), "ready"))
    assert heard[-1] is Command.STOP_ALL
    assert set(heard) <= {Command.STOP, Command.STOP_ALL}


@pytest.mark.parametrize("echo_db", [-20.0, -6.0, 6.0])
def test_the_coach_never_obeys_itself(model: SpeechModel, echo_db: float) -> None:
    lines = ["To come up, say done, or knock twice on the floor. To end the lesson, say stop.",
             "Say begin when you are ready.", LINE, "Are you okay?"]  # fmt: skip
    coach = {2.0 + 7.0 * number: clip(text) for number, text in enumerate(lines)}
    for situation in ("hold", "question", "ready", "check-in"):
        sound = air([], 30.0, coach=coach, echo_db=echo_db)
        assert hear(model, sound, situation, Knocks.MARKS) == []


def test_stop_over_the_coachs_voice_is_heard(model: SpeechModel) -> None:
    """Each participant's "stop" is as loud as the coach in the microphone."""
    heard = 0
    for number in range(4):
        script = [said("stop", 5.0 + 0.2 * number, BRITON)]
        coach = {1.0: clip(LINE), 4.8: clip(LINE)}
        sound = air(script, 8.5, BRITON, coach, echo_db=0.0)
        heard += Command.STOP in commands(hear(model, sound, "anytime"))
    assert heard >= 3


def test_talk_over_the_coachs_voice_stops_nothing(model: SpeechModel) -> None:
    """Each sentence has something in it that is like a stopping word."""
    talk = ["our bus stops right in front of the library", "put the pot on top of the stove please",
            "i feel like having a cup of tea", "it smells of apples in the cellar"]  # fmt: skip
    script = [said(text, 5.0 + 4.5 * number, BRITON) for number, text in enumerate(talk)]
    coach = {1.0 + 4.2 * number: clip(LINE) for number in range(5)}
    for situation in ("anytime", "hold"):
        sound = air(script, 23.0, BRITON, coach, echo_db=-6.0)
        assert commands(hear(model, sound, situation)) == []


@pytest.mark.parametrize(("voice", "word"), [(BRITON, "tour"), (NATURAL, "go")])
def test_what_is_only_like_a_number_is_asked_about(
    model: SpeechModel, voice: str, word: str
) -> None:
    (event,) = hear(model, air([said(word, 1.5, voice)], 3.5, voice), "number")
    assert isinstance(event, Unclear)


def test_a_plain_no_is_not_asked_about_again(model: SpeechModel) -> None:
    voice = "espeak:en-us+m3@150"  # the recogniser is less sure of its "no" than of its numbers
    (event,) = hear(model, air([said("no", 1.5, voice)], 3.5, voice), "question")
    assert isinstance(event, Heard)
    assert event.command is Command.NO


def test_an_answer_in_front_of_talk_far_behind_is_heard(model: SpeechModel) -> None:
    answer = air([said("i am ready", 1.9)], 5.0)
    heard = hear(model, behind("the ladder belongs to the neighbours", -18.0, answer), "ready")
    assert commands(heard) == [Command.START]


def test_a_number_called_by_its_full_name_ends_at_its_first_word(model: SpeechModel) -> None:
    (event,) = hear(model, air([said("number one up", 1.5)], 4.5), "group-hold")
    assert isinstance(event, Heard)
    assert event.participant == 1
    assert event.onset_s == pytest.approx(1.5, abs=0.08)


def test_only_stopping_words_count_while_the_coach_speaks(model: SpeechModel) -> None:
    script = [said("yes", 2.0, BRITON)]
    sound = air(script, 6.0, BRITON, {1.0: clip(LINE)}, echo_db=-20.0)
    assert commands(hear(model, sound, "question")) == []


def test_an_answer_right_behind_the_question_is_heard(model: SpeechModel) -> None:
    question = clip("Are you lying down, or sitting safely?")
    end_s = 1.0 + len(question) / EAR_RATE_HZ
    for wait_s in (0.1, 0.2, 0.5):
        script = [said("yes", end_s + wait_s, BRITON)]
        sound = air(script, end_s + 3.0, BRITON, {1.0: question})
        assert commands(hear(model, sound, "question")) == [Command.YES]


def test_a_cough_or_a_knock_is_not_unclear_speech(model: SpeechModel) -> None:
    sound = air([Knock(1.5), Knock(3.0, 2), Knock(5.0)], 7.0)
    assert not [e for e in hear(model, sound, "check-in") if isinstance(e, Unclear)]


def test_a_pair_of_knocks_while_the_coach_speaks(model: SpeechModel) -> None:
    """By then the ear knows the room from what the coach has said before."""
    sound = air([], 14.0, coach={1.0: clip(LINE), 7.0: clip(LINE)})
    microphone = sound.microphone.copy()
    for at_s in (9.0, 9.3):
        at, knock = round(at_s * EAR_RATE_HZ), knock_sound()
        microphone[at : at + len(knock)] += knock
    events = hear(model, Air(microphone, sound.played), "hold", Knocks.MARKS)
    pairs = [event for event in events if isinstance(event, Knocked) and event.count == 2]
    assert [event.onset_s for event in pairs] == pytest.approx([9.0], abs=0.008)


def test_a_jump_of_the_rooms_clock_is_no_trouble(model: SpeechModel) -> None:
    ear = Listener(model)
    ear.attend("question", Knocks.OFF)
    first, second = air([said("yes", 1.5)], 3.5), air([said("no", 1.5)], 3.5)
    events = listen(ear, first)
    events += [event for block in moved(second, 60.0) for event in ear.feed(block)]
    yes, no = events
    assert commands([yes, no]) == [Command.YES, Command.NO]
    assert no.onset_s == pytest.approx(61.5, abs=0.08)


def test_knocks_are_told_in_the_rooms_time_wherever_it_begins(model: SpeechModel) -> None:
    ear = Listener(model)
    ear.attend("hold", Knocks.MARKS)
    sound = air([Knock(2.0, 2)], 4.0)
    for start_s in (3600.0, 60.0):
        (knocked,) = (event for block in moved(sound, start_s) for event in ear.feed(block))
        assert isinstance(knocked, Knocked)
        assert knocked.count == 2
        assert knocked.onset_s == pytest.approx(start_s + 2.0, abs=0.01)


def test_a_stop_before_a_jump_of_the_rooms_clock_is_not_told_after_it(model: SpeechModel) -> None:
    coach = {1.0: clip(LINE, BRITON), 6.0: clip(LINE, BRITON)}
    sound = air([said("stop", 8.3)], 10.0, coach=coach)
    ear = Listener(model)
    ear.attend("hold", Knocks.OFF)
    events = [event for block in moved(sound, 60.0, 8.61) for event in ear.feed(block)]
    assert [event for event in events if isinstance(event, Heard) and event.at_s > 60.0] == []


def test_what_is_being_said_when_the_situation_changes_belongs_to_the_new_one(
    model: SpeechModel,
) -> None:
    talk = said("the kettle is on the table", 1.0)
    word = said("yes", talk.end_s + 0.3)
    ear = Listener(model)
    ear.attend("hold", Knocks.OFF)
    events: list[EarEvent] = []
    has_changed = False
    for block in air([talk, word], word.end_s + 2.0).blocks():
        if block.start_s > word.onset_s + 0.2 and not has_changed:
            has_changed = True
            ear.attend("question", Knocks.OFF)
        events += ear.feed(block)
    (yes,) = events
    assert isinstance(yes, Heard)
    assert (yes.command, yes.text) == (Command.YES, "yes")
    assert yes.end_s == pytest.approx(word.end_s, abs=0.2)


def test_loud_and_soft_voices(model: SpeechModel) -> None:
    for gain_db in (-20.0, 0.0, 15.0):
        sound = air([said("yes", 1.5)], 4.0, noise_db=-75.0)
        scaled = np.clip(sound.microphone * 10 ** (gain_db / 20), -1, 1).astype(np.float32)
        assert commands(hear(model, Air(scaled, sound.played), "question")) == [Command.YES]

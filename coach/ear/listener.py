"""The ear: blocks of sound in, events out.

Way of a sound: the coach's own voice is taken away (own_voice), a rise above the room's floor
opens an utterance (activity, speech), a recogniser of the situation's grammar is fed with it
(utterance), and its words are understood (understanding). Stopping words do not wait for its end
(stopping); over the coach's voice they also come a second way (overhearing), and must stand out
from what was before them (levels). Knocks go their own way (clear_knocks). All of it happens in
frames of 10 ms, so the size of the blocks changes nothing.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from coach.ear.activity import Activity
from coach.ear.clear_knocks import ClearKnocks
from coach.ear.frames import FRAME, FRAME_S
from coach.ear.grammar import Grammar, grammar_path, load_grammar
from coach.ear.model import SpeechModel
from coach.ear.overhearing import Overhearing
from coach.ear.own_voice import DELAY_S, OwnVoice
from coach.ear.speech import Speech
from coach.ear.stopping import Stop, StoppingWords
from coach.ear.told import Told
from coach.ear.understanding import Understood, understand
from coach.ear.utterance import Utterance
from coach.ear.word import Word
from coach.ports import EAR_RATE_HZ, Audio, Block, EarEvent
from coach.practice.events import Heard, Knocks, Unclear
from coach.practice.words import Command
from coach.settings import EarSettings

BEFORE_FRAMES = 40  # what the recogniser gets from before the sound
SPEECH_S = 0.25  # sound shorter than this is not called unclear speech
NUMBER_S = 0.25  # a number takes at least so long
ASK_AGAIN_S = 2.0  # least time between two `Unclear` for words not understood
MOST_OWN = 0.6  # an answer may begin so far inside the coach's own words
# How dear it is to hear other speech where a phrase fits half (SpeechModel.unknown). At -2 fewer
# foreign words pass in a hold, but ends are lost too (the model's card).
UNKNOWN_COST = 0
UNKNOWN_COST_OF_ENDS = -2  # two who call at once give one number of a third: rather none
SURE_NUMBER = 0.8  # least confidence of an answer with a number: better asked again than wrong
SURE_END = 0.75  # an end whose number is less sure is asked about
GAP_S = 0.02  # blocks further apart than this do not belong together


class Listener:
    """The real ear (see ports.Ear) on a speech model."""

    def __init__(
        self,
        model: SpeechModel,
        settings: EarSettings | None = None,
        name_of_coach: str = "coach",
        delay_s: float = 0.0,
    ) -> None:
        self._model = model
        self._settings = settings or EarSettings()
        self._name_of_coach = name_of_coach
        self._own = OwnVoice(delay_s)
        self._overhearing = Overhearing(model)
        self._activity = Activity()
        self._before: deque[Audio] = deque(maxlen=BEFORE_FRAMES)
        self._told = Told()
        self._knocks = ClearKnocks()
        self._grammar = Grammar("", {})
        self._stopping = self._stopping_words()
        self._phrases: list[str] = []
        self._microphone: Audio = np.zeros(0, np.float32)
        self._played: Audio = np.zeros(0, np.float32)
        self._start_s = 0.0  # room time of frame 0
        self._frames = 0
        self._speech: Speech | None = None
        self._last_sound_s = -np.inf  # the end of the last utterance's
        self._unclear_s = -np.inf

    def attend(self, situation: str, knocks: Knocks) -> None:
        """See Ear. `situation` may also be the path of a grammar file."""
        grammar = load_grammar(grammar_path(situation), self._name_of_coach)
        self._grammar = self._model.usable(grammar)
        self._stopping = self._stopping_words()
        cost = UNKNOWN_COST_OF_ENDS if self._grammar.is_numbered else UNKNOWN_COST
        self._phrases = [*self._grammar.meanings, self._model.unknown(cost)]
        stopping = [p for p, m in self._grammar.meanings.items() if m.stops]
        self._overhearing.attend([*stopping, self._model.unknown(UNKNOWN_COST)])
        self._knocks.attend(knocks if self._settings.knocks else Knocks.OFF, self._now_s)
        if self._speech is not None:  # what is being said belongs to the new situation
            self._leave_speech(self._speech.end_s)

    def feed(self, block: Block) -> list[EarEvent]:
        """See Ear."""
        waiting_s = len(self._microphone) / EAR_RATE_HZ
        if abs(self._now_s + waiting_s - block.start_s) > GAP_S:
            self._begin_at(block.start_s)
        self._microphone = np.concatenate([self._microphone, block.microphone])
        self._played = np.concatenate([self._played, block.played])
        events: list[EarEvent] = []
        whole = len(self._microphone) // FRAME * FRAME
        for at in range(0, whole, FRAME):
            events += self._hear(self._microphone[at : at + FRAME], self._played[at : at + FRAME])
        self._microphone = self._microphone[whole:]
        self._played = self._played[whole:]
        return events

    @property
    def _now_s(self) -> float:
        """Room time of the end of the last frame heard."""
        return self._start_s + self._frames * FRAME_S

    def _begin_at(self, start_s: float) -> None:
        """The room's time has jumped: nothing from before is part of what comes."""
        self._start_s = start_s
        self._frames = 0
        self._microphone = np.zeros(0, np.float32)
        self._played = np.zeros(0, np.float32)
        self._before.clear()
        self._leave_speech(-np.inf)
        self._overhearing.begin_anew()
        self._knocks.begin_at(start_s)

    def _leave_speech(self, end_s: float) -> None:
        """The utterance, whose sound ended then, is left: the next sound opens one of its own."""
        self._speech = None
        self._last_sound_s = end_s
        self._activity.active = False

    def _stopping_words(self) -> StoppingWords:
        least = self._settings.minimum_confidence
        return StoppingWords(self._grammar, least, self._overhearing, self._own, self._told)

    def _hear(self, microphone: Audio, played: Audio) -> list[EarEvent]:
        cleaned = self._own.cancel(microphone, played)
        self._frames += 1
        sounds = self._overhearing.hear(microphone, played, self._own, self._now_s)
        self._activity.hear(cleaned)
        echo = self._overhearing.echo_filter
        doubtful = self._own.sounding and not (echo.is_trusted and not echo.is_overloaded)
        events: list[EarEvent] = []
        events += self._knocks.hear(self._overhearing.linear, doubtful, self._now_s)
        events += self._tell_stop(self._stopping.in_sounds_over_coach(sounds))
        self._before.append(cleaned)
        if self._speech is not None:
            events += self._go_on(self._speech, cleaned)
        elif self._activity.active:
            self._speech = self._opened()
        return events

    def _opened(self) -> Speech:
        utterance = Utterance(
            lambda: self._model.recogniser(self._phrases),
            self._now_s - len(self._before) * FRAME_S - DELAY_S,
            list(self._before),
        )
        return Speech.begun(utterance, self._rise_s, self._rise_s - self._last_sound_s)

    @property
    def _rise_s(self) -> float:
        """When the sound that is now going on began, right after it has been noticed."""
        return self._now_s - (self._activity.onset_back_frames + 1) * FRAME_S - DELAY_S

    def _go_on(self, speech: Speech, cleaned: Audio) -> list[EarEvent]:
        events: list[EarEvent] = []
        if self._activity.active:
            moved = speech.hear_sound(cleaned, self._now_s, self._rise_s)
        else:
            moved = speech.hear_quiet(cleaned)
        if speech.has_just_paused:
            events += self._stopping_in(speech)
        elif moved and self._stopping.may_come(speech, self._now_s):
            events += self._stopping_in(speech)
            speech.utterance.resume()
        if speech.is_over:
            events += self._close(speech)
        return events

    def _close(self, speech: Speech) -> list[EarEvent]:
        """The utterance is over: what did it mean as a whole?"""
        self._leave_speech(speech.end_s)
        self._before.clear()
        events = self._stopping_in(speech)
        words = speech.utterance.settle()
        found = understand(self._overhearing.levels.in_front(words), self._grammar)
        if found is None or found.stops:
            told = self._told.anything_since(speech.onset_s)
            return events if told else self._unclear(speech, words)
        return events + self._answer(speech, found)

    def _stopping_in(self, speech: Speech) -> list[EarEvent]:
        words = speech.utterance.settle()
        return self._tell_stop(self._stopping.in_speech(speech, words, self._now_s))

    def _tell_stop(self, stop: Stop | None) -> list[EarEvent]:
        """Tell a stopping word; an end whose number is not sure is no more than a sound.

        The number was said before it and not understood, or two said theirs at once.
        """
        if stop is None:
            return []
        found, meaning = stop.found, stop.found.meaning
        start_s, end_s = found.words[0].start_s, found.words[-1].end_s
        told = self._report(found, stop.onset_s)
        if not told:
            return []
        nameless = meaning.command == Command.DONE and meaning.participant is None
        if self._grammar.is_numbered and nameless and start_s - stop.rise_s > NUMBER_S:
            return [Unclear(self._now_s, stop.rise_s, end_s)]
        if meaning.participant is not None and found.confidence < SURE_END:
            return [Unclear(self._now_s, stop.onset_s, end_s)]
        return told

    def _answer(self, speech: Speech, found: Understood) -> list[EarEvent]:
        words = found.words
        start_s, end_s = words[0].start_s, words[-1].end_s
        if self._own.share(start_s, end_s, self._now_s) > MOST_OWN:
            return []
        least = self._settings.minimum_confidence
        if found.meaning.number is not None:
            least = max(least, SURE_NUMBER)
        if found.confidence < least:
            return self._ask_again(speech)
        return self._report(found, speech.onset_of(start_s, end_s, self._overhearing.levels))

    def _report(self, found: Understood, onset_s: float) -> list[EarEvent]:
        """Tell it, unless the other way of hearing has told it already, or more of it."""
        if not self._told.add(found, onset_s):
            return []
        heard = Heard(
            at_s=self._now_s,
            onset_s=onset_s,
            end_s=found.words[-1].end_s,
            command=found.meaning.command,
            number=found.meaning.number,
            participant=found.meaning.participant,
            text=found.text,
            confidence=found.confidence,
        )
        return [heard]

    def _unclear(self, speech: Speech, words: list[Word]) -> list[EarEvent]:
        """Somebody spoke for a while, it was not the coach and not a knock: say so."""
        long_enough = speech.sound_frames * FRAME_S >= SPEECH_S
        knocked = self._knocks.last_s >= speech.onset_s - 0.1
        own = self._own.share(speech.onset_s, speech.end_s, self._now_s) > MOST_OWN
        if not words or not long_enough or knocked or own:
            return []
        return self._ask_again(speech)

    def _ask_again(self, speech: Speech) -> list[EarEvent]:
        if self._now_s - self._unclear_s < ASK_AGAIN_S:
            return []
        self._unclear_s = self._now_s
        onset_s = self._overhearing.levels.front_s(speech.onset_s, speech.end_s)
        return [Unclear(self._now_s, onset_s, speech.end_s)]

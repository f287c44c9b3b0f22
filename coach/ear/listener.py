"""The ear: blocks of sound in, events out.

Way of a sound: the coach's own voice is taken away (own_voice), a rise above the room's floor
opens an utterance (activity), a recogniser of the situation's grammar is fed with it (utterance),
and its words are understood (understanding). Stopping words over the coach's voice also come a
second way (overhearing), and must stand out from what was before them (levels). Knocks go their own
way (knocks). All of it happens in frames of 10 ms, so the size of the blocks changes nothing.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from coach.ear.activity import Activity
from coach.ear.grammar import Grammar, Meaning, grammar_path, load_grammar
from coach.ear.knocks import KnockDetector
from coach.ear.levels import CLEARLY_DB, STANDS_OUT_DB
from coach.ear.model import SpeechModel
from coach.ear.overhearing import Overhearing
from coach.ear.own_voice import DELAY_S, FRAME, OwnVoice
from coach.ear.understanding import STOPPING, Understood, exactly, understand
from coach.ear.utterance import Utterance, Word
from coach.ports import EAR_RATE_HZ, Audio, Block, EarEvent
from coach.practice.events import Heard, Knocked, Knocks, Unclear
from coach.practice.words import Command
from coach.settings import EarSettings

BEFORE_FRAMES = 40  # what the recogniser gets from before the sound
SETTLE_FRAMES = 12  # a pause after which stopping words are looked for ...
SURE = 0.95  # ... and taken, if they are so certain; if not ...
ALONE_FRAMES = 20  # ... after this; between two of these a stopping word stands alone
AMID_FRAMES = 30  # ... and after this, if somebody has talked up to ...
AMID_S = 0.8  # ... this long before it
ENDED_S = 0.3  # where noise hides the pause: so long the recogniser has heard no word ...
FALLEN_DB = 6.0  # ... and what is heard is quieter than the words were
END_FRAMES = 45  # a pause that ends an utterance
LONGEST_S = 8.0
SPEECH_S = 0.25  # sound shorter than this is not called unclear speech
FILLED_S = 0.3  # from the end of a stopping word over the coach to the end of its sound
NUMBER_S = 0.25  # a number takes at least so long
SAME_END_S = 0.15  # ends nearer than this are of the same word
SAME_S = 0.5  # onsets nearer than this are of the same word, heard in two ways
ASK_AGAIN_S = 2.0  # least time between two `Unclear`
MOST_OWN = 0.6  # an answer may begin so far inside the coach's own words
# How dear it is to hear other speech where a phrase fits half (SpeechModel.unknown). At -2 fewer
# foreign words pass in a hold, but ends are lost too (the model's card).
UNKNOWN_COST = 0
UNKNOWN_COST_OF_ENDS = -2  # two who call at once give one number of a third: rather none
SURE_AMID_OWN = 0.92  # least confidence of stopping words while the coach speaks
SURE_NUMBER = 0.75  # an end whose number is less sure is asked about
ONSET_NEAR_S = 0.3  # how far the recogniser's first word may lie from the rise in level
KNOCK_FRAMES = 12  # of a knock, in which no echo may be doubtful
DOUBT_FRAMES = 200  # longer than a pair of knocks takes to be known
BEHIND_DB = 10.0  # what is so far below the words is somebody else's talk behind them
GAP_S = 0.02  # blocks further apart than this do not belong together


@dataclass(slots=True)
class _Speech:
    """The utterance going on, and the sound that it lies in (room times)."""

    utterance: Utterance
    onset_s: float  # of the rise in level that opened it
    end_s: float  # of the last sound so far
    alone_from_s: float  # of the sound after its last clear pause
    lull_s: float  # how long it was quiet before that
    sound_frames: int = 0
    quiet_frames: int = 0


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
        self._own_frames: deque[bool] = deque(maxlen=round(LONGEST_S * 100) + 200)
        self._doubtful: deque[bool] = deque(maxlen=DOUBT_FRAMES)
        self._grammar = Grammar("", {})
        self._phrases: list[str] = []
        self._knocks = KnockDetector(Knocks.OFF)
        self._knocks_from_s = 0.0
        self._last_knock_s = -np.inf
        self._microphone: Audio = np.zeros(0, np.float32)
        self._played: Audio = np.zeros(0, np.float32)
        self._start_s = 0.0  # room time of frame 0
        self._frames = 0
        self._speech: _Speech | None = None
        self._last_sound_s = -np.inf  # the end of the last utterance's
        self._unclear_s = -np.inf
        self._told: deque[tuple[Meaning, float, float]] = deque(maxlen=8)  # with onset and end
        self._numbered = False  # whether an end comes with a number here: a group's hold

    def attend(self, situation: str, knocks: Knocks) -> None:
        """See Ear. `situation` may also be the path of a grammar file."""
        grammar = load_grammar(grammar_path(situation), self._name_of_coach)
        self._grammar = self._model.usable(grammar)
        self._numbered = any(m.participant is not None for m in self._grammar.meanings.values())
        cost = UNKNOWN_COST_OF_ENDS if self._numbered else UNKNOWN_COST
        self._phrases = [*self._grammar.meanings, self._model.unknown(cost)]
        stopping = [p for p, m in self._grammar.meanings.items() if m.command in STOPPING]
        self._overhearing.attend([*stopping, self._model.unknown(UNKNOWN_COST)])
        self._knocks = KnockDetector(knocks if self._settings.knocks else Knocks.OFF)
        self._knocks_from_s = self._now_s
        if self._speech is not None:  # what is being said belongs to the new situation
            self._speech = None
            self._activity.active = False

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
        return self._start_s + self._frames * FRAME / EAR_RATE_HZ

    def _begin_at(self, start_s: float) -> None:
        """The room's time has jumped: nothing from before is part of what comes."""
        self._start_s = start_s
        self._frames = 0
        self._microphone = np.zeros(0, np.float32)
        self._played = np.zeros(0, np.float32)
        self._before.clear()
        self._speech = None

    def _hear(self, microphone: Audio, played: Audio) -> list[EarEvent]:
        cleaned = self._own.cancel(microphone, played)
        self._frames += 1
        over = self._overhearing.hear(microphone, played, self._own.sounding, self._now_s)
        self._own_frames.append(self._own.sounding)
        self._activity.hear(cleaned)
        events: list[EarEvent] = [*self._hear_knocks(self._overhearing.linear)]
        for first in range(len(over)):  # a phrase may be torn into several sounds
            words = [word for sound in over[first:] for word in sound]
            events += self._amid_own(words, self._overhearing.quiet_frames, STANDS_OUT_DB)
        if self._speech is None:
            self._before.append(cleaned)
            if self._activity.active:
                self._speech = self._opened()
        else:
            events += self._go_on(self._speech, cleaned)
        return events

    def _hear_knocks(self, linear: Audio) -> list[Knocked]:
        """Knocks, unless they may be the coach: an echo that is not known may look like one."""
        known = self._overhearing.echo_filter
        clear = known.is_trusted and not known.is_overloaded
        self._doubtful.append(self._own.sounding and not clear)
        events = []
        for knock in self._knocks.feed(linear):
            onset_s = self._knocks_from_s + knock.onset_s
            self._last_knock_s = onset_s
            first = len(self._doubtful) - round((self._now_s - onset_s) * 100) - 1
            if not any(list(self._doubtful)[max(0, first) : first + KNOCK_FRAMES]):
                events.append(Knocked(self._now_s, onset_s, knock.count))
        return events

    def _opened(self) -> _Speech:
        frame_s = FRAME / EAR_RATE_HZ
        utterance = Utterance(
            lambda: self._model.recogniser(self._phrases),
            self._now_s - len(self._before) * frame_s - DELAY_S,
            list(self._before),
        )
        onset_s = self._rise_s()
        return _Speech(utterance, onset_s, onset_s, onset_s, onset_s - self._last_sound_s)

    def _rise_s(self) -> float:
        """When the sound that is now going on began, right after it has been noticed."""
        return self._now_s - (self._activity.onset_back_frames + 1) * FRAME / EAR_RATE_HZ - DELAY_S

    def _go_on(self, speech: _Speech, cleaned: Audio) -> list[EarEvent]:
        events: list[EarEvent] = []
        moved = speech.utterance.add(cleaned)
        if self._activity.active:
            if speech.quiet_frames >= SETTLE_FRAMES:
                speech.utterance.resume()
            if speech.quiet_frames >= ALONE_FRAMES:
                speech.alone_from_s = self._rise_s()
                speech.lull_s = speech.alone_from_s - speech.end_s
            speech.quiet_frames = 0
            speech.sound_frames += 1
            speech.end_s = self._now_s - DELAY_S
        else:
            speech.quiet_frames += 1
        if speech.quiet_frames in (SETTLE_FRAMES, ALONE_FRAMES, AMID_FRAMES):
            events += self._stopping(speech, speech.utterance.settle())
        elif moved and self._may_stop(speech):
            events += self._stopping(speech, speech.utterance.settle())
            speech.utterance.resume()
        too_long = speech.utterance.duration_s >= LONGEST_S
        if speech.quiet_frames >= END_FRAMES or too_long or speech.utterance.ended_by_recogniser:
            events += self._close(speech)
        return events

    def _close(self, speech: _Speech) -> list[EarEvent]:
        """The utterance is over: what did it mean as a whole?"""
        self._speech = None
        self._last_sound_s = speech.end_s
        self._before.clear()
        self._activity.active = False
        words = speech.utterance.settle()
        events = self._stopping(speech, words)
        found = understand(self._in_front(words), self._grammar)
        if found is None or found.stops:
            told = any(at_s >= speech.onset_s - SAME_S for _, at_s, _ in self._told)
            return events if told else self._unclear(speech, words)
        return events + self._answer(speech, found)

    def _may_stop(self, speech: _Speech) -> bool:
        """Whether it may be worth to settle words that no pause follows.

        Over the coach's voice no word is taken without a pause.
        """
        words = speech.utterance.steady_text.split()
        if not words or self._own_share(speech.onset_s, self._now_s) > 0:
            return False
        tails = (self._grammar.meaning(" ".join(words[at:])) for at in range(len(words)))
        return any(meaning is not None and meaning.command in STOPPING for meaning in tails)

    def _stopping(self, speech: _Speech, words: list[Word]) -> list[EarEvent]:
        """Stopping words by themselves, between pauses.

        In other people's talk everything that is like a stopping word turns up sooner or later.
        """
        alone = [word for word in words if word.end_s > speech.alone_from_s]
        if self._own_share(speech.onset_s, self._now_s) > 0:
            if not alone or speech.end_s - alone[-1].end_s >= FILLED_S:
                return []
            if not self._overhearing.echo_filter.has_learned:
                return self._amid_first_words(alone, speech)
            if self._overhearing.quiet_frames == 0:
                return []
            return self._amid_own(alone, speech.quiet_frames, CLEARLY_DB)  # AEC3 makes pauses
        front = self._in_front(alone)
        found = understand(front, self._grammar)
        if found is None or not self._stops(found) or not self._has_ended(speech, found):
            return []
        # In a group the end begins with a word for the number, understood or not.
        first = front[0] if self._numbered else found.words[0]
        onset_s = self._onset_s(speech, first.start_s, found.words[-1].end_s)
        return self._stop(found, onset_s, speech.alone_from_s)

    def _amid_own(self, words: list[Word], quiet_frames: int, by_db: float) -> list[EarEvent]:
        """A sound and the pause after it, while the coach speaks: only a clear stopping word."""
        found = exactly(words, self._grammar)
        if found is None or not self._stops(found) or quiet_frames < _pause_frames(found):
            return []
        if found.confidence < SURE_AMID_OWN:
            return []
        start_s, end_s = found.words[0].start_s, found.words[-1].end_s
        if not self._overhearing.levels.stands_out(start_s, end_s, by_db):
            return []
        onset_s = self._overhearing.levels.onset_s(start_s, end_s)
        if self._overhearing.may_be_first_word(onset_s, start_s, end_s):
            return []
        for _, told_s, until_s in self._told:  # what one way took for "done" the other may not
            if abs(told_s - onset_s) < SAME_END_S and end_s - until_s < SAME_END_S:
                return []
        return self._stop(found, onset_s, onset_s)

    def _amid_first_words(self, words: list[Word], speech: _Speech) -> list[EarEvent]:
        """As `_amid_own`, while the linear way does not know the room: it must be certain."""
        found = exactly(words, self._grammar)
        if found is None or not found.stops or found.confidence < SURE:
            return []
        if speech.quiet_frames < ALONE_FRAMES:
            return []
        return self._stop(found, found.words[0].start_s, speech.alone_from_s)

    def _stops(self, found: Understood) -> bool:
        return found.stops and found.confidence >= self._settings.minimum_confidence

    def _in_front(self, words: list[Word]) -> list[Word]:
        """The words without what is talked far behind them."""
        loudness_db = [self._overhearing.levels.loudness_db(w.start_s, w.end_s) for w in words]
        known_db = [db for db, w in zip(loudness_db, words, strict=True) if not w.is_unknown]
        least_db = max(known_db, default=-np.inf) - BEHIND_DB
        return [
            word
            for db, word in zip(loudness_db, words, strict=True)
            if not word.is_unknown or db >= least_db
        ]

    def _stop(self, found: Understood, onset_s: float, rise_s: float) -> list[EarEvent]:
        """Tell a stopping word; an end whose number is not sure is no more than a sound.

        The number was said before it and not understood, or two said theirs at once.
        """
        meaning = found.meaning
        nameless = meaning.command == Command.DONE and meaning.participant is None
        if self._numbered and nameless and found.words[0].start_s - rise_s > NUMBER_S:
            told = self._report(found, onset_s)
            return [Unclear(self._now_s, rise_s, found.words[-1].end_s)] if told else []
        if meaning.participant is not None and found.confidence < SURE_NUMBER:
            told = self._report(found, onset_s)
            return [Unclear(self._now_s, onset_s, found.words[-1].end_s)] if told else []
        return self._report(found, onset_s)

    def _has_ended(self, speech: _Speech, found: Understood) -> bool:
        """Whether the words are followed by a pause, in level or to the recogniser."""
        pause_frames = _pause_frames(found) if speech.lull_s >= AMID_S else AMID_FRAMES
        if speech.quiet_frames >= pause_frames or speech is not self._speech:
            return True
        start_s, end_s = found.words[0].start_s, found.words[-1].end_s
        levels = self._overhearing.levels
        after_db = levels.loudness_db(self._now_s - ENDED_S / 2, self._now_s)
        fallen_db = levels.loudness_db(start_s, end_s) - after_db
        return speech.utterance.end_s - end_s >= ENDED_S and fallen_db >= FALLEN_DB

    def _answer(self, speech: _Speech, found: Understood) -> list[EarEvent]:
        if self._own_share(found.words[0].start_s, found.words[-1].end_s) > MOST_OWN:
            return []
        if found.confidence < self._settings.minimum_confidence:
            return self._unclear(speech, list(found.words))
        words = found.words
        return self._report(found, self._onset_s(speech, words[0].start_s, words[-1].end_s))

    def _onset_s(self, speech: _Speech, start_s: float, end_s: float) -> float:
        """Room time of the first sound of words; a rise in level is sharper than they are."""
        for rise_s in (speech.alone_from_s, speech.onset_s):
            if abs(start_s - rise_s) < ONSET_NEAR_S:
                return rise_s
        return self._overhearing.levels.onset_s(start_s, end_s)

    def _report(self, found: Understood, onset_s: float) -> list[EarEvent]:
        """Tell it, unless the other way of hearing has told it already, or more of it."""
        meaning, end_s = found.meaning, found.words[-1].end_s
        for told, at_s, until_s in self._told:
            same = told == meaning and abs(at_s - onset_s) < SAME_S
            part = told.command == meaning.command and meaning.participant is None
            if same or (part and abs(until_s - end_s) < SAME_END_S):
                return []
        self._told.append((meaning, onset_s, end_s))
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

    def _unclear(self, speech: _Speech, words: list[Word]) -> list[EarEvent]:
        """Somebody spoke for a while, it was not the coach and not a knock: say so, not often."""
        long_enough = speech.sound_frames * FRAME / EAR_RATE_HZ >= SPEECH_S
        knocked = self._last_knock_s >= speech.onset_s - 0.1
        own = self._own_share(speech.onset_s, speech.end_s) > MOST_OWN
        lately = self._now_s - self._unclear_s < ASK_AGAIN_S
        if not words or not long_enough or knocked or own or lately:
            return []
        self._unclear_s = self._now_s
        onset_s = self._overhearing.levels.front_s(speech.onset_s, speech.end_s)
        return [Unclear(self._now_s, onset_s, speech.end_s)]

    def _own_share(self, from_s: float, to_s: float) -> float:
        """Which part of a span of room time the coach was sounding in, 0..1."""
        frames = list(self._own_frames)
        per_s = EAR_RATE_HZ / FRAME
        first = len(frames) - round((self._now_s - from_s) * per_s)
        last = len(frames) - round((self._now_s - to_s) * per_s)
        span = frames[max(0, first) : max(0, first, last) or None]
        return sum(span) / len(span) if span else 0.0


def _pause_frames(found: Understood) -> int:
    """How long it must be quiet after a stopping word: the longer, the less it is sure."""
    return SETTLE_FRAMES if found.confidence >= SURE else ALONE_FRAMES

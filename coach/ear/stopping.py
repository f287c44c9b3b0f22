"""Stopping words: they may not wait for the end of an utterance, and come over the coach's voice.

In other people's talk everything that is like a stopping word turns up sooner or later. So it must
stand alone between pauses, the longer the less it is sure; amid talk it takes a longer one. Over
the coach's voice it must stand out of what was before it.
"""

from __future__ import annotations

from dataclasses import dataclass

from coach.ear.grammar import Grammar
from coach.ear.levels import CLEARLY_DB, STANDS_OUT_DB
from coach.ear.overhearing import Overhearing
from coach.ear.own_voice import OwnVoice
from coach.ear.speech import ALONE_FRAMES, AMID_FRAMES, SETTLE_FRAMES, Speech
from coach.ear.told import Told
from coach.ear.understanding import Understood, exactly, understand
from coach.ear.word import Word

SURE = 0.95  # so certain, a word is taken after the shortest pause
SURE_AMID_OWN = 0.92  # least confidence while the coach speaks
AMID_S = 0.8  # talk up to so long before a word: it stands amid talk
FILLED_S = 0.3  # from the end of a stopping word to the end of its sound
EDGE_S = 0.1  # a word may be longer than the recogniser tells
AS_LOUD_DB = 3.0  # sound after a word that is no quieter than this is the same talk
ENDED_S = 0.3  # where noise hides the pause: so long the recogniser has heard no word ...
FALLEN_DB = 6.0  # ... and what is heard is quieter than the words were


@dataclass(frozen=True, slots=True)
class Stop:
    """A stopping word, when it began, and when the sound began that it stands in (room times)."""

    found: Understood
    onset_s: float
    rise_s: float


class StoppingWords:
    """The rules, for the grammar of one situation."""

    def __init__(
        self,
        grammar: Grammar,
        minimum_confidence: float,
        overhearing: Overhearing,
        own: OwnVoice,
        told: Told,
    ) -> None:
        self._grammar = grammar
        self._minimum_confidence = minimum_confidence
        self._overhearing = overhearing
        self._own = own
        self._told = told

    def may_come(self, speech: Speech, now_s: float) -> bool:
        """Whether it may be worth to settle words that no pause follows.

        Over the coach's voice no word is taken without a pause.
        """
        words = speech.utterance.steady_text.split()
        if not words or self._own.share(speech.onset_s, now_s, now_s) > 0:
            return False
        tails = (self._grammar.meaning(" ".join(words[at:])) for at in range(len(words)))
        return any(meaning is not None and meaning.stops for meaning in tails)

    def in_speech(self, speech: Speech, words: list[Word], now_s: float) -> Stop | None:
        """A stopping word by itself after the last clear pause of an utterance."""
        alone = [word for word in words if word.end_s > speech.alone_from_s]
        if self._own.share(speech.onset_s, now_s, now_s) > 0:
            return self._in_speech_over_coach(speech, alone)
        front = self._overhearing.levels.in_front(alone)
        found = understand(front, self._grammar)
        if found is None or not self._stops(found) or not self._has_ended(speech, found, now_s):
            return None
        # In a group the end begins with a word for the number, understood or not.
        first = front[0] if self._grammar.is_numbered else found.words[0]
        levels = self._overhearing.levels
        onset_s = speech.onset_of(first.start_s, found.words[-1].end_s, levels)
        return Stop(found, onset_s, speech.alone_from_s)

    def in_sounds_over_coach(self, sounds: list[list[Word]]) -> Stop | None:
        """The longest stopping phrase that ends the last sounds over the coach.

        A phrase may be torn into several sounds.
        """
        for first in range(len(sounds)):
            words = [word for sound in sounds[first:] for word in sound]
            stop = self._over_coach(words, self._overhearing.quiet_frames, STANDS_OUT_DB)
            if stop is not None:
                return stop
        return None

    def _in_speech_over_coach(self, speech: Speech, alone: list[Word]) -> Stop | None:
        if not alone or speech.end_s - alone[-1].end_s >= FILLED_S:
            return None
        if not self._overhearing.echo_filter.has_learned:
            return self._while_room_is_unknown(speech, alone)
        if self._overhearing.quiet_frames == 0:
            return None
        return self._over_coach(alone, speech.quiet_frames, CLEARLY_DB)  # AEC3 makes pauses

    def _over_coach(self, words: list[Word], quiet_frames: int, by_db: float) -> Stop | None:
        """A sound and the pause after it, while the coach speaks: only a clear stopping word."""
        found = exactly(words, self._grammar)
        if found is None or not self._stops(found) or quiet_frames < _pause_frames(found):
            return None
        if found.confidence < SURE_AMID_OWN:
            return None
        start_s, end_s = found.words[0].start_s, found.words[-1].end_s
        if not self._overhearing.levels.stands_out(start_s, end_s, by_db):
            return None
        onset_s = self._overhearing.levels.onset_s(start_s, end_s)
        if self._overhearing.may_be_first_word(onset_s, start_s, end_s):
            return None
        if self._told.covers(onset_s, end_s):  # what one way took for "done" the other may not
            return None
        return Stop(found, onset_s, onset_s)

    def _while_room_is_unknown(self, speech: Speech, words: list[Word]) -> Stop | None:
        """As `_over_coach`, while the linear way does not know the room: it must be certain."""
        found = exactly(words, self._grammar)
        if found is None or not self._stops(found) or found.confidence < SURE:
            return None
        if speech.quiet_frames < ALONE_FRAMES:
            return None
        return Stop(found, found.words[0].start_s, speech.alone_from_s)

    def _stops(self, found: Understood) -> bool:
        return found.stops and found.confidence >= self._minimum_confidence

    def _has_ended(self, speech: Speech, found: Understood, now_s: float) -> bool:
        """Whether the words are followed by a pause, in level or to the recogniser."""
        start_s, end_s = found.words[0].start_s, found.words[-1].end_s
        levels = self._overhearing.levels
        words_db = levels.loudness_db(start_s, end_s)
        # The recogniser may pass over sound that is like no word, and be less sure for it.
        if found.confidence < SURE and speech.end_s - end_s >= FILLED_S:
            after_db = levels.loudness_db(end_s + EDGE_S, speech.end_s)
            if after_db > words_db - AS_LOUD_DB:
                return False
        pause_frames = _pause_frames(found) if speech.lull_s >= AMID_S else AMID_FRAMES
        if speech.quiet_frames >= pause_frames or speech.is_over:
            return True
        after_db = levels.loudness_db(now_s - ENDED_S / 2, now_s)
        return speech.utterance.end_s - end_s >= ENDED_S and words_db - after_db >= FALLEN_DB


def _pause_frames(found: Understood) -> int:
    """How long it must be quiet after a stopping word: the longer, the less it is sure."""
    return SETTLE_FRAMES if found.confidence >= SURE else ALONE_FRAMES

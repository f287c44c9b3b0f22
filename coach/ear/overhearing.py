"""What others say while the coach speaks, on the signal without its linear echo.

AEC3's output loses half of the words in double talk; this way keeps them. It listens for stopping
words only, only once the room is known well enough, and only to sound that the echo does not
explain. Such a sound is told when a pause has ended it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np
import pywebrtc_audio

from coach.ear.activity import Activity
from coach.ear.echo_filter import EchoFilter
from coach.ear.frames import FRAME_S
from coach.ear.levels import Levels
from coach.ear.model import SpeechModel
from coach.ear.own_voice import SUPPRESSION, SUPPRESSOR_DELAY, OwnVoice
from coach.ear.speech import ALONE_FRAMES, SETTLE_FRAMES
from coach.ear.utterance import Utterance
from coach.ear.word import Word
from coach.ports import EAR_RATE_HZ, Audio

BEFORE_FRAMES = 40
NEAR_OF_FRAMES = (4, 8)  # so many of the last so many frames the echo does not explain
MOST_SOUNDS = 4  # that one phrase may be torn into
LONGEST_S = 4.0
ARRIVES_S = (-0.05, 0.25)  # from there its voice may begin in the room
MOSTLY_ECHO_DB = 5.0  # so much taken away: the coach was louder than whoever spoke
SUPPRESSOR_DELAY_S = SUPPRESSOR_DELAY / EAR_RATE_HZ


class Overhearing:
    """Fed with every frame; gives the words of each sound over the coach's voice."""

    def __init__(self, model: SpeechModel) -> None:
        self._model = model
        self._phrases: Sequence[str] = ()
        self._suppressor = pywebrtc_audio.NoiseSuppressor(EAR_RATE_HZ, 1, SUPPRESSION)
        self._activity = Activity()
        self._near: deque[bool] = deque(maxlen=NEAR_OF_FRAMES[1])
        self._before: deque[Audio] = deque(maxlen=BEFORE_FRAMES)
        self._utterance: Utterance | None = None
        self._sounds: deque[list[Word]] = deque(maxlen=MOST_SOUNDS)  # words, by short pauses
        self._has_ended = False  # nothing has been heard after the last of them
        self._onset_s = 0.0  # room time at which the sound began
        self.quiet_frames = 0  # how long only the coach has been heard
        self.echo_filter = EchoFilter()
        self.levels = Levels()  # of `linear`
        self._microphone_levels = Levels()
        self._line_start_s = -np.inf  # room time at which the coach last began to speak
        self.linear: Audio  # the last frame without its linear echo

    def attend(self, phrases: Sequence[str]) -> None:
        """The phrases to listen for from now on, and the word for anything else."""
        self._phrases = phrases
        self._utterance = None
        self._sounds.clear()

    def begin_anew(self) -> None:
        """What was heard belongs to another time; what is known of the room stays."""
        self.attend(self._phrases)
        self._near.clear()
        self._before.clear()
        self._has_ended = False
        self._line_start_s = -np.inf
        self.levels.forget()
        self._microphone_levels.forget()

    def hear(
        self, microphone: Audio, played: Audio, own: OwnVoice, now_s: float
    ) -> list[list[Word]]:
        """One frame that ends at room time `now_s`; `own` has had it.

        Returns the words of the last sounds, with short pauses between, when a pause has ended
        the last of them, and again after a long pause.
        """
        self.linear = self.echo_filter.cancel(microphone, played)
        self.levels.hear(self.linear, now_s)
        self._microphone_levels.hear(microphone, now_s)
        if own.begins:
            self._line_start_s = now_s
        quieter: Audio = self._suppressor.process(self.linear)
        self._activity.hear(quieter)
        self._near.append(self._activity.active and self.echo_filter.leaves_much)
        self._before.append(quieter)
        self.quiet_frames = 0 if any(self._near) else self.quiet_frames + 1
        self._has_ended = self._has_ended and self.quiet_frames > 0
        if self.quiet_frames > ALONE_FRAMES:
            self._sounds.clear()
        if self._utterance is not None:
            self._go_on(self._utterance, quieter)
        elif sum(self._near) >= NEAR_OF_FRAMES[0] and own.sounding and self.echo_filter.is_trusted:
            self._open(now_s)
        told = self._has_ended and self.quiet_frames in (SETTLE_FRAMES, ALONE_FRAMES)
        return list(self._sounds) if told else []

    def may_be_first_word(self, onset_s: float, start_s: float, end_s: float) -> bool:
        """Whether a sound may be what is left of the first word of the coach's line.

        `onset_s` is its rise, the others are the bounds of its words. A hiss that begins a line
        ("s", "f") is known worst to the filter, and before it was silence, from which anything
        stands out.
        """
        low_s, high_s = ARRIVES_S
        if not low_s <= onset_s - self._line_start_s <= high_s:
            return False
        before_db = self._microphone_levels.loudest_db(start_s, end_s)
        return before_db - self.levels.loudest_db(start_s, end_s) >= MOSTLY_ECHO_DB

    def _open(self, now_s: float) -> None:
        back = len(self._near) - list(self._near).index(True)
        self._onset_s = now_s - (back + 1) * FRAME_S - SUPPRESSOR_DELAY_S
        start_s = now_s - len(self._before) * FRAME_S - SUPPRESSOR_DELAY_S
        self._utterance = Utterance(
            lambda: self._model.recogniser(self._phrases), start_s, list(self._before)
        )

    def _go_on(self, utterance: Utterance, frame: Audio) -> None:
        utterance.add(frame)
        if self.quiet_frames >= SETTLE_FRAMES:
            self._sounds.append([w for w in utterance.settle() if w.end_s > self._onset_s])
            self._has_ended = True
            self._utterance = None
        elif utterance.duration_s >= LONGEST_S:  # no phrase goes on across it
            self._sounds.clear()
            self._utterance = None

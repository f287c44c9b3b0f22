"""One utterance in the sound that it lies in: where that began, its pauses, its end."""

from __future__ import annotations

from dataclasses import dataclass

from coach.ear.levels import Levels
from coach.ear.own_voice import DELAY_S
from coach.ear.utterance import Utterance
from coach.ports import Audio

SETTLE_FRAMES = 12  # a pause after which stopping words are looked for
ALONE_FRAMES = 20  # a clear pause: between two of these a word stands alone
AMID_FRAMES = 30  # a pause amid talk
END_FRAMES = 45  # a pause that ends an utterance
LONGEST_S = 8.0
ONSET_NEAR_S = 0.3  # how far the recogniser's first word may lie from the rise in level


@dataclass(slots=True)
class Speech:
    """Fed with every frame from its beginning to its end; times are room times."""

    utterance: Utterance
    onset_s: float  # of the rise in level that opened it
    lull_s: float  # how long it was quiet before the sound after its last clear pause
    end_s: float  # of the last sound so far
    alone_from_s: float  # of the sound after its last clear pause
    sound_frames: int = 0
    quiet_frames: int = 0

    @classmethod
    def begun(cls, utterance: Utterance, onset_s: float, lull_s: float) -> Speech:
        """An utterance whose first sound has just been noticed."""
        return cls(utterance, onset_s, lull_s, end_s=onset_s, alone_from_s=onset_s)

    def hear_sound(self, frame: Audio, now_s: float, rise_s: float) -> bool:
        """A frame with sound that began at `rise_s`; whether the recogniser has moved on."""
        moved = self.utterance.add(frame)
        if self.quiet_frames >= SETTLE_FRAMES:
            self.utterance.resume()
        if self.quiet_frames >= ALONE_FRAMES:
            self.alone_from_s = rise_s
            self.lull_s = rise_s - self.end_s
        self.quiet_frames = 0
        self.sound_frames += 1
        self.end_s = now_s - DELAY_S
        return moved

    def hear_quiet(self, frame: Audio) -> bool:
        """A frame without sound; whether the recogniser has moved on."""
        self.quiet_frames += 1
        return self.utterance.add(frame)

    @property
    def has_just_paused(self) -> bool:
        """Whether a pause has just become long enough to mean something."""
        return self.quiet_frames in (SETTLE_FRAMES, ALONE_FRAMES, AMID_FRAMES)

    @property
    def is_over(self) -> bool:
        """Whether nothing can belong to it any more."""
        too_long = self.utterance.duration_s >= LONGEST_S
        return self.quiet_frames >= END_FRAMES or too_long or self.utterance.ended_by_recogniser

    def onset_of(self, start_s: float, end_s: float, levels: Levels) -> float:
        """When words in it began that the recogniser places there: a rise in level is sharper."""
        for rise_s in (self.alone_from_s, self.onset_s):
            if abs(start_s - rise_s) < ONSET_NEAR_S:
                return rise_s
        return levels.onset_s(start_s, end_s)

"""Whose end was that? What was heard in a hold of several people, and what of it is sure.

There is one microphone. Only a number that is called once, and alone, is somebody's end at once;
all else is asked about when everybody is known to be well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

SAME_CALL_S = 1.5  # two calls within this time may be one sound
REPEATED_S = 6.0  # who was not heard the first time calls again within this time
QUIET_S = 12.0  # nobody has called for so long
SOUNDS = 3  # more unknown sounds than this in a hold are talk in the room ...
PEOPLE_A_SOUND = 8  # ... and one more for so many people


class Heard(Enum):
    """What a call is."""

    CLEAR = auto()  # the end of that number
    OPEN = auto()  # an end, but whose?
    DOUBLED = auto()  # a number that has called before: one of the two was somebody else's
    NOBODY = auto()  # a number that nobody has


@dataclass(slots=True)
class Ends:
    """Ends as they are called, in room seconds."""

    up: dict[int, float] = field(default_factory=dict)  # who, and when
    calls: dict[float, bool] = field(default_factory=dict)  # open ends; whether by one voice
    sounds_s: list[float] = field(default_factory=list)  # what may have been such an end
    repeats: dict[int, tuple[float, ...]] = field(default_factory=dict)  # ... of who is up
    nameless: int = 0  # calls by somebody who is not in `up`
    shaken: list[int] = field(default_factory=list)  # whose clear call another ran into
    told: bool = False  # people were told who is believed to hold; a call may now be a second one

    _until_s: dict[int, float] = field(default_factory=dict)  # when a clear call had been said

    def sounded(self, onset_s: float) -> None:
        """Take a sound that may have been an end."""
        self._run_into(onset_s)
        self.sounds_s.append(onset_s)

    def called(
        self, number: int | None, onset_s: float, end_s: float, numbers: Sequence[int]
    ) -> Heard:
        """Take a call, with or without a number, of somebody among `numbers`."""
        self._run_into(onset_s)
        before_s = (*self.calls, *self.sounds_s)
        if number in self.up:
            self._double(self.up[number], onset_s)
            return Heard.DOUBLED
        if number is not None and number not in numbers:
            self.sounds_s.append(onset_s)
            return Heard.NOBODY
        near = any(abs(onset_s - t) < SAME_CALL_S for t in before_s)
        if number is None or near:
            self.calls[onset_s] = not near
            self.nameless += 1
            return Heard.OPEN
        self.up[number], self._until_s[number] = onset_s, end_s
        repeated_s = tuple(t for t in before_s if self.told or onset_s - t < REPEATED_S)
        if repeated_s:
            self.repeats[number] = repeated_s
        return Heard.CLEAR

    def _double(self, first_s: float, onset_s: float) -> None:
        """The first may have been of others, who then called again."""
        self.calls[first_s] = False
        self.calls[onset_s] = True
        for number, at_s in self.up.items():
            if 0 < at_s - first_s < REPEATED_S:
                self.repeats[number] = (*self.repeats.get(number, ()), first_s)

    def _run_into(self, onset_s: float) -> None:
        """What begins while a call is being said makes it a jumble of two."""
        for number, until_s in self._until_s.items():
            if number in self.up and self.up[number] <= onset_s < until_s:
                self.calls[self.up.pop(number)] = False
                self.nameless += 1
                self.shaken.append(number)

    def is_talk(self, people: int) -> bool:
        """Whether there were so many sounds that they cannot be ends."""
        return len(self.sounds_s) > SOUNDS + people // PEOPLE_A_SOUND

    def may_be_over(self, people: int, holding: int, now_s: float) -> bool:
        """Whether it is quiet, and the sounds so far may have been the ends of all who hold."""
        last_s = max((*self.up.values(), *self.calls, *self.sounds_s), default=now_s)
        left = holding - self.nameless
        explained = 0 < left <= 2 * len(self.sounds_s) and not self.is_talk(people)
        return explained and now_s - last_s > QUIET_S

    def unclaimed_s(self, people: int) -> tuple[float, ...]:
        """The times that have to be asked about, in order."""
        sounds_s = [] if self.is_talk(people) else self.sounds_s
        return tuple(sorted({*self.calls, *sounds_s}))

    def one_voice_s(self) -> frozenset[float]:
        """Those of them that can be only one person's."""
        return frozenset(t for t, alone in self.calls.items() if alone)

"""Sample-exact mixer: clips begin at exact frames of the room, whatever the size of the blocks.

`render` may run in an audio callback while `play`, `drop` and `skip` are called from the loop:
they only append to deques, which the start of `render` empties. Nothing here takes a lock.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from coach.ports import Audio, Clip
from coach.practice.events import CueDone

T = TypeVar("T")

FADE_S = 0.03  # a dropped clip is silent this long after its fade began
KNEE = 0.8  # samples above it are bent, so that overlapping clips never reach full scale


@dataclass(frozen=True, slots=True)
class Begun:
    """The first frame of a cue has been rendered."""

    at_s: float
    cue: int
    text: str  # of its clip


@dataclass(slots=True)
class _Part:
    """A clip with its place on the room's time line; frames count from the room's first."""

    cue: int
    text: str
    samples: Audio
    start_frame: int
    fade_frame: int | None = None  # where a drop begins to fade it
    begun: bool = False


@dataclass(frozen=True, slots=True)
class _Drop:
    cue: int
    by_frame: int | None  # the fade ends here; None: it begins at once


def soften(samples: Audio) -> None:
    """Bend what exceeds KNEE below full scale, in place; each sample by itself."""
    size = np.abs(samples)
    if samples.size and size.max() > KNEE:
        over = size > KNEE
        room = 1.0 - KNEE
        bent = KNEE + room * np.tanh((size[over] - KNEE) / room)
        samples[over] = np.copysign(bent, samples[over])


def _taken(queue: deque[T]) -> Iterator[T]:
    while queue:
        yield queue.popleft()


class ClipMixer:
    """Mixes clips of one rate (in Hz) into blocks; its position is the room's clock."""

    def __init__(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self._frame = 0
        self._fade = np.linspace(1.0, 0.0, round(FADE_S * rate_hz), dtype=np.float32)
        self._commands: deque[_Part | _Drop] = deque()
        self._begun: deque[Begun] = deque()
        self._ended: deque[CueDone] = deque()
        self._parts: list[_Part] = []  # replaced, never changed: other threads read it

    # --- from the loop ---------------------------------------------------------------

    @property
    def frame(self) -> int:
        """The next frame to be rendered."""
        return self._frame

    def now_s(self) -> float:
        """Room time of the next frame to be rendered."""
        return self._frame / self.rate_hz

    def play(self, cue: int, clip: Clip, start_s: float, gain_db: float = 0.0) -> float:
        """Sound `clip` at `start_s`, or with the next frame if that is past.

        Returns the room time at which it will begin; `CueDone.started_s` tells what was.
        """
        if clip.rate_hz != self.rate_hz:
            raise ValueError(f"a clip of {clip.rate_hz} Hz in a mixer of {self.rate_hz} Hz")
        samples = clip.samples
        if gain_db:
            samples = samples * np.float32(10 ** (gain_db / 20))
        start_frame = max(round(start_s * self.rate_hz), self._frame)
        self._commands.append(_Part(cue, clip.text, samples, start_frame))
        return start_frame / self.rate_hz

    def drop(self, cue: int, by_s: float | None = None) -> None:
        """Fade the clip now, or so that it is silent at `by_s`; not begun, it never begins."""
        by_frame = None if by_s is None else round(by_s * self.rate_hz)
        self._commands.append(_Drop(cue, by_frame))

    def skip(self, cue: int) -> None:
        """Report a cue that was never handed over as not sounded."""
        self._ended.append(CueDone(self.now_s(), cue, None, complete=False))

    def sounding(self) -> tuple[int, ...]:
        """Cues that have begun and not ended."""
        return tuple(part.cue for part in self._parts if part.begun)

    def begun(self) -> list[Begun]:
        """Cues that began since the last call, in order."""
        return list(_taken(self._begun))

    def ended(self) -> list[CueDone]:
        """Cues that ended since the last call, in order."""
        return list(_taken(self._ended))

    # --- from the callback -----------------------------------------------------------

    def render(self, frames: int) -> Audio:
        """The next block of `frames` samples."""
        first = self._frame
        self._frame = first + frames  # what is asked for from here on begins after this block
        self._obey(first)
        block: Audio = np.zeros(frames, dtype=np.float32)
        if self._parts:
            ended = [done for part in self._parts if (done := self._add(part, block, first))]
            if ended:
                self._ended.extend(sorted(ended, key=lambda done: done.at_s))
                over = {done.cue for done in ended}
                self._parts = [part for part in self._parts if part.cue not in over]
            soften(block)
        return block

    def _obey(self, first: int) -> None:
        for command in _taken(self._commands):
            if isinstance(command, _Part):
                command.start_frame = max(command.start_frame, first)
                self._parts = [*self._parts, command]
            else:
                self._cut(command, first)

    def _cut(self, drop: _Drop, first: int) -> None:
        for part in self._parts:
            if part.cue != drop.cue:
                continue
            fade_frame = first
            if drop.by_frame is not None:
                fade_frame = max(first, drop.by_frame - len(self._fade))
            if part.fade_frame is not None:
                fade_frame = min(fade_frame, part.fade_frame)
            if fade_frame <= part.start_frame and not part.begun:
                self._parts = [other for other in self._parts if other is not part]
                self._ended.append(CueDone(first / self.rate_hz, part.cue, None, complete=False))
            else:
                part.fade_frame = fade_frame

    def _add(self, part: _Part, block: Audio, first: int) -> CueDone | None:
        """Add what of `part` falls into the block that begins at frame `first`."""
        last = first + len(block)
        natural = part.start_frame + len(part.samples)
        end = natural
        if part.fade_frame is not None:
            end = min(natural, part.fade_frame + len(self._fade))
        if part.start_frame >= last:
            return None
        if not part.begun:
            part.begun = True
            self._begun.append(Begun(part.start_frame / self.rate_hz, part.cue, part.text))
        low, high = max(first, part.start_frame), min(last, end)
        if high > low:
            piece = part.samples[low - part.start_frame : high - part.start_frame]
            if part.fade_frame is not None and high > part.fade_frame:
                piece = self._faded(piece, low, part.fade_frame)
            block[low - first : high - first] += piece
        if end > last:
            return None
        started_s = part.start_frame / self.rate_hz
        return CueDone(end / self.rate_hz, part.cue, started_s, complete=end == natural)

    def _faded(self, piece: Audio, low: int, fade_frame: int) -> Audio:
        """A copy of `piece`, whose first sample is frame `low`, faded from `fade_frame` on."""
        faded = piece.copy()
        begin = max(low, fade_frame)
        faded[begin - low :] *= self._fade[begin - fade_frame :][: len(faded) - (begin - low)]
        return faded

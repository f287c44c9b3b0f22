"""What was recorded and what was played, side by side on the room's clock, at the ear's rate.

The microphone's frames are placed by the clocks of the two streams, so a late callback, a lost
block or a crystal that runs apart from the loudspeaker's moves nothing: a gap is filled with
silence, and a drift is drawn out of the samples as soon as it is known.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import soxr

from coach.ports import EAR_RATE_HZ, Audio, Block
from coach.room.drift import DriftMeter, Spread
from coach.timing.clock import STEEPEST

PLACE_S = 0.001  # deviations of the two clocks below this are noise of the estimate
# At first the estimates still come nearer to the truth, by a millisecond or two. To follow them
# there would cost what the ear learns of the echo's way: its linear canceller took away 6 to 20 dB
# of a still echo, and 16 to 38 dB when the microphone stayed where it was (measured).
SETTLING_S = 20.0
PLACE_AT_FIRST_S = 0.004
CATCH_UP_S = 20.0  # a deviation beyond these is taken away within about this time
LOST_S = 0.02  # above this frames were lost
AHEAD_S = 0.02  # a canceller that gets an echo before its reference is lost (25 dB worse, measured)
QUALITY = "HQ"  # of soxr; it keeps back up to 21 ms, MQ 34 ms (measured), LQ cuts at 6 kHz


class _Converter:
    """A stream at the ear's rate; output sample k is input time k / EAR_RATE_HZ."""

    def __init__(self, rate_hz: int) -> None:
        self._stream: Any = None
        if rate_hz != EAR_RATE_HZ:
            self._stream = soxr.ResampleStream(rate_hz, EAR_RATE_HZ, 1, "float32", QUALITY)

    def feed(self, samples: Audio) -> Audio:
        if self._stream is None:
            return samples
        converted: Audio = self._stream.resample_chunk(samples)
        return converted


class _Line:
    """Samples of a stretch of room time; `start` and `end` count samples of room time."""

    def __init__(self) -> None:
        self.start = 0
        self._samples: Audio = np.zeros(0, dtype=np.float32)

    @property
    def end(self) -> int:
        return self.start + len(self._samples)

    def add(self, samples: Audio) -> None:
        self._samples = np.concatenate((self._samples, samples))

    def fill(self, end: int) -> None:
        """Silence up to `end`; a gap of one or two samples takes the last one's value."""
        missing = end - self.end
        if missing > 0:
            last = self._samples[-1] if missing <= 2 and len(self._samples) else 0.0
            self.add(np.full(missing, last, dtype=np.float32))

    def span(self, start: int, end: int) -> Audio:
        """The samples from `start` to `end`; silence where there are none."""
        out: Audio = np.zeros(end - start, dtype=np.float32)
        low, high = max(start, self.start), min(end, self.end)
        if high > low:
            out[low - start : high - start] = self._samples[low - self.start : high - self.start]
        return out

    def forget(self, before: int) -> None:
        gone = max(0, min(before, self.end) - self.start)
        self._samples = self._samples[gone:]
        self.start += gone


class Alignment:
    """Turns stamped pieces of two streams into blocks that follow each other without a gap.

    `delay_s` is what the stamps do not know of the way from the loudspeaker to the microphone:
    a played sample stands beside the recorded one it sounds in, or up to AHEAD_S earlier, so
    that an estimate which wanders never puts the echo first.
    """

    def __init__(self, played_hz: int, delay_s: float, block_s: float) -> None:
        self._delay = round((delay_s - AHEAD_S) * EAR_RATE_HZ)
        self._size = round(block_s * EAR_RATE_HZ)
        self._play_converter = _Converter(played_hz)
        self._play_frame = 0  # the next of the room
        self._played = _Line()
        self._recorded = _Line()
        self._next = 0  # first sample of the next block
        self._record_converter: _Converter | None = None
        self._meter = DriftMeter()
        self._spread = Spread()
        self._fed = 0  # samples of the open microphone so far
        self._shift: int | None = None  # room sample of its first one
        # how far it was from there when the estimates had settled, or the drift was known
        self._off: int | None = None
        self._early: list[Audio] = []  # recorded before the clocks are known

    def open(self, recorded_hz: int) -> None:
        """A microphone begins at its frame 0."""
        self._record_converter = _Converter(recorded_hz)
        self._meter, self._spread = DriftMeter(), Spread()
        self._fed, self._shift, self._off = 0, None, None
        self._early.clear()

    def play(self, samples: Audio, frame: int) -> None:
        """What sounds from room frame `frame` on; frames left out before it were silent."""
        silent: Audio = np.zeros(frame - self._play_frame, dtype=np.float32)
        self._play_frame = frame + len(samples)
        self._played.add(self._play_converter.feed(np.concatenate((silent, samples))))

    def record(self, samples: Audio, begun_s: float | None, lately_s: float | None = None) -> None:
        """The next frames of the microphone.

        `begun_s` is the room time of its frame 0, None as long as that is not known; `lately_s`
        the same, or anything that differs from it by a constant, from the last seconds alone: it
        wanders more, but is never behind. Without it no drift is measured.
        """
        assert self._record_converter is not None
        self._early.append(self._record_converter.feed(samples))
        if begun_s is None:
            return
        catch_up = self._place(begun_s * EAR_RATE_HZ + self._spread.ahead)
        if lately_s is not None and self._off is not None:
            self._measure(lately_s)
        for piece in self._early:
            self._put(self._spread.feed(piece, self._meter.drift + catch_up))
        self._early.clear()

    def silence(self, until_s: float) -> None:
        """Nothing is recorded up to room time `until_s`."""
        self._recorded.fill(round(until_s * EAR_RATE_HZ))

    def blocks(self) -> list[Block]:
        """What is complete since the last call, in order."""
        ready = min(self._recorded.end, self._played.end + self._delay)
        found: list[Block] = []
        while self._next + self._size <= ready:
            end = self._next + self._size
            microphone = self._recorded.span(self._next, end)
            played = self._played.span(self._next - self._delay, end - self._delay)
            found.append(Block(self._next / EAR_RATE_HZ, microphone, played))
            self._next = end
        if found:
            self._recorded.forget(self._next)
            self._played.forget(self._next - self._delay)
        return found

    def _place(self, shift: float) -> float:
        """Let the microphone begin at room sample `shift`, or go on near it (see PLACE_S).

        Gives by how much it must be faster than its crystal to come nearer.
        """
        if self._shift is None:
            self._shift = round(shift)
        elif abs(shift - self._shift) > LOST_S * EAR_RATE_HZ:
            self._shift, self._off = round(shift), 0
            self._meter.restart()
        elif self._off is None and self._fed > SETTLING_S * EAR_RATE_HZ:
            self._off = round(shift) - self._shift
        apart = shift - self._shift - (self._off or 0)
        allowed = (PLACE_AT_FIRST_S if self._off is None else PLACE_S) * EAR_RATE_HZ
        beyond = max(0.0, abs(apart) - allowed) / EAR_RATE_HZ
        return -float(np.sign(apart)) * min(STEEPEST, beyond / CATCH_UP_S)

    def _measure(self, lately_s: float) -> None:
        if self._meter.add(self._fed / EAR_RATE_HZ, lately_s):
            self._off = None  # now that it is sure, it need not come nearer any more

    def _put(self, piece: Audio) -> None:
        assert self._shift is not None
        start = self._fed + self._shift
        self._fed += len(piece)
        self._recorded.fill(start)
        self._recorded.add(piece[max(0, self._recorded.end - start) :])

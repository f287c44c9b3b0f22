"""When frame 0 of a stream is at its converter, from the stamps of the callbacks.

A callback comes up to 30 ms late and PortAudio's own clock may be the clock of day, so
neither can be used as it is. The converter times that PortAudio predicts are right on
average: their running median, carried over to the machine's monotonic clock, is good to about
a millisecond (measured against recordings of the room, benchmarks/room.py).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from statistics import median

WINDOW = 200  # stamps; two seconds of 10 ms blocks, so that a drifting crystal is followed
ENOUGH = 20  # stamps before the estimate is used
JUMP_S = 0.1  # PortAudio's clock against the monotonic clock: more than this, and it was set


@dataclass(frozen=True, slots=True)
class Stamp:
    """One callback: its first frame, and four readings of three clocks in seconds."""

    frame: int
    converter_s: float  # when that frame is at the converter, on PortAudio's clock
    current_s: float  # PortAudio's clock at the call
    monotonic_s: float  # the machine's clock in the callback, later by the wait for Python


class StreamClock:
    """Running estimate of the monotonic time of frame 0 of a stream."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._converter_s: deque[float] = deque(maxlen=WINDOW)
        self._ahead_s: deque[float] = deque(maxlen=WINDOW)

    def add(self, stamp: Stamp) -> None:
        """Take in the stamp of one callback."""
        ahead_s = stamp.current_s - stamp.monotonic_s
        if self._ahead_s and abs(ahead_s - self._ahead_s[-1]) > JUMP_S:
            self.forget()
        self._ahead_s.append(ahead_s)
        self._converter_s.append(stamp.converter_s - stamp.frame / self._rate_hz)

    def forget(self) -> None:
        """Start anew, as after a lost device."""
        self._converter_s.clear()
        self._ahead_s.clear()

    @property
    def ready(self) -> bool:
        """Whether there are enough stamps for an estimate."""
        return len(self._converter_s) >= ENOUGH

    @property
    def origin_s(self) -> float:
        """Monotonic time at which frame 0 is, or would have been, at the converter.

        The wait for Python only ever makes `current - monotonic` too small: the largest is
        the truest.
        """
        return median(self._converter_s) - max(self._ahead_s)

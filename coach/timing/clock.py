"""When frame 0 of a stream is at its converter, from the stamps of the callbacks.

A callback comes up to 30 ms late, PortAudio's own clock may be the clock of day, and the
converter times it predicts wander by several milliseconds over seconds when the machine is
busy, while the frames themselves follow each other without a slip (all measured). So frames
are the clock: their origin is a long mean of running medians, which moves no faster than a
crystal drifts; only frames that were really lost move it at once.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from statistics import median

WINDOW = 100  # stamps; two seconds of 20 ms blocks
ENOUGH = 15  # stamps before the first estimate
CAREFUL = 30  # stamps before frames are held to be lost
SLOW = 1500  # stamps of the long mean: 30 s, behind a drift of 50 ppm by 1.5 ms
STEEPEST = 200e-6  # a crystal drifts by less: faster changes of the estimate are wandering
SHIFT_S = 0.02  # after an xrun: a shift above this is lost frames, below it may be wandering
SURE_S = 0.04  # the same without any sign of an xrun
JUMP_S = 0.1  # PortAudio's clock against the monotonic clock: more than this, and it was set


@dataclass(frozen=True, slots=True)
class Stamp:
    """One callback: its first frame, and three readings of clocks in seconds."""

    frame: int
    converter_s: float  # when that frame is at the converter, on PortAudio's clock
    current_s: float  # PortAudio's clock at the call
    monotonic_s: float  # the machine's clock in the callback, later by the wait for Python


class StreamClock:
    """Estimate of the monotonic time of frame 0 of a stream, kept over xruns and reopening."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._converter_s: deque[float] = deque(maxlen=WINDOW)
        self._ahead_s: deque[float] = deque(maxlen=WINDOW)
        self._origin_s: float | None = None
        self.lately_s = 0.0  # `origin_s` of the last two seconds: it wanders, but is not behind
        self._used = 0  # stamps in the long mean
        self._frame = 0  # of the last stamp
        self._doubtful = False

    def add(self, stamp: Stamp, xrun: bool = False) -> None:
        """Take in the stamp of one callback; `xrun`: frames may have been lost before it."""
        ahead_s = stamp.current_s - stamp.monotonic_s
        if xrun or (self._ahead_s and abs(ahead_s - self._ahead_s[-1]) > JUMP_S):
            self.doubt()
        self._ahead_s.append(ahead_s)
        self._converter_s.append(stamp.converter_s - stamp.frame / self._rate_hz)
        if not self.settled:
            return
        # The wait for Python only ever makes `ahead` too small: the largest is the truest.
        found_s = median(self._converter_s) - max(self._ahead_s)
        self.lately_s = found_s
        passed_s = (stamp.frame - self._frame) / self._rate_hz
        self._frame = stamp.frame
        if self._origin_s is None:
            self._origin_s = found_s
        elif abs(found_s - self._origin_s) < SHIFT_S:
            self._used = min(self._used + 1, SLOW)
            most_s = STEEPEST * passed_s
            step_s = (found_s - self._origin_s) / self._used
            self._origin_s += max(-most_s, min(most_s, step_s))

    @property
    def ready(self) -> bool:
        """Whether there is an estimate."""
        return self._origin_s is not None

    @property
    def settled(self) -> bool:
        """Whether there are enough stamps since the last doubt."""
        return len(self._converter_s) >= (CAREFUL if self._doubtful else ENOUGH)

    @property
    def origin_s(self) -> float:
        """Monotonic time at which frame 0 is, or would have been, at the converter."""
        assert self._origin_s is not None
        return self._origin_s

    def doubt(self) -> None:
        """Frames may have been lost: judge by the stamps from now on."""
        self._converter_s.clear()
        self._ahead_s.clear()
        self._doubtful = True

    def shift_s(self) -> float:
        """How much later the stream runs than its origin says; 0 if that may be wandering."""
        if not (self.ready and self.settled):
            return 0.0
        shift_s = self.lately_s - self.origin_s
        limit_s = SHIFT_S if self._doubtful else SURE_S
        if len(self._converter_s) == WINDOW:
            self._doubtful = False
        return shift_s if abs(shift_s) > limit_s else 0.0

    def move(self, shift_s: float) -> None:
        """Take a shift over: the frames that were lost are not counted."""
        self._origin_s = self.origin_s + shift_s

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
SHIFT_S = 0.008  # a shift of the estimate above this is lost frames, below it is drift
FOLLOW = 0.02  # how much of a drift is taken over with each stamp
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


class RoomClock:
    """The room's time: frames played, by count and by the machine's clock.

    Frames that an xrun swallowed have passed all the same: `lost_frames` says how many the
    room must count without sounding them, so that its time stays true.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._stream = StreamClock(rate_hz)
        self._origin_s: float | None = None

    def add(self, stamp: Stamp) -> None:
        """Take in the stamp of one block that was played; its frame counts from the room's."""
        self._stream.add(stamp)
        if not self._stream.ready:
            return
        found_s = self._stream.origin_s
        if self._origin_s is None:
            self._origin_s = found_s
        elif abs(found_s - self._origin_s) < SHIFT_S:
            self._origin_s += FOLLOW * (found_s - self._origin_s)

    @property
    def ready(self) -> bool:
        """Whether room time can be told from the machine's clock."""
        return self._origin_s is not None

    @property
    def settled(self) -> bool:
        """Whether there are enough stamps since the stream was opened."""
        return self._stream.ready

    @property
    def origin_s(self) -> float:
        """Monotonic time of room frame 0 at the loudspeaker."""
        assert self._origin_s is not None
        return self._origin_s

    def now_s(self, monotonic_s: float) -> float:
        """Room time of what leaves the loudspeaker at that monotonic time."""
        return monotonic_s - self.origin_s

    def lost_frames(self) -> int:
        """Frames by which the stream is late (negative: early) against the room's time.

        After a value other than 0 the estimate of the stream begins anew.
        """
        if not self.settled or abs(late_s := self._stream.origin_s - self.origin_s) < SHIFT_S:
            return 0
        self._stream.forget()
        return round(late_s * self._rate_hz)

    def reopened(self) -> None:
        """The stream is a new one: its stamps say nothing about the old one's."""
        self._stream.forget()

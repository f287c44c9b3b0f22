"""Two crystals that run apart, as a loudspeaker's and another device's microphone do.

An echo canceller learns a still room; one in which everything moves away by 20 to 100 samples in
a million is never still.
"""

from __future__ import annotations

from math import ceil

import numpy as np
from numpy.typing import NDArray

from coach.ports import Audio
from coach.timing.clock import STEEPEST

# Three standard errors of a slope over a second, sigma * sqrt(12 / n), for estimates of the clocks
# that wander by 1 ms within 4 s. Over longer it is surer, by the power of 1.5.
DOUBT = 0.02
SOONEST_S = 20.0  # before, not even the steepest is
KEPT = 1 - 2e-5  # of the past for each estimate, of 50 in a second: crystals warm up
SIDE = 16  # samples on either side that a new one is made of
PHASES = 512  # places between two samples


class DriftMeter:
    """How much faster one stream runs than the other: the slope of their parting, least squares."""

    def __init__(self) -> None:
        self.drift = 0.0  # fast by this part; 0 until it is sure
        self.restart()

    def restart(self) -> None:
        """Frames were lost: what comes now does not go with what was."""
        self._first: tuple[float, float] | None = None
        self._sums = np.zeros(5)
        self._sure = False

    def add(self, at_s: float, begun_s: float) -> bool:
        """At `at_s` of its own time the stream seems to have begun at `begun_s` of the other's.

        Gives whether this has made it sure.
        """
        if self._first is None:
            self._first = at_s, begun_s
        x, y = at_s - self._first[0], begun_s - self._first[1]
        self._sums *= KEPT
        self._sums += (1.0, x, y, x * x, x * y)
        if x < SOONEST_S:
            return False
        n, sum_x, sum_y, sum_xx, sum_xy = self._sums
        spread = n * sum_xx - sum_x * sum_x
        slope = float(np.clip((n * sum_xy - sum_x * sum_y) / spread, -STEEPEST, STEEPEST))
        was_sure, self._sure = self._sure, self._sure or abs(slope) > DOUBT * x**-1.5
        if self._sure:
            self.drift = -slope
        return self._sure and not was_sure


class Spread:
    """A stream that is drawn out, or pressed together, to another's clock.

    Band-limited interpolation with a windowed sinc: J. O. Smith, "Digital Audio Resampling Home
    Page", CCRMA, 2002 (from memory). soxr's variable rate is marked as an experiment, and begins
    two samples late at some rates. Without a drift the samples go through untouched.
    """

    def __init__(self) -> None:
        self._held: Audio = np.zeros(0, np.float32)
        self._at = 0.0  # of the next sample that goes out, in `_held`
        self.ahead = 0.0  # how many more samples have gone in than out, but those still held

    def feed(self, samples: Audio, drift: float) -> Audio:
        """The stream is fast by `drift`; its samples on the other's clock, up to 1 ms later."""
        self._held = np.concatenate((self._held, samples))
        if not (drift or self.ahead):
            out = samples
            self._at = float(len(self._held))
        else:
            step = 1.0 + drift
            count = max(0, ceil((len(self._held) - SIDE - self._at) / step))
            out = self._between(self._at + step * np.arange(count))
            self._at += step * count
            self.ahead += drift * count
        gone = max(0, int(self._at) - SIDE)
        self._held = self._held[gone:]
        self._at -= gone
        return out

    def _between(self, places: NDArray[np.floating]) -> Audio:
        whole = places.astype(int)
        phase = np.rint((places - whole) * PHASES).astype(int)
        near = self._held[whole[:, None] + np.arange(1 - SIDE, 1 + SIDE)]
        out: Audio = np.einsum("nk,nk->n", near, _WEIGHTS[phase])
        return out


def _weights() -> NDArray[np.float32]:
    """For each phase, of the samples from SIDE - 1 before to SIDE after."""
    away = np.arange(1 - SIDE, 1 + SIDE) - np.arange(PHASES + 1)[:, None] / PHASES
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (away / SIDE) ** 2, 0, 1))) / np.i0(8.0)
    return (np.sinc(away) * window).astype(np.float32)


_WEIGHTS = _weights()

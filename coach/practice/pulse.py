"""Arithmetic of the pulse count."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from statistics import median

RATE_RANGE_BPM = (24.0, 220.0)  # outside, the count was misheard or miscounted: asked again
RECOUNT_FROM_BPM = 104.0  # 26 beats in 15 s; above 100 a 15 s count is not trusted
# (Hollerbach, Sneed. Heart Lung 1990;19(3):258-264)


def rate_bpm(beats: int, window_s: float) -> float:
    """Beats counted in a window, as a rate: beats * 60 / window."""
    return beats * 60.0 / window_s


def spread_bpm(window_s: float) -> float:
    """One standard deviation of a count at random phase: step / sqrt(6), step = 60 / window."""
    return 60.0 / window_s / sqrt(6.0)


def plausible(beats: int, window_s: float) -> bool:
    """Whether somebody lying down can have counted so many beats in the window."""
    low, high = RATE_RANGE_BPM
    return low <= rate_bpm(beats, window_s) <= high


def needs_longer_count(beats: int, window_s: float) -> bool:
    """Whether the rate is too high for a short window; a 30 s count follows."""
    return window_s < 30.0 and rate_bpm(beats, window_s) >= RECOUNT_FROM_BPM


def easily_confused(number: int) -> bool:
    """Thirteen and thirty, ... nineteen and ninety, also within hundreds."""
    rest = number % 100
    return 13 <= rest <= 19 or (rest % 10 == 0 and 30 <= rest <= 90)


def tapped_rate_bpm(onsets_s: Sequence[float]) -> tuple[float, float] | None:
    """Rate and its standard error from tapped beats, in bpm; None with fewer than five taps.

    Intervals further than 40 % from the median are missed or doubled taps and left out. The
    rate is 60 / mean interval; the standard error follows from the spread of the intervals. None
    too for a rate that nobody at rest can have.
    """
    intervals = [b - a for a, b in pairwise(onsets_s)]
    if len(intervals) < 4:
        return None
    middle = median(intervals)
    kept = [x for x in intervals if abs(x - middle) <= 0.4 * middle]
    if len(kept) < 4:
        return None
    mean = sum(kept) / len(kept)
    low, high = RATE_RANGE_BPM
    if not low <= 60.0 / mean <= high:
        return None
    variance = sum((x - mean) ** 2 for x in kept) / (len(kept) - 1)
    error_s = sqrt(variance / len(kept))
    return 60.0 / mean, 60.0 / mean**2 * error_s

"""Knocks, tongue clicks and finger snaps: a sudden rise, soon gone again, and little else about it.

A consonant rises and falls like a knock, but stands among other loud sound of the same voice. A
short vowel stands alone, but holds its level for a while; a knock falls from its first moment.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from coach.ports import EAR_RATE_HZ, Audio
from coach.practice.events import Knocks

HOP = EAR_RATE_HZ // 250  # 4 ms
HOP_S = HOP / EAR_RATE_HZ
BEFORE_HOPS = 25  # the 100 ms before, which a knock stands out of
RISE_DB = 18.0  # above the mean of what was before
LOUD_DB = -52.0  # quieter is no knock
FALL_HOPS = (8, 13)  # 32-52 ms after the onset ...
FALL_DB = 6.0  # ... it has fallen this far below its peak ...
DECAY_HOPS = (20, 30)  # ... and after 80-120 ms ...
DECAY_DB = 12.0  # ... this far: more would lose knocks in a bare room
AROUND_HOPS = 75  # in the 300 ms before, and those after, ...
MOST_LOUD_HOPS = 12  # ... no more is as loud: room for the other knock of a pair, not for speech
DEAD_HOPS = 25  # one knock makes no second onset within this span
PAIR_S = (0.12, 0.6)


@dataclass(frozen=True, slots=True)
class Knock:
    """A knock or a quick pair, with the onsets of the first and the last in it.

    Times are on the clock of the samples fed.
    """

    onset_s: float
    last_s: float
    count: int


class KnockDetector:
    """Finds single knocks in 4 ms levels and joins quick pairs where the mode asks for it."""

    def __init__(self, mode: Knocks) -> None:
        self._mode = mode
        self._levels: deque[float] = deque(maxlen=2 * AROUND_HOPS + 1)
        self._rest: Audio = np.zeros(0, np.float32)  # too short for a hop as yet
        self._hops = 0
        self._dead_until = 0
        self._first_s: float | None = None  # a single that waits for its second

    def feed(self, samples: Audio) -> list[Knock]:
        """Any number of samples; knocks whose decay has been seen."""
        if self._mode is Knocks.OFF:
            return []
        found: list[Knock] = []
        samples = np.concatenate([self._rest, samples])
        whole = len(samples) // HOP * HOP
        self._rest = samples[whole:]
        hops = samples[:whole].reshape(-1, HOP)
        powers = np.mean(np.square(hops, dtype=np.float64), axis=1)
        for level in 10 * np.log10(powers + 1e-10):
            self._levels.append(float(level))
            self._hops += 1
            onset_s = self._onset()
            if onset_s is not None:
                found += self._joined(onset_s)
            found += self._overdue()
        return found

    def _onset(self) -> float | None:
        """Onset of a knock, if the hop AROUND_HOPS ago was one."""
        if len(self._levels) < (self._levels.maxlen or 0) or self._hops < self._dead_until:
            return None
        levels = np.array(self._levels)
        around, after = levels[:AROUND_HOPS], levels[AROUND_HOPS:]
        before = around[-BEFORE_HOPS:]
        # A knock may begin at the end of a hop: the last two are no background.
        background = 10 * np.log10(np.mean(10 ** (before[:-2] / 10)))
        if after[0] < background + RISE_DB or after[0] < LOUD_DB:
            return None
        peak = after[:5].max()
        loud = peak - DECAY_DB
        decayed = (
            after[slice(*FALL_HOPS)].max() < peak - FALL_DB
            and after[slice(*DECAY_HOPS)].max() < loud
        )
        loud_hops = max(np.sum(around[:-3] > loud), np.sum(after[DECAY_HOPS[0] :] > loud))
        self._dead_until = self._hops + DEAD_HOPS
        is_knock = decayed and loud_hops <= MOST_LOUD_HOPS
        return (self._hops - len(after)) * HOP_S if is_knock else None

    def _joined(self, onset_s: float) -> list[Knock]:
        if self._mode is Knocks.BEATS:
            return [Knock(onset_s, onset_s, 1)]
        if self._first_s is None:
            self._first_s = onset_s
            return []
        first, self._first_s = self._first_s, None
        if PAIR_S[0] <= onset_s - first <= PAIR_S[1]:
            return [Knock(first, onset_s, 2)]
        self._first_s = onset_s
        return [Knock(first, first, 1)]

    def _overdue(self) -> list[Knock]:
        """A single whose second can no longer come."""
        seen_s = (self._hops - AROUND_HOPS - 1) * HOP_S
        if self._first_s is None or seen_s - self._first_s <= PAIR_S[1]:
            return []
        first, self._first_s = self._first_s, None
        return [Knock(first, first, 1)]

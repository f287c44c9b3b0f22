"""Who speaks when: one voice, one clip at a time, by rank and by mark.

Untimed clips wait for a free voice, by rank, then in order. A timed clip sounds at exactly its
mark: it goes to the mixer `lead_s` ahead; whatever of no higher rank would still sound then is
faded just before, and an untimed clip that would not be over by then waits until after it.
Safety interrupts everything below it at once, and a timed clip whose mark falls into safety
speech is not sounded. Every clip ends in exactly one CueDone from the mixer.

The speaker uses a clip's own cue on the calendar: cues are unique over clips and waits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from coach.ports import Calendar, Clip, Mixer
from coach.practice.events import CueDone, CueDue, Rank
from coach.room.mixer import FADE_S

GAP_S = 0.15  # between one clip and the next


@dataclass(slots=True)
class _Turn:
    cue: int
    clip: Clip
    rank: Rank
    at_s: float | None
    gain_db: float
    start_s: float = 0.0  # known once it is in the mixer
    end_s: float = 0.0


class Speaker:
    """Hands clips to the mixer, each at its time; `now_s` is the room's clock."""

    def __init__(
        self, mixer: Mixer, calendar: Calendar, now_s: Callable[[], float], lead_s: float
    ) -> None:
        self._mixer = mixer
        self._calendar = calendar
        self._now_s = now_s
        self._lead_s = lead_s
        self._queue: list[_Turn] = []  # untimed, the next one first
        self._timed: dict[int, _Turn] = {}  # not yet handed over
        self._playing: dict[int, _Turn] = {}  # in the mixer
        self._free_s = 0.0  # when the last clip ended or will have faded
        self.begins: Callable[[int, float, float], None] = lambda *_: None  # cue, start, end

    def say(
        self,
        cue: int,
        clip: Clip,
        rank: Rank = Rank.GUIDANCE,
        at_s: float | None = None,
        gain_db: float = 0.0,
    ) -> None:
        """Sound `clip` at exactly `at_s`, or as soon as the voice is free."""
        turn = _Turn(cue, clip, rank, at_s, gain_db)
        if at_s is None:
            self._queue.append(turn)
            self._queue.sort(key=lambda waiting: -waiting.rank)  # stable: then in order
            if rank is Rank.SAFETY:
                self._silence([other for other in self._playing.values() if other.rank < rank])
        elif at_s - self._lead_s > self._now_s():
            self._timed[cue] = turn
            self._calendar.add(cue, at_s - self._lead_s)
        else:
            self._hand_over(turn, at_s)
        self._advance()

    def drop(self, cue: int) -> None:
        """Forget the clip; fade it if it sounds. Unknown cues are ignored."""
        self._forget(lambda turn: turn.cue == cue)

    def hush(self, rank: Rank = Rank.TIMING) -> None:
        """Fade what sounds and forget what waits, up to and including `rank`."""
        self._forget(lambda turn: turn.rank <= rank)

    def due(self, event: CueDue) -> bool:
        """Take an event of the calendar; False if it is not the speaker's."""
        turn = self._timed.pop(event.cue, None)
        if turn is None or turn.at_s is None:
            return False
        self._hand_over(turn, turn.at_s)
        self._advance()
        return True

    def done(self, event: CueDone) -> None:
        """Learn that a clip has ended; the next one may begin."""
        if self._playing.pop(event.cue, None) is not None and event.started_s is not None:
            self._free_s = max(self._free_s, event.at_s)
        self._advance()

    def _forget(self, which: Callable[[_Turn], bool]) -> None:
        waiting = [*self._queue, *self._timed.values()]
        for turn in filter(which, waiting):
            self._timed.pop(turn.cue, None)
            self._calendar.drop(turn.cue)
            self._mixer.skip(turn.cue)
        self._queue = [turn for turn in self._queue if not which(turn)]
        self._silence([turn for turn in self._playing.values() if which(turn)])
        self._advance()

    def _silence(self, turns: list[_Turn]) -> None:
        now_s = self._now_s()
        for turn in turns:
            del self._playing[turn.cue]
            self._mixer.drop(turn.cue)
            if turn.start_s <= now_s:
                self._free_s = max(self._free_s, min(turn.end_s, now_s + FADE_S))

    def _hand_over(self, turn: _Turn, mark_s: float) -> None:
        end_s = mark_s + turn.clip.duration_s
        clash = [
            other
            for other in self._playing.values()
            if other.end_s > mark_s and other.start_s < end_s
        ]
        above = [other.rank for other in (*clash, *self._queue[:1]) if other.rank > turn.rank]
        if Rank.SAFETY in above or any(other.rank > turn.rank for other in clash):
            self._mixer.skip(turn.cue)
            return
        for other in clash:
            self._mixer.drop(other.cue, by_s=mark_s)
            other.end_s = mark_s
        self._play(turn, mark_s)

    def _play(self, turn: _Turn, start_s: float) -> None:
        turn.start_s = self._mixer.play(turn.cue, turn.clip, start_s, turn.gain_db)
        turn.end_s = turn.start_s + turn.clip.duration_s
        self._playing[turn.cue] = turn
        self.begins(turn.cue, turn.start_s, turn.end_s)

    def _advance(self) -> None:
        """Begin the first waiting clip if the voice is free and it is over before any mark."""
        if not self._queue:
            return
        turn, now_s = self._queue[0], self._now_s()
        others = [*self._playing.values()]
        if any(other.at_s is None or other.start_s <= now_s for other in others):
            return
        pause_s = 0.0 if turn.rank is Rank.SAFETY else GAP_S
        start_s = max(now_s, self._free_s + pause_s)
        marks_s = [
            other.at_s for other in (*others, *self._timed.values()) if other.at_s is not None
        ]
        over_s = start_s + turn.clip.duration_s + GAP_S
        if turn.rank is Rank.SAFETY or all(over_s <= mark_s for mark_s in marks_s):
            self._queue.pop(0)
            self._play(turn, start_s)

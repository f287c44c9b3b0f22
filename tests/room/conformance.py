"""What every room promises, a real one and a simulated one."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from coach.ports import EAR_RATE_HZ, Audio, Block, Clip, Room
from coach.practice.events import CueDone, CueDue, Event


def noise(room: Room, length_s: float = 0.3) -> Clip:
    """A clip that is found again."""
    random = np.random.default_rng(9)
    samples = (0.2 * random.standard_normal(round(length_s * room.rate_hz))).astype(np.float32)
    return Clip("noise", samples, room.rate_hz)


class Listening:
    """Takes a room's moments and keeps them."""

    def __init__(self, room: Room) -> None:
        self.room = room
        self.blocks: list[Block] = []
        self.events: list[Event] = []
        self._moments = room.moments()

    def until(self, room_s: float) -> None:
        """Take moments until what was recorded reaches that room time."""
        for moment in self._moments:
            if isinstance(moment, Block):
                self.blocks.append(moment)
                if moment.start_s >= room_s:
                    return
            else:
                self.events.append(moment)

    def played_at(self, room_s: float, length_s: float) -> Audio:
        """What the blocks say was played from then on; within 20 ms (see Alignment)."""
        first = round((room_s - self.blocks[0].start_s) * EAR_RATE_HZ)
        played = np.concatenate([block.played for block in self.blocks])
        return played[first : first + round(length_s * EAR_RATE_HZ)]


class RoomConformance:
    """Subclasses give the fixture `room`: open, nobody in it, at any time of its clock."""

    def test_blocks_follow_each_other_at_the_rate_of_the_ear(self, room: Room) -> None:
        listening = Listening(room)
        listening.until(room.now_s() + 1.0)
        for before, after in pairwise(listening.blocks):
            length_s = len(before.microphone) / EAR_RATE_HZ
            assert after.start_s - before.start_s == pytest.approx(length_s, abs=1e-6)
            assert len(before.microphone) == len(before.played)

    def test_a_clip_sounds_at_its_mark_and_says_when_it_ended(self, room: Room) -> None:
        listening = Listening(room)
        clip = noise(room)
        mark_s = round(room.now_s() + 0.5, 2)
        begins_s = room.mixer.play(1, clip, mark_s)
        listening.until(mark_s + 1.0)
        assert begins_s == pytest.approx(mark_s, abs=1 / room.rate_hz)
        (done,) = [event for event in listening.events if isinstance(event, CueDone)]
        assert done.started_s == pytest.approx(mark_s, abs=1 / room.rate_hz)
        assert done.at_s == pytest.approx(mark_s + clip.duration_s, abs=1 / room.rate_hz)
        assert done.complete
        assert np.abs(listening.played_at(mark_s + 0.02, 0.2)).mean() > 0.05
        assert np.abs(listening.played_at(mark_s - 0.2, 0.15)).max() < 0.001
        assert np.abs(listening.played_at(mark_s + 0.4, 0.2)).max() < 0.001

    def test_a_clip_whose_time_is_past_begins_at_once(self, room: Room) -> None:
        listening = Listening(room)
        begins_s = room.mixer.play(1, noise(room), room.now_s() - 5.0)
        listening.until(begins_s + 1.0)
        (done,) = [event for event in listening.events if isinstance(event, CueDone)]
        assert done.started_s is not None
        assert begins_s <= done.started_s <= begins_s + 0.3

    def test_a_dropped_clip_is_silent_soon_and_reported_once(self, room: Room) -> None:
        listening = Listening(room)
        begins_s = room.mixer.play(1, noise(room, 3.0), room.now_s())
        listening.until(begins_s + 0.5)
        dropped_s = room.now_s()
        room.mixer.drop(1)
        listening.until(dropped_s + 1.0)
        (done,) = [event for event in listening.events if isinstance(event, CueDone)]
        assert not done.complete
        assert dropped_s <= done.at_s <= dropped_s + 0.3
        assert np.abs(listening.played_at(dropped_s + 0.35, 0.4)).max() < 0.001

    def test_cues_come_in_order_and_not_early(self, room: Room) -> None:
        listening = Listening(room)
        now_s = room.now_s()
        for cue, after_s in ((1, 0.6), (2, 0.3), (3, 0.45)):
            room.calendar.add(cue, now_s + after_s)
        room.calendar.drop(3)
        listening.until(now_s + 1.2)
        due = [event for event in listening.events if isinstance(event, CueDue)]
        assert [event.cue for event in due] == [2, 1]
        for event, after_s in zip(due, (0.3, 0.6), strict=True):
            assert event.at_s >= now_s + after_s - 0.002

    def test_what_is_played_comes_back_to_the_microphone(self, room: Room) -> None:
        listening = Listening(room)
        begins_s = room.mixer.play(1, noise(room, 1.0), room.now_s() + 0.3)
        listening.until(begins_s + 1.5)
        level = {
            name: np.mean(
                [np.abs(b.microphone).mean() for b in listening.blocks if low <= b.start_s < high]
            )
            for name, low, high in (
                ("before", begins_s - 0.25, begins_s - 0.05),
                ("during", begins_s + 0.3, begins_s + 0.9),
            )
        }
        assert level["during"] > 5 * level["before"]

    def test_closing_ends_the_moments(self, room: Room) -> None:
        listening = Listening(room)
        listening.until(room.now_s() + 0.2)
        room.close()
        room.close()
        assert list(room.moments()) == []

"""What runs inside a sound server, in a process of its own: prints what it found as JSON.

python -m benchmarks.inside CASE [COUNT EVERY_S]
"""

from __future__ import annotations

import json
import sys
import time
from typing import Any

import numpy as np
import soxr

from benchmarks.plain_script import CHUNK_S, PlainCoach
from benchmarks.plain_script import RATE_HZ as PLAIN_HZ
from coach.app.equipment import Equipment
from coach.ports import Audio, Block, Clip
from coach.practice.events import CueDone, CueDue, Knocks, Rank
from coach.room.live import LiveRoom
from coach.room.speaker import Speaker
from coach.settings import RoomSettings, load_settings

BURST_HZ = 48_000
FIRST_S = 2.0


def burst(rate_hz: int) -> Audio:
    """A call that is found again to the sample."""
    random = np.random.default_rng(7)
    samples = (0.25 * random.standard_normal(round(0.05 * BURST_HZ))).astype(np.float32)
    return samples if rate_hz == BURST_HZ else soxr.resample(samples, BURST_HZ, rate_hz)


def speak_cues(room: Any, count: int, every_s: float) -> list[float]:
    """Calls at marks, on the way that a session uses; returns the room times of their starts."""
    speaker = Speaker(room.mixer, room.calendar, room.now_s, RoomSettings().lead_s)
    clip = Clip("burst", burst(room.rate_hz), room.rate_hz)
    for cue in range(count):
        speaker.say(cue, clip, Rank.TIMING, FIRST_S + cue * every_s)
    started_s: list[float] = []
    for moment in room.moments():
        if isinstance(moment, CueDue):
            speaker.due(moment)
        elif isinstance(moment, CueDone):
            speaker.done(moment)
            assert moment.started_s is not None
            started_s.append(moment.started_s)
            if len(started_s) == count:
                break
    return started_s


def live(count: str, every_s: str) -> dict[str, Any]:
    """Calls through real streams."""
    room = LiveRoom(RoomSettings())
    begun_s, begun_room_s = time.monotonic(), room.heard_s()
    speak_cues(room, int(count), float(every_s))
    time.sleep(0.5)
    apart_s = (room.heard_s() - begun_room_s) - (time.monotonic() - begun_s)
    xruns = room.xruns
    room.close()
    return {"xruns": xruns, "room_against_machine_clock_ms": round(apart_s * 1000, 3)}


def plain(count: str, every_s: str) -> dict[str, Any]:
    """The plain script's hold, with the same calls."""
    cap_s = (int(count) + 1) * float(every_s)
    return PlainCoach().hold(float(every_s), cap_s, [burst(PLAIN_HZ)] * int(count))


def hold() -> None:
    """A room and an ear that attends a hold, without end."""
    room = LiveRoom(RoomSettings())
    ear = Equipment.of(load_settings()).ear()
    ear.attend("hold", Knocks.MARKS)
    for moment in room.moments():
        if isinstance(moment, Block):
            ear.feed(moment)


def plain_listen() -> None:
    """The plain script listens without end."""
    coach = PlainCoach()
    while True:
        coach.listen(CHUNK_S)


CASES: dict[str, Any] = {"live": live, "plain": plain, "hold": hold, "plain-listen": plain_listen}

if __name__ == "__main__":
    print(json.dumps(CASES[sys.argv[1]](*sys.argv[2:])))

"""What runs against real PortAudio streams, in a process of its own: prints what it found."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import soxr

from coach.border import BadInput
from coach.ports import EAR_RATE_HZ, Audio, Block, Clip
from coach.practice.events import CueDone, CueDue, Event, Interrupted, RoomBack, RoomLost
from coach.room.alignment import AHEAD_S
from coach.room.live import LiveRoom
from coach.settings import RoomSettings


def noise(rate_hz: int, length_s: float = 0.05) -> Audio:
    """A burst that is found again to the sample."""
    random = np.random.default_rng(7)
    samples: Audio = (0.25 * random.standard_normal(round(length_s * rate_hz))).astype(np.float32)
    return samples


def found_s(recorded: Audio, burst: Audio, near_s: float) -> float:
    """Where `burst` begins in `recorded` (both at the ear's rate), within 0.2 s of `near_s`."""
    low = max(0, round((near_s - 0.2) * EAR_RATE_HZ))
    high = round((near_s + 0.2) * EAR_RATE_HZ) + len(burst)
    match = np.abs(np.correlate(recorded[low:high], burst, "valid"))
    return (low + int(np.argmax(match))) / EAR_RATE_HZ


def onsets(count: str) -> Any:
    """Play bursts at given times; tell where they are on the microphone's and played side."""
    room = LiveRoom(RoomSettings())
    clip = Clip("burst", noise(room.rate_hz), room.rate_hz)
    burst = soxr.resample(clip.samples, room.rate_hz, EAR_RATE_HZ)
    marks_s = [1.0 + 0.3 * cue + 0.0037 * (cue % 7) for cue in range(int(count))]
    promised_s = []
    waiting = list(enumerate(marks_s))
    blocks: list[Block] = []
    done: list[CueDone] = []
    for cue, mark_s in waiting:  # as the app does: each comes to the mixer ahead of its mark
        room.calendar.add(cue, mark_s - 0.25)
    for moment in room.moments():
        match moment:
            case Block():
                blocks.append(moment)
                if moment.start_s > marks_s[-1] + 0.5:
                    room.close()
            case CueDue(cue=cue):
                promised_s.append(room.mixer.play(cue, clip, marks_s[cue]))
            case CueDone():
                done.append(moment)
    microphone = np.concatenate([block.microphone for block in blocks])
    played = np.concatenate([block.played for block in blocks])
    return {
        "marks_s": marks_s,
        "promised_s": promised_s,
        "done_s": [event.started_s for event in done],
        "recorded_s": [found_s(microphone, burst, mark_s) for mark_s in marks_s],
        "played_s": [found_s(played, burst, mark_s - AHEAD_S) for mark_s in marks_s],
        "gapless": all(
            abs(after.start_s - before.start_s - len(before.microphone) / EAR_RATE_HZ) < 1e-9
            for before, after in pairwise(blocks)
        ),
        "xruns": room.xruns,
    }


def loss(reopen_s: str, until_s: str) -> Any:
    """Play a long tone through a loss of the devices; tell what happened when."""
    room = LiveRoom(RoomSettings(reopen_s=float(reopen_s)))
    apart_s = time.monotonic() - room.heard_s()
    tone = np.full(round(60 * room.rate_hz), 0.1, dtype=np.float32)
    room.mixer.play(1, Clip("tone", tone, room.rate_hz), 0.5)
    room.calendar.add(2, 3.5)
    events: list[Event] = []
    levels: list[tuple[float, float]] = []
    end_s = 0.0
    gapless = True
    print("ready", flush=True)
    for moment in room.moments():
        if isinstance(moment, Block):
            gapless &= not levels or abs(moment.start_s - end_s) < 1e-9
            end_s = moment.start_s + len(moment.microphone) / EAR_RATE_HZ
            levels.append((moment.start_s, float(np.abs(moment.microphone).mean())))
        else:
            events.append(moment)
            if isinstance(moment, RoomBack):
                until_s = str(moment.at_s + 1.5)
        if end_s > float(until_s) or isinstance(moment, Interrupted):
            break
    drift_s = time.monotonic() - room.heard_s() - apart_s
    room.close()
    return {
        "events": [(type(event).__name__, event.at_s) for event in events],
        "what": [event.what for event in events if isinstance(event, RoomLost)],
        "levels": levels,
        "gapless": gapless,
        "drift_s": drift_s,
    }


def refused(input_name: str) -> Any:
    """The line that a person gets when the room cannot be opened."""
    try:
        LiveRoom(RoomSettings(input=input_name)).close()
    except BadInput as refusal:
        return str(refusal)
    return ""


CASES: dict[str, Callable[..., Any]] = {"onsets": onsets, "loss": loss, "refused": refused}

if __name__ == "__main__":
    print(json.dumps(CASES[sys.argv[1]](*sys.argv[2:])))

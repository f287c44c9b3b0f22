"""Echo return loss when microphone and loudspeaker are of different devices, whose clocks part.

The stamps of the microphone's callbacks wander by 0.5 ms within 4 s, as they do on a machine at
work. Only the coach speaks. A plain script takes nothing of its echo away.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import soxr

from benchmarks.air import coach_speech, echo_of, track, with_noise
from coach.app.equipment import Equipment
from coach.ear.echo_filter import EchoFilter
from coach.ear.own_voice import OwnVoice
from coach.ports import EAR_RATE_HZ, Audio
from coach.room.alignment import AHEAD_S, Alignment
from coach.timing.clock import Stamp, StreamClock

PPM = (0.0, 20.0, 50.0, 100.0)
SECONDS = 240
SPANS_S = ((10, 40), (40, 80), (80, 120), (120, 180), (180, 240))
PIECE = EAR_RATE_HZ // 100
ECHO_DB = -30.0
WANDER_S = 0.0005
LATE_S = 0.03  # of a callback
SOUNDING = 1e-5  # power of a frame of the coach


class Canceller(Protocol):
    def cancel(self, microphone: Audio, played: Audio) -> Audio: ...


def figures(equipment: Equipment) -> dict[str, Any]:
    """In dB, over spans of the session, for the non-linear way of hearing and the linear one."""
    rng = np.random.default_rng(5)
    played = np.resize(track(coach_speech(equipment), 0.6), SECONDS * EAR_RATE_HZ)
    microphone = with_noise(echo_of(played, ECHO_DB, rng, 0.05), rng)
    spans = ", ".join(f"{start}-{end}" for start, end in SPANS_S)
    found: dict[str, Any] = {"seconds": spans}
    for ppm in PPM:
        heard, reference = _aligned(microphone, played, ppm * 1e-6, np.random.default_rng(6))
        ways: dict[str, Canceller] = {"AEC3": OwnVoice(), "linear": EchoFilter()}
        found[f"{ppm:.0f} ppm"] = {
            name: ", ".join(f"{loss:.1f}" for loss in _losses_db(way, heard, reference))
            for name, way in ways.items()
        }
    return found


def _aligned(
    microphone: Audio, played: Audio, drift: float, rng: np.random.Generator
) -> tuple[Audio, Audio]:
    """What the ear gets of a microphone whose clock is fast by `drift`."""
    fast_hz = EAR_RATE_HZ * (1 + drift)
    recorded = soxr.resample(microphone, EAR_RATE_HZ, fast_hz, "VHQ") if drift else microphone
    pieces = min(len(recorded), len(played)) // PIECE
    noise = rng.standard_normal(pieces)
    wander_s = np.convolve(noise, np.exp(-np.arange(2000) / 400))[:pieces]
    wander_s *= WANDER_S / wander_s.std()
    alignment, clock = Alignment(EAR_RATE_HZ, AHEAD_S, 0.04), StreamClock(EAR_RATE_HZ)
    alignment.open(EAR_RATE_HZ)
    blocks = []
    for number in range(pieces):
        at = number * PIECE
        now_s = at / fast_hz
        clock.add(Stamp(at, now_s + wander_s[number], now_s + LATE_S, now_s + LATE_S))
        alignment.play(played[at : at + PIECE], at)
        known = (clock.origin_s, clock.lately_s) if clock.ready else (None, None)
        alignment.record(recorded[at : at + PIECE], *known)
        blocks += alignment.blocks()
    return (
        np.concatenate([block.microphone for block in blocks]),
        np.concatenate([block.played for block in blocks]),
    )


def _losses_db(way: Canceller, microphone: Audio, played: Audio) -> list[float]:
    frames = len(microphone) // PIECE
    heard, reference = (x[: frames * PIECE].reshape(frames, PIECE) for x in (microphone, played))
    left = np.array([way.cancel(heard[frame], reference[frame]) for frame in range(frames)])
    before, after, own = ((x**2).mean(axis=1) for x in (heard, left, reference))
    losses = []
    for start_s, end_s in SPANS_S:
        span = np.arange(frames)[start_s * 100 : end_s * 100]
        span = span[own[span] > SOUNDING]
        losses.append(float(10 * np.log10(before[span].mean() / after[span].mean())))
    return losses

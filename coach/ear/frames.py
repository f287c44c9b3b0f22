"""Frames of 10 ms: the step in which everything in the ear happens."""

from __future__ import annotations

import numpy as np

from coach.ports import EAR_RATE_HZ, Audio

FRAME = EAR_RATE_HZ // 100  # samples in one
FRAME_S = FRAME / EAR_RATE_HZ


def level_db(frame: Audio) -> float:
    """Mean power of a frame in dB of full scale; digital silence is -120."""
    return float(10 * np.log10(np.mean(np.square(frame, dtype=np.float64)) + 1e-12))


def frames_back(at_s: float, now_s: float) -> int:
    """How many frames ago a room time was."""
    return round((now_s - at_s) / FRAME_S)

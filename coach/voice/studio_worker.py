"""The process of `studio.Apart`. Not imported: run as a module.

Reads a synthesiser and then jobs for it as pickles on standard input, and writes the clips or the
VoiceError of each on standard output, until its input ends.
"""

from __future__ import annotations

import ctypes
import os
import pickle
import sys
from contextlib import suppress
from typing import Any

from coach.ports import VoiceError
from coach.voice.loudness import METER_RATE_HZ
from coach.voice.studio import Here
from coach.voice.synthesiser import Utterance

_LUFS = -23.0  # of what nobody hears


def _main() -> None:
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a package prints is no answer
    jobs = sys.stdin.buffer
    studio = Here(pickle.load(jobs))
    _answer(studio, ([Utterance("one", 1.0)], METER_RATE_HZ, _LUFS))  # loads all there is to load
    with suppress(EOFError):
        while job := pickle.load(jobs):
            pickle.dump(_answer(studio, job), answers)
            answers.flush()
            _give_back()


def _answer(studio: Here, job: Any) -> Any:
    try:
        return studio.make(*job)
    except VoiceError as error:
        return error


def _give_back() -> None:
    """Let the system have what is free: the C library of Linux keeps 50 MB after a long text."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


if __name__ == "__main__":
    _main()

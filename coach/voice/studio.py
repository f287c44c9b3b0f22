"""Where clips are made: in this process, or in one of its own beside a live room.

Loading a synthesiser and the loudness meter keeps Python to itself for up to half a second and
holds 200 MB. Sound that is playing breaks off meanwhile, and a program that waits for hours
should not hold the memory: so a live room has its clips made apart, in a process that goes away
when nothing has been spoken for a while.
"""

from __future__ import annotations

import signal
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from threading import Lock, Timer
from typing import Protocol

from coach.ports import Audio, VoiceError
from coach.voice.render import finished
from coach.voice.synthesiser import Synthesiser, Utterance

IDLE_S = 300.0  # longer than a session is ever silent: loading takes 1 to 5 s
LIMIT_S = 60.0  # for one call; loading takes 5 s on a busy machine


class Studio(Protocol):
    """Makes finished clips of utterances."""

    def make(
        self, utterances: Sequence[Utterance], rate_hz: int, loudness_lufs: float
    ) -> list[Audio]:
        """Samples for each utterance, in order; empty where nothing sounds. Raises VoiceError."""

    def close(self) -> None:
        """Give back what is held."""


class Here:
    """A studio in this process."""

    def __init__(self, synthesiser: Synthesiser) -> None:
        self._synthesiser = synthesiser

    def make(
        self, utterances: Sequence[Utterance], rate_hz: int, loudness_lufs: float
    ) -> list[Audio]:
        """See Studio."""
        raws = self._synthesiser.render(utterances) if utterances else []
        return [finished(raw, rate_hz, loudness_lufs) for raw in raws]

    def close(self) -> None:
        """See Studio."""


class Apart:
    """A studio in a process of its own, which ends after `idle_s` without work."""

    def __init__(self, synthesiser: Synthesiser, idle_s: float = IDLE_S) -> None:
        self._synthesiser = synthesiser
        self._idle_s = idle_s
        self._lock = Lock()  # the timer closes from a thread of its own
        self._workers: ProcessPoolExecutor | None = None
        self._timer: Timer | None = None

    def make(
        self, utterances: Sequence[Utterance], rate_hz: int, loudness_lufs: float
    ) -> list[Audio]:
        """See Studio."""
        if not utterances:
            return []
        with self._lock:
            try:
                return self._make(utterances, rate_hz, loudness_lufs)
            except BrokenProcessPool:  # somebody ended it; once more with a new one
                self._end()
            try:
                return self._make(utterances, rate_hz, loudness_lufs)
            except BrokenProcessPool:
                self._end()
                raise VoiceError(
                    f"the voice {self._synthesiser.name} cannot be used: its process ends by "
                    "itself; is there enough memory?"
                ) from None

    def close(self) -> None:
        """See Studio."""
        with self._lock:
            self._end()

    def _make(
        self, utterances: Sequence[Utterance], rate_hz: int, loudness_lufs: float
    ) -> list[Audio]:
        if self._timer is not None:
            self._timer.cancel()
        if self._workers is None:
            self._workers = ProcessPoolExecutor(
                1, get_context("spawn"), initializer=_begin, initargs=(self._synthesiser,)
            )
        job = self._workers.submit(_work, list(utterances), rate_hz, loudness_lufs)
        try:
            made = job.result(LIMIT_S)
        except TimeoutError:
            self._end()
            raise VoiceError(
                f"the voice {self._synthesiser.name} did not answer within {LIMIT_S:g} s; "
                "the machine may be too busy, try again"
            ) from None
        self._timer = Timer(self._idle_s, self.close)
        self._timer.daemon = True
        self._timer.start()
        return made

    def _end(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._workers is not None:
            self._workers.shutdown(wait=False, cancel_futures=True)
            self._workers = None


_studio: list[Here] = []  # of the worker process


def _begin(synthesiser: Synthesiser) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the coach, who still speaks
    _studio.append(Here(synthesiser))


def _work(utterances: list[Utterance], rate_hz: int, loudness_lufs: float) -> list[Audio]:
    return _studio[0].make(utterances, rate_hz, loudness_lufs)

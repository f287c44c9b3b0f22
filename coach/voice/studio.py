"""Where clips are made: in this process, or in one of its own beside a live room.

Loading a synthesiser keeps Python to itself for up to half a second and holds 150 MB. Sound that
is playing breaks off meanwhile, and a program that waits for hours should not hold the memory: so
a live room has its clips made apart, in a process that goes away when nothing has been spoken for
a while. That process reads its work from a pipe: however the coach ends, it ends too.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from threading import Lock, Timer
from typing import Protocol

from coach.ports import Audio, VoiceError
from coach.voice.render import finished
from coach.voice.synthesiser import Synthesiser, Utterance

IDLE_S = 40.0  # a little longer than somebody awake is waited for
LIMIT_S = 60.0  # for one call; loading takes 5 s on a busy machine

_Job = tuple[list[Utterance], int, float]  # the arguments of `make`


class Studio(Protocol):
    """Makes finished clips of utterances."""

    def make(
        self, utterances: Sequence[Utterance], rate_hz: int, loudness_lufs: float
    ) -> list[Audio]:
        """Samples for each utterance, in order; empty where nothing sounds. Raises VoiceError."""

    def expect(self) -> None:
        """Be ready: something has been said that needed no making, and more may follow."""

    def stay(self, stays: bool) -> None:
        """Whether to be ready through any silence."""

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

    def expect(self) -> None:
        """See Studio."""

    def stay(self, stays: bool) -> None:
        """See Studio."""

    def close(self) -> None:
        """See Studio."""


class Apart:
    """A studio in a process of its own, which ends after `idle_s` without work."""

    def __init__(self, synthesiser: Synthesiser, idle_s: float = IDLE_S) -> None:
        self._synthesiser = synthesiser
        self._idle_s = idle_s
        self._stays = False
        self._lock = Lock()  # the timer closes from a thread of its own
        self._worker: subprocess.Popen[bytes] | None = None
        self._timer: Timer | None = None

    def make(
        self, utterances: Sequence[Utterance], rate_hz: int, loudness_lufs: float
    ) -> list[Audio]:
        """See Studio."""
        if not utterances:
            return []
        job = list(utterances), rate_hz, loudness_lufs
        with self._lock:
            try:
                return self._made(job)
            except _Ended:  # somebody ended it; once more with a new one
                return self._made_at_last(job)

    def expect(self) -> None:
        """See Studio; does not wait for it."""
        with self._lock:
            self._begin()
            self._watch()

    def stay(self, stays: bool) -> None:
        """See Studio; does not wait for it."""
        self._stays = stays
        if stays:
            self.expect()
        else:
            with self._lock:
                self._watch()

    def close(self) -> None:
        """See Studio."""
        with self._lock:
            self._end()

    def _made_at_last(self, job: _Job) -> list[Audio]:
        try:
            return self._made(job)
        except _Ended:
            raise VoiceError(
                f"the voice {self._synthesiser.name} cannot be used: its process ends by "
                "itself; is there enough memory?"
            ) from None

    def _made(self, job: _Job) -> list[Audio]:
        """What the process makes of a job. Raises _Ended, VoiceError."""
        worker = self._begin()
        assert worker.stdin is not None
        assert worker.stdout is not None
        began_s = time.monotonic()
        limit = Timer(LIMIT_S, worker.kill)
        limit.start()
        try:
            pickle.dump(job, worker.stdin)
            worker.stdin.flush()
            answer: list[Audio] | VoiceError = pickle.load(worker.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            self._end()
            if time.monotonic() - began_s < LIMIT_S:
                raise _Ended from None
            raise VoiceError(
                f"the voice {self._synthesiser.name} did not answer within {LIMIT_S:g} s; "
                "the machine may be too busy, try again"
            ) from None
        finally:
            limit.cancel()
        self._watch()
        if isinstance(answer, VoiceError):
            raise answer
        return answer

    def _begin(self) -> subprocess.Popen[bytes]:
        """The process, which loads the voice by itself when it is new."""
        if self._worker is None:
            self._worker = subprocess.Popen(
                [sys.executable, "-m", "coach.voice.studio_worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
                start_new_session=True,  # Ctrl-C is for the coach, who still speaks
            )
            assert self._worker.stdin is not None
            with suppress(OSError):  # if it has ended, whoever gives it work will see
                pickle.dump(self._synthesiser, self._worker.stdin)
                self._worker.stdin.flush()
        return self._worker

    def _watch(self) -> None:
        """End the process when it has been idle."""
        self._unwatch()
        if not self._stays:
            self._timer = Timer(self._idle_s, self.close)
            self._timer.daemon = True
            self._timer.start()

    def _unwatch(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _end(self) -> None:
        self._unwatch()
        if self._worker is None:
            return
        self._worker.kill()
        self._worker.wait()
        for pipe in (self._worker.stdin, self._worker.stdout):
            assert pipe is not None
            with suppress(OSError):  # what was still to be written
                pipe.close()
        self._worker = None


class _Ended(Exception):
    """The process has ended by itself."""

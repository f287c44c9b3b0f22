"""The simulated room: the whole way of sound on virtual time, faster than real time, repeatable.

    microphone = echo path(played) + participants + noise

Each step renders one block of the mixer, adds what else the microphone gets, and moves the
clock on. What falls due or ends within a block is handed out before the block itself: in order
of the time at which the software could know it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from coach.ports import EAR_RATE_HZ, Audio, Block, Voice
from coach.practice.events import CueDone, CueDue, Event, Interrupted
from coach.room.echo import EchoPath, noise_loop
from coach.room.mixer import ClipMixer
from coach.room.people import Moment, People, SceneLog
from coach.room.scene import Scene
from coach.timing.virtual import VirtualCalendar

BLOCK_S = 0.02
GRACE_S = 60.0  # how long a session may take to end once its scene's limit is reached


class SimulatedRoom:
    """A room made of a scene. `voices` gives the voice for a participant's `voice`."""

    def __init__(self, scene: Scene, voices: Callable[[str], Voice]) -> None:
        self.rate_hz = EAR_RATE_HZ
        self.mixer = ClipMixer(self.rate_hz)
        self.calendar = VirtualCalendar()
        self._scene = scene
        self._frames = round(BLOCK_S * self.rate_hz)
        rng = np.random.default_rng(scene.seed)
        self._echo = EchoPath(scene.room.echo, self.rate_hz, self._frames, rng)
        self._noise = noise_loop(scene.room.noise_db, self.rate_hz, rng)
        self._people = People(scene, voices, self.rate_hz)
        self._names: dict[int, str] = {}
        self._open: dict[int, int] = {}  # cues now sounding, and their place among the moments
        self._heard: list[NDArray[np.int16]] = []  # what one would have heard in the room
        self._closed = False
        self._overdue = False

    @property
    def log(self) -> SceneLog:
        """What truly happened: moments and acts so far."""
        return self._people.log

    def now_s(self) -> float:
        """Room time of the next frame to be rendered."""
        return self.mixer.now_s()

    def name_cue(self, cue: int, moment: str) -> None:
        """When the cue begins to sound, and ends, participants take it for `moment`."""
        self._names[cue] = moment

    def moments(self) -> Iterator[Block | Event]:
        """Events and blocks in order until closed."""
        while not self._closed:
            block = self._step()
            for event in self._events():
                yield event
                if self._closed:
                    return
            yield block

    def close(self) -> None:
        """Stop; `moments` ends."""
        self._closed = True

    def save(self, path: Path) -> None:
        """Write what one would have heard so far as a sound file of 16 bits. Raises OSError."""
        heard = np.concatenate(self._heard) if self._heard else np.zeros(0, np.int16)
        try:
            soundfile.write(path, heard, self.rate_hz, subtype="PCM_16")
        except soundfile.LibsndfileError as error:
            raise OSError(f"{path}: {error}") from None

    def _step(self) -> Block:
        start_s = self.now_s()
        first = self.mixer.frame % len(self._noise)
        played = self.mixer.render(self._frames)
        people = self._people.render(self._frames)
        microphone = self._echo.through(played) + people
        microphone += self._noise[first : first + self._frames]
        np.clip(microphone, -1.0, 1.0, out=microphone)
        self._heard.append(_as_int16(played + people))
        return Block(start_s, microphone, played)

    def _events(self) -> list[Event]:
        for begun in self.mixer.begun():
            name = self._names.get(begun.cue)
            if name:
                self._open[begun.cue] = len(self.log.moments)
                self.log.moments.append(Moment(name, begun.at_s, None, begun.text))
                self._people.reach(name, "start", begun.at_s, begun.text)
        ended = self.mixer.ended()
        for done in ended:
            self._end(done)
        due: list[CueDone | CueDue] = [*ended, *self.calendar.until(self.now_s())]
        events: list[Event] = [*sorted(due, key=lambda event: event.at_s)]
        return events + self._limit()

    def _end(self, done: CueDone) -> None:
        place = self._open.pop(done.cue, None)
        if place is not None:
            moment = replace(self.log.moments[place], end_s=done.at_s)
            self.log.moments[place] = moment
            self._people.reach(moment.name, "end", done.at_s, moment.text)

    def _limit(self) -> list[Event]:
        now_s = self.now_s()
        if now_s >= self._scene.limit_s + GRACE_S:
            self.close()
        if self._overdue or now_s < self._scene.limit_s:
            return []
        self._overdue = True
        return [Interrupted(now_s)]


def _as_int16(sound: Audio) -> NDArray[np.int16]:
    return (np.clip(sound, -1.0, 1.0) * 32767).astype(np.int16)

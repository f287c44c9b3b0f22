"""The live room: sound devices through PortAudio, and time from the frames they have played.

Everything comes in on one queue: the callbacks put copies of frames on it, the calendar puts
cues. `moments` takes them off in the caller's thread. When the loudspeaker is gone the room goes on
silently by the machine's clock, so that clips, cues and holds keep their times; without the
microphone it plays on. It looks for a device until `settings.reopen_s` is over.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from threading import Event as Flag
from threading import Lock, Thread

import numpy as np

from coach.border import BadInput
from coach.ports import Audio, Block
from coach.practice.events import CueDue, Event, Interrupted, RoomBack, RoomLost
from coach.room.alignment import Alignment
from coach.room.devices import NOUNS, Stuck, portaudio
from coach.room.mixer import ClipMixer
from coach.room.stand_in import StandIns
from coach.room.streams import (
    Ended,
    Pair,
    Piece,
    Played,
    Recorded,
    Rendered,
    Streams,
    choose_pair,
    restart_portaudio,
)
from coach.settings import RoomSettings
from coach.timing.calendar import JobCalendar
from coach.timing.clock import StreamClock

LISTEN_S = 0.04  # length of the blocks for the ear
DEAF_S = 1.5  # no piece for this long: the device is gone, whatever PortAudio says
OPENING_S = 6.0  # how long the first sound may take
TICK_S = 0.02  # while a device is gone
TRY_S = 1.0  # between two attempts to open one
ALONE_S = 5.0  # how long to try with the microphone alone: a tone and a call can be heard
NOTHING: Audio = np.zeros(0, dtype=np.float32)


@dataclass(frozen=True, slots=True)
class _Piece:
    streams: Streams
    piece: Piece


@dataclass(frozen=True, slots=True)
class _Reopened:
    streams: Streams  # those of before, if it was only their microphone


class LiveRoom:
    """`ports.Room` on real devices; they are open when it is made. Raises BadInput."""

    def __init__(self, settings: RoomSettings) -> None:
        self._settings = settings
        self._gain = np.float32(10 ** (settings.gain_db / 20))
        self._queue: SimpleQueue[_Piece | _Reopened | Event] = SimpleQueue()
        self._rendering = Lock()  # a stream that is being given up may still call
        self._skip_frames = 0  # to be counted without sounding (negative: to be waited)
        self._corrected_frame = 0  # stamps of frames before it are from before a correction
        self._blocks: deque[Block] = deque()
        self._closed = Flag()
        self._reopener: Thread | None = None
        self._lost = False
        self._deaf = False  # only the microphone is lost
        self._give_up_s = 0.0  # monotonic time at which nobody waits for a device any more
        self._returning = False  # open again, not yet on the room's time
        self._listening = True  # the microphone is, too
        self._first_frame: int | None = None  # of the open microphone's, that was taken
        self._given_up = False
        self._last_s = {"input": 0.0, "output": 0.0}  # monotonic time of the last piece
        self._looked_s = 0.0  # monotonic time of the last look at them
        self.xruns = 0
        self.microphone_is_dead = True  # it has never given anything, not even noise
        self.pair = choose_pair(settings)
        self.rate_hz = self.pair.output_hz
        self.mixer = ClipMixer(self.rate_hz)
        self._clock = StreamClock(self.rate_hz)  # of room frames at the loudspeaker
        self._microphone = StreamClock(self.pair.input_hz)
        self._alignment = Alignment(self.rate_hz, settings.delay_s, LISTEN_S)
        self._stand_ins = StandIns()
        self._streams = self._pair_of_streams(self.pair)
        self._adopt(self._streams)
        self._streams.start()
        self._await_first_sound()
        self.calendar = JobCalendar(self.heard_s, self._queue.put)

    # --- the port --------------------------------------------------------------------

    def now_s(self) -> float:
        """Room time of the next frame to be rendered."""
        return self.mixer.now_s()

    def heard_s(self) -> float:
        """Room time of what leaves the loudspeaker now; behind `now_s` by the buffers."""
        return time.monotonic() - self._clock.origin_s

    def moments(self) -> Iterator[Block | Event]:
        """Blocks and events in order until closed; the one queue of the session."""
        while not self._closed.is_set():
            yield from self._next()

    def name_cue(self, cue: int, moment: str) -> None:
        """Nobody here acts on moments."""

    def post(self, event: Event) -> None:
        """Put an event on the queue; may be called from a signal handler."""
        self._queue.put(event)

    def close(self) -> None:
        """Stop; `moments` ends."""
        if self._closed.is_set():
            return
        self._closed.set()
        self.calendar.close()
        if self._reopener is not None:
            self._reopener.join(TRY_S)
        self._streams.close()

    # --- one step of the queue --------------------------------------------------------

    def _next(self) -> Iterator[Block | Event]:
        try:
            item = self._queue.get(timeout=TICK_S if self._lost else DEAF_S / 4)
        except Empty:
            item = None
        match item:
            case _Piece(streams, piece):
                if streams is self._streams and not self._lost:
                    yield from self._take(piece)
            case _Reopened(streams) if streams is self._streams:
                self._hear_again()
            case _Reopened(streams):
                yield from self._return(streams)
            case CueDue():
                if self.calendar.confirm(item):
                    yield item
            case None:
                pass
            case _:
                yield item
        if self._lost:
            yield from self._go_on()
        else:
            if self._deaf:
                yield from self._wait_silently()
            yield from self._watch()
        self.calendar.follow()
        yield from self.mixer.ended()
        self.mixer.begun()  # nobody asks for these here; they must not pile up
        while self._blocks:
            yield self._blocks.popleft()

    def _take(self, piece: Piece) -> Iterator[Event]:
        match piece:
            case Played():
                self._played(piece)
                yield from self._settle()
            case Recorded() if not self._deaf:
                self._recorded(piece)
                yield from self._hears()
            case Ended("input") if not self._returning:
                yield from self._go_deaf()
            case Ended(direction):
                yield from self._lose(NOUNS[direction])
        self._blocks.extend(self._alignment.blocks())

    def _played(self, piece: Played) -> None:
        self._last_s["output"] = max(self._last_s["output"], piece.stamp.monotonic_s)
        self.xruns += piece.xrun and self._clock.settled
        self._alignment.play(piece.samples, piece.stamp.frame)
        if piece.stamp.frame >= self._corrected_frame:
            self._clock.add(piece.stamp, piece.xrun)

    def _recorded(self, piece: Recorded) -> None:
        self._last_s["input"] = max(self._last_s["input"], piece.stamp.monotonic_s)
        self.microphone_is_dead = self.microphone_is_dead and not piece.samples.any()
        self.xruns += piece.xrun and self._microphone.ready
        self._microphone.add(piece.stamp, piece.xrun)
        if shift_s := self._microphone.shift_s():
            self._microphone.move(shift_s)
            self._microphone.doubt()
        if self._first_frame is None:
            self._first_frame = piece.stamp.frame
        begun_s = lately_s = None
        if self._microphone.ready and self._clock.ready and not self._returning:
            begun_s = self._microphone.origin_s - self._clock.origin_s
            begun_s += self._first_frame / self.pair.input_hz
            if self._microphone.settled and self._clock.settled:
                lately_s = self._microphone.lately_s - self._clock.lately_s
        self._alignment.record(piece.samples, begun_s, lately_s)

    def _settle(self) -> Iterator[Event]:
        """Keep the frames on the room's time; say so when they are again after a loss."""
        if shift_s := self._clock.shift_s():
            with self._rendering:  # what was lost has passed all the same
                self._skip_frames += round(shift_s * self.rate_hz)
                self._corrected_frame = self.mixer.frame
            self._clock.doubt()
            self.xruns += not self._returning
        elif self._returning and self._clock.settled:
            self._returning = False
            self._listening = True
            yield RoomBack(self.now_s())

    # --- the callback ----------------------------------------------------------------

    def _render(self, streams: Streams, frames: int) -> Rendered:
        with self._rendering:
            if streams is not self._streams or self._lost:
                return Rendered(self.mixer.frame, NOTHING)
            lost_frames = max(0, self._skip_frames)
            waited = min(frames, max(0, -self._skip_frames))
            self._skip_frames += waited - lost_frames
            if lost_frames:
                self.mixer.render(lost_frames)
            frame = self.mixer.frame
            samples: Audio = self.mixer.render(frames - waited) * self._gain
            return Rendered(frame, np.clip(samples, -1.0, 1.0))

    # --- a device goes and comes back -------------------------------------------------

    def _watch(self) -> Iterator[Event]:
        """A device may go without PortAudio noticing: then its pieces stop."""
        looked_s, self._looked_s = self._looked_s, time.monotonic()
        if self._looked_s - looked_s > DEAF_S / 2:  # this thread was away itself, not the device
            self._last_s = dict.fromkeys(self._last_s, self._looked_s)
        if not self._queue.empty():
            return
        waited_s = {where: self._looked_s - last_s for where, last_s in self._last_s.items()}
        if waited_s["output"] > DEAF_S or (waited_s["input"] > DEAF_S and self._returning):
            yield from self._lose(NOUNS["output"])
        elif waited_s["input"] > DEAF_S and not self._deaf and waited_s["output"] < DEAF_S / 2:
            yield from self._go_deaf()

    def _lose(self, what: str) -> Iterator[Event]:
        with self._rendering:
            self._lost = True
        yield from self._tell_loss(what)
        self._returning = self._deaf = False
        self._start_thread(self._reopen)

    def _tell_loss(self, what: str) -> Iterator[Event]:
        """What was not yet back is to the outside still the same loss."""
        if self._listening:
            self._give_up_s = time.monotonic() + self._settings.reopen_s
            self._listening = False
            yield RoomLost(self.heard_s(), what)

    def _start_thread(self, reopen: Callable[[Streams, Thread | None], None]) -> None:
        self._reopener = Thread(target=reopen, args=[self._streams, self._reopener], daemon=True)
        self._reopener.start()

    def _go_on(self) -> Iterator[Event]:
        """Let the room's time pass by the machine's clock, silently."""
        with self._rendering:
            frames = round(self.heard_s() * self.rate_hz) - self.mixer.frame
            if frames > 0:
                self.mixer.render(frames)
            self._alignment.play(NOTHING, self.mixer.frame)
        yield from self._wait_silently()

    def _wait_silently(self) -> Iterator[Event]:
        self._alignment.silence(self.heard_s())
        self._blocks.extend(self._alignment.blocks())
        if time.monotonic() > self._give_up_s and not self._given_up:
            self._given_up = True
            yield Interrupted(self.heard_s())

    def _reopen(self, old: Streams, before: Thread | None) -> None:
        """In a thread of its own, as any step may hang."""
        if before is not None:
            before.join()  # PortAudio must not be restarted while somebody opens a stream
        old.close()
        while not self._closed.is_set() and time.monotonic() < self._give_up_s:
            try:
                restart_portaudio()
                streams = self._pair_of_streams(choose_pair(self._settings, self.rate_hz))
                streams.start()
            except Stuck:
                return
            except (BadInput, portaudio().PortAudioError):
                self._closed.wait(TRY_S)
            else:
                self._queue.put(_Reopened(streams))
                return

    def _return(self, streams: Streams) -> Iterator[Event]:
        if self._closed.is_set() or self._given_up:
            streams.close()
            return
        yield from self._go_on()
        self._clock.doubt()
        self._adopt(streams)
        self._returning = True
        with self._rendering:
            self._streams, self.pair = streams, streams.pair
            self._skip_frames = 0
            self._lost = False

    # --- only the microphone goes and comes back ------------------------------------------

    def _go_deaf(self) -> Iterator[Event]:
        """Without the microphone the loudspeaker goes on: the person must not lie in silence."""
        if self._deaf:
            return
        self._deaf = True
        yield from self._tell_loss(NOUNS["input"])
        self._start_thread(self._reopen_input)

    def _reopen_input(self, streams: Streams, before: Thread | None) -> None:
        """In a thread of its own; where PortAudio must look for devices again, all of it."""
        if before is not None:
            before.join()
        whole_s = time.monotonic() + ALONE_S
        while not self._closed.wait(TRY_S) and self._deaf and time.monotonic() < self._give_up_s:
            try:
                streams.reopen_input()
            except Stuck:
                return
            except BadInput:
                if not self._stand_ins.server_knows and time.monotonic() > whole_s:
                    self._put(streams, Ended("output"))
                    return
            else:
                self._queue.put(_Reopened(streams))
                return

    def _hear_again(self) -> None:
        if self._deaf and not self._given_up:
            self._deaf = False
            self._adopt_microphone(self._streams)

    def _hears(self) -> Iterator[Event]:
        if not self._listening and not self._returning and self._microphone.ready:
            self._listening = True
            yield RoomBack(self.now_s())

    # --- streams -----------------------------------------------------------------------

    def _pair_of_streams(self, pair: Pair) -> Streams:
        return Streams(pair, self._settings.block_s, self._render, self._put, self._stand_ins)

    def _put(self, streams: Streams, piece: Piece) -> None:
        self._queue.put(_Piece(streams, piece))

    def _adopt(self, streams: Streams) -> None:
        self._adopt_microphone(streams)
        self._last_s["output"] = time.monotonic()

    def _adopt_microphone(self, streams: Streams) -> None:
        self._microphone = StreamClock(streams.pair.input_hz)
        self._alignment.open(streams.pair.input_hz)
        self._first_frame = None
        self._looked_s = self._last_s["input"] = time.monotonic()

    def _await_first_sound(self) -> None:
        ends_s = time.monotonic() + OPENING_S
        while not (self._clock.ready and self._microphone.ready):
            try:
                item = self._queue.get(timeout=max(0.0, ends_s - time.monotonic()))
            except Empty:
                item = None
            match item:
                case _Piece(_, Played() as piece):
                    self._played(piece)
                case _Piece(_, Recorded() as piece):
                    self._recorded(piece)
                case _:
                    self._streams.close()
                    still = NOUNS["input" if self._clock.ready else "output"]
                    raise BadInput(f"the {still} was opened but gives no sound; see `coach check`")

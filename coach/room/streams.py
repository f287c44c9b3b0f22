"""One microphone stream and one loudspeaker stream; the callbacks only copy frames.

Two streams, never a duplex one: PortAudio drops and repeats frames there on ALSA. Both are
opened once and never paused.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from threading import Event, Thread
from typing import Any

from coach.border import BadInput
from coach.ports import Audio
from coach.room.devices import (
    NO_DEVICE,
    NOUNS,
    Device,
    Direction,
    Stuck,
    answered,
    choose,
    portaudio,
    usable_rate,
)
from coach.room.stand_in import StandIns
from coach.settings import RoomSettings
from coach.timing.clock import Stamp

OUTPUT_LATENCY_S = 0.08  # a busy machine calls back up to 60 ms late; a fade waits that long too
LOOK_S = 1.0  # between two looks at where a sound server has put the streams
CLOSE_S = 5.0  # stopping a stream can hang for ever, as starting can (PortAudio issue 535)


@dataclass(frozen=True, slots=True)
class Played:
    """Frames that were handed to the loudspeaker; the stamp counts room frames."""

    stamp: Stamp
    samples: Audio
    xrun: bool


@dataclass(frozen=True, slots=True)
class Recorded:
    """Frames of the microphone, counted from its opening."""

    stamp: Stamp
    samples: Audio
    xrun: bool


@dataclass(frozen=True, slots=True)
class Ended:
    """A stream has ended by itself."""

    direction: Direction


@dataclass(frozen=True, slots=True)
class Rendered:
    """What the room gives the loudspeaker: `samples` from room frame `frame` on.

    They may be shorter than asked for: then they come after a silence.
    """

    frame: int
    samples: Audio


Piece = Played | Recorded | Ended


@dataclass(frozen=True, slots=True)
class Pair:
    """The two chosen devices and their rates."""

    output: Device
    output_hz: int
    input: Device
    input_hz: int


def choose_pair(settings: RoomSettings, output_hz: int | None = None) -> Pair:
    """The devices of the settings. Raises BadInput, also if the sound system hangs.

    `output_hz` insists on a rate: the room's, once it has begun.
    """
    return answered(lambda: _choose_pair(settings, output_hz))


def _choose_pair(settings: RoomSettings, output_hz: int | None) -> Pair:
    output, input_ = choose("output", settings.output), choose("input", settings.input)
    wanted_hz = output_hz or settings.rate_hz
    found_hz = usable_rate("output", output, wanted_hz)
    if output_hz and found_hz != output_hz:
        raise BadInput(f"the loudspeaker that is there now does not take {output_hz} Hz")
    return Pair(output, found_hz, input_, usable_rate("input", input_, settings.rate_hz))


@dataclass(slots=True)
class _Microphone:
    """One opening of it; what an earlier one still calls back is not heard."""

    stream: Any = None
    frames: int = 0


class Streams:
    """The open streams; `put` gets every piece, `render` is asked for what to play."""

    def __init__(
        self,
        pair: Pair,
        block_s: float,
        render: Callable[[Streams, int], Rendered],
        put: Callable[[Streams, Piece], None],
        stand_ins: StandIns,
    ) -> None:
        self.pair = pair
        self._block_s = block_s
        self._render = render
        self._put = put
        self._stand_ins = stand_ins
        self._told: set[Direction] = set()  # which have ended at a stand-in
        self._closing = Event()
        self._microphone: _Microphone | None = None
        self._loudspeaker: Any = None

    def start(self) -> None:
        """Open and start both. Raises BadInput; a hanging start raises Stuck."""
        self._opened(("output", "input"), self._open_both, self.close)
        Thread(target=self._watch, name="stand-ins", daemon=True).start()

    def reopen_input(self) -> None:
        """Open the microphone anew while the loudspeaker plays on. Raises as `start` does."""
        self._drop_input()
        self._opened(("input",), self._open_input, self._drop_input)
        self._told.discard("input")

    def close(self) -> None:
        """Stop both, in the background: stopping a device that is gone can hang."""
        self._closing.set()
        _in_background(self._shut)

    def _opened(
        self,
        directions: tuple[Direction, ...],
        begin: Callable[[], None],
        give_up: Callable[[], None],
    ) -> None:
        try:
            answered(begin)
            nobodys = answered(self._stand_ins.look)
        except Stuck:
            self._closing.set()  # whoever hangs there shuts the streams, should it ever return
            raise
        except portaudio().PortAudioError as error:
            give_up()
            raise BadInput(f"{names(self.pair)}: cannot be used ({error.args[0]})") from None
        for direction in directions:
            if direction in nobodys:
                give_up()
                raise BadInput(f"there is no {NOUNS[direction]}: {NO_DEVICE}")

    def _open_both(self) -> None:
        self._open_input()
        pair, stream = self.pair, portaudio().OutputStream
        ended = partial(self._end, "output")
        self._loudspeaker = self._stream(
            stream, pair.output, pair.output_hz, OUTPUT_LATENCY_S, self._on_play, ended
        )
        self._start(self._loudspeaker)

    def _open_input(self) -> None:
        microphone = self._microphone = _Microphone()

        def ended() -> None:
            if microphone is self._microphone:
                self._end("input")

        heard = partial(self._on_record, microphone)
        pair, stream = self.pair, portaudio().InputStream
        microphone.stream = self._stream(stream, pair.input, pair.input_hz, "high", heard, ended)
        self._start(microphone.stream)

    def _stream(
        self, make: Any, device: Device, rate_hz: int, latency: Any, callback: Any, ended: Any
    ) -> Any:
        return make(
            samplerate=rate_hz,
            blocksize=round(rate_hz * self._block_s),
            device=device.number,
            channels=1,
            dtype="float32",
            latency=latency,
            callback=callback,
            finished_callback=ended,
        )

    def _start(self, stream: Any) -> None:
        stream.start()
        if self._closing.is_set():  # it was given up in the meantime
            self._shut()

    def _drop_input(self) -> None:
        microphone, self._microphone = self._microphone, None
        if microphone is not None and microphone.stream is not None:
            _in_background(partial(microphone.stream.close, ignore_errors=True))

    def _shut(self) -> None:
        self._drop_input()
        loudspeaker, self._loudspeaker = self._loudspeaker, None
        if loudspeaker is not None:
            loudspeaker.close(ignore_errors=True)

    def _watch(self) -> None:
        """A stream that was given to a stand-in has ended."""
        while not self._closing.wait(LOOK_S):
            for direction in self._stand_ins.look() - self._told:
                self._told.add(direction)
                self._end(direction)

    def _end(self, direction: Direction) -> None:
        if not self._closing.is_set():
            self._put(self, Ended(direction))

    def _on_play(self, out: Any, frames: int, times: Any, status: Any) -> None:
        rendered = self._render(self, frames)
        samples = rendered.samples
        silent = frames - len(samples)
        out[:silent, 0] = 0.0
        out[silent:, 0] = samples
        if not len(samples):
            return
        sounds_s = times.outputBufferDacTime + silent / self.pair.output_hz
        stamp = Stamp(rendered.frame, sounds_s, times.currentTime, time.monotonic())
        self._put(self, Played(stamp, samples, bool(status)))

    def _on_record(
        self, microphone: _Microphone, samples: Any, frames: int, times: Any, status: Any
    ) -> None:
        if microphone is not self._microphone:
            return
        stamp = Stamp(
            microphone.frames, times.inputBufferAdcTime, times.currentTime, time.monotonic()
        )
        microphone.frames += frames
        self._put(self, Recorded(stamp, samples[:, 0].copy(), bool(status)))


def _in_background(call: Callable[[], object]) -> None:
    thread = Thread(target=call, name="end of sound", daemon=True)
    thread.start()
    thread.join(CLOSE_S)


def restart_portaudio() -> None:
    """Let PortAudio look for devices again; only while no stream is open."""

    def restart() -> None:
        sd = portaudio()
        sd._terminate()
        sd._initialize()

    answered(restart)


def names(pair: Pair) -> str:
    """The two devices in words."""
    return f"{NOUNS['input']} {pair.input.name!r}, {NOUNS['output']} {pair.output.name!r}"

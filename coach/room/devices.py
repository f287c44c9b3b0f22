"""Sound devices: PortAudio when it is there, one clear line when it is not."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from threading import Thread
from typing import Any, Literal, TypeVar

from coach.border import BadInput

NO_PORTAUDIO = (
    "the sound library PortAudio is missing; install it: "
    "Debian/Ubuntu: sudo apt install libportaudio2 · Fedora: sudo dnf install portaudio · "
    "macOS: brew install portaudio · "
    "Windows: pip install --force-reinstall sounddevice (it brings PortAudio along)"
)
NO_SOUNDDEVICE = (
    "the package sounddevice is missing; install it: pip install sounddevice, and PortAudio: "
    "Debian/Ubuntu: sudo apt install libportaudio2 · Fedora: sudo dnf install portaudio · "
    "macOS: brew install portaudio · Windows: nothing more"
)
NO_DEVICE = "plug one in or turn it on in the system's sound settings, then see `coach check`"
STUCK = (
    "the sound system does not answer; restart it (Linux: systemctl --user restart pipewire "
    "pipewire-pulse, or pulseaudio -k) or log in again"
)
ANSWER_S = 8.0  # a frozen sound server lets PortAudio wait for ever
T = TypeVar("T")
Direction = Literal["input", "output"]
NOUNS = {"input": "microphone", "output": "loudspeaker"}


@dataclass(frozen=True, slots=True)
class Device:
    """One sound device as PortAudio sees it."""

    number: int
    name: str
    system: str  # the host API: ALSA, Core Audio, WASAPI ...
    inputs: int  # channels
    outputs: int
    rate_hz: int  # its usual rate


class Stuck(BadInput):
    """The sound system hangs; PortAudio must not be touched again."""


def answered(call: Callable[[], T]) -> T:
    """What `call` gives. Raises what it raises, and Stuck if it does not come back."""
    given: list[T] = []
    raised: list[BaseException] = []

    def run() -> None:
        try:
            given.append(call())
        except BaseException as error:
            raised.append(error)

    thread = Thread(target=run, name="asking the sound system", daemon=True)
    thread.start()
    thread.join(ANSWER_S)
    if raised:
        raise raised[0]
    if not given:
        raise Stuck(STUCK)
    return given[0]


def portaudio() -> Any:
    """The sounddevice module. Raises BadInput: what is missing and how to install it."""
    try:
        return importlib.import_module("sounddevice")
    except OSError:  # sounddevice is there, the library it binds is not
        raise BadInput(NO_PORTAUDIO) from None
    except ImportError:
        raise BadInput(NO_SOUNDDEVICE) from None
    except Exception as error:
        # PortAudio starts with the import, and its error is a class of the module that is not
        # there then. ALSA without any device ends here.
        if type(error).__name__ != "PortAudioError":
            raise
        raise BadInput(f"there are no sound devices ({_plain(error)}): {NO_DEVICE}") from None


def devices() -> list[Device]:
    """Every device. Raises BadInput without PortAudio or if it hangs."""
    return answered(_devices)


def _devices() -> list[Device]:
    sd = portaudio()
    systems = [api["name"] for api in sd.query_hostapis()]
    return [
        Device(
            number=number,
            name=str(found["name"]),
            system=systems[found["hostapi"]],
            inputs=int(found["max_input_channels"]),
            outputs=int(found["max_output_channels"]),
            rate_hz=int(found["default_samplerate"]),
        )
        for number, found in enumerate(sd.query_devices())
    ]


def choose(direction: Direction, wanted: str) -> Device:
    """The device called `wanted`: its number, its name or a part of it; empty: the default.

    Raises BadInput naming the setting and what there is instead.
    """
    usable = [device for device in _devices() if _channels(device, direction)]
    noun = NOUNS[direction]
    if not usable:
        raise BadInput(f"there is no {noun}: {NO_DEVICE}")
    if not wanted:
        return _default(direction, usable)
    if wanted.isdecimal():
        matching = [device for device in usable if device.number == int(wanted)]
    else:
        part = wanted.casefold()
        exact = [device for device in usable if device.name.casefold() == part]
        matching = exact or [device for device in usable if part in device.name.casefold()]
    if len(matching) == 1:
        return matching[0]
    there = ", ".join(f"{device.number} {device.name!r}" for device in matching or usable)
    why = "fits several devices" if matching else f"is no {noun}"
    raise BadInput(f"room.{direction} = {wanted!r} {why}; there is: {there}")


def usable_rate(direction: Direction, device: Device, wanted_hz: int) -> int:
    """`wanted_hz` if the device takes mono at that rate, else its own usual rate.

    Raises BadInput if it takes neither.
    """
    sd = portaudio()
    check = sd.check_input_settings if direction == "input" else sd.check_output_settings
    reason = ""
    for rate_hz in dict.fromkeys((wanted_hz, device.rate_hz)):
        try:
            check(device=device.number, channels=1, dtype="float32", samplerate=rate_hz)
        except sd.PortAudioError as error:
            reason = reason or _plain(error)
        else:
            return rate_hz
    raise BadInput(
        f"the {NOUNS[direction]} {device.number} {device.name!r} cannot be opened ({reason}); "
        f"choose another with room.{direction} in the configuration (`coach check` lists them)"
    )


def _default(direction: Direction, usable: list[Device]) -> Device:
    preferred = portaudio().default.device[0 if direction == "input" else 1]
    return next((device for device in usable if device.number == preferred), usable[0])


def _channels(device: Device, direction: Direction) -> int:
    return device.inputs if direction == "input" else device.outputs


def _plain(error: Exception) -> str:
    """PortAudio's words for an error, without its number."""
    return str(error.args[0] if error.args else error).split(" [")[0]

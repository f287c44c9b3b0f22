"""What a synthesiser has to do; trimming, level and rate are done by `render` for all alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Protocol

from coach.ports import Audio


@dataclass(frozen=True, slots=True)
class Raw:
    """Speech as the synthesiser gave it: mono, with its silences, at its own rate."""

    samples: Audio
    rate_hz: int


@dataclass(frozen=True, slots=True)
class Utterance:
    """A text and how fast it is spoken; 1.0 is the voice's usual rate for running speech."""

    text: str
    speed: float


class Synthesiser(Protocol):
    """Turns utterances into raw speech."""

    @property
    def name(self) -> str:
        """Which voice, for people."""

    @property
    def version(self) -> str:
        """Changes whenever the same text would sound different; part of the cache's key."""

    def render(self, utterances: Sequence[Utterance]) -> list[Raw]:
        """One `Raw` per utterance, which sounds the same alone and among others.

        Raises VoiceError. A text that cannot be spoken gives no samples.
        """


def package_version(package: str) -> str:
    """Name and version; a package that is missing is reported when it is used."""
    try:
        return f"{package} {version(package)}"
    except PackageNotFoundError:
        return f"{package} not installed"

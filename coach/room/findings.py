"""What `coach check` makes of its figures: well or not, in plain words, and what to change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

# Limits of the findings, in dB; ours, from trials of the ear, no source.
DEAD_DB = -85.0  # less than the noise of any converter: muted, or no microphone at all
LOUD_ROOM_DB = -45.0
OWN_ABOVE_DB = 15.0  # the coach above the noise, or it is not understood
SPEECH_ABOVE_DB = 12.0  # the person above the noise
LOUDER_MOST_DB, SOFTER_DB = 12.0, 6.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at; `advice` says what to change if it is not well."""

    what: str
    well: bool
    text: str
    advice: str = ""


@dataclass(slots=True)
class Report:
    """Everything that was found; figures are absent when they could not be taken."""

    system: dict[str, str] = field(default_factory=dict)
    devices: list[dict[str, Any]] = field(default_factory=list)
    figures: dict[str, float | int | None] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    @property
    def well(self) -> bool:
        """Whether a practice would work."""
        return all(finding.well for finding in self.findings)

    def document(self) -> dict[str, Any]:
        """For `--json`."""
        return {**asdict(self), "well": self.well}


DEAD_MICROPHONE = (
    "the microphone gives nothing, not even noise: it is muted, not allowed to this program, or "
    "the wrong one (room.input)"
)
NO_ECHO = Finding(
    "echo",
    True,
    "the coach's sound does not come back to the microphone",
    "right with headphones; else turn the loudspeaker up or check which one it is",
)


def noise_finding(noise_db: float) -> Finding:
    """The room when nobody speaks, in dB of full scale."""
    text = f"noise {noise_db:.0f} dB of full scale"
    if noise_db < DEAD_DB:
        return Finding("room", False, text, DEAD_MICROPHONE)
    if noise_db > LOUD_ROOM_DB:
        advice = "the room is loud: close windows, stop fans, or put the microphone nearer to you"
        return Finding("room", False, text, advice)
    return Finding("room", True, text)


def echo_finding(delay_s: float, loss_db: float, above_db: float, clipped: bool) -> Finding:
    """The way of the coach's sound: `loss_db` on it, `above_db` what arrives over the noise."""
    text = (
        f"the coach's sound comes back after {delay_s * 1000:.0f} ms, {loss_db:.0f} dB quieter, "
        f"{above_db:.0f} dB above the noise"
    )
    if clipped:
        advice = "it overdrives the microphone: turn the loudspeaker down or move them apart"
        return Finding("echo", False, text, advice)
    if above_db < OWN_ABOVE_DB:
        advice = "it is hard to understand over the noise: turn the loudspeaker up"
        return Finding("echo", False, text, advice)
    return Finding("echo", True, text)


def gain_change_db(above_db: float, clipped: bool) -> float:
    """How much louder (softer if negative) the coach should be."""
    if clipped:
        return -SOFTER_DB
    return min(LOUDER_MOST_DB, max(0.0, OWN_ABOVE_DB - above_db))


def own_words_finding(triggers: Sequence[str], spoken_s: float) -> Finding:
    """What the ear took the coach's own voice for."""
    text = f"{len(triggers)} false commands in {spoken_s:.0f} s of its own speech"
    if not triggers:
        return Finding("own words", True, text)
    advice = (
        f"it took its own words for: {', '.join(triggers)}; turn the loudspeaker down, move "
        "it away from the microphone, or store the delay with --store"
    )
    return Finding("own words", False, text, advice)


def stop_finding(what: str, heard: int, tries: int, above_db: float | None) -> Finding:
    """The person's word; `above_db` is how far it stood above the noise."""
    text = f"heard {heard} of {tries}"
    if heard == tries:
        return Finding(what, True, text)
    if not heard:
        advice = "come nearer, speak up, or check that room.input is the microphone you mean"
    elif above_db is not None and above_db < SPEECH_ABOVE_DB:
        advice = "your voice hardly stands above the noise: come nearer or make the room quieter"
    else:
        advice = "say it clearly, with a pause before it; or turn the coach's loudspeaker down"
    return Finding(what, heard == tries - 1, text, advice)


def gaps_finding(count: int) -> Finding:
    """Frames that the machine was too slow for."""
    text = f"{count} gaps in the sound"
    if count > 2:
        return Finding("gaps", False, text, "close other programs, or set a longer room.block_s")
    return Finding("gaps", True, text)

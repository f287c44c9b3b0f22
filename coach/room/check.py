"""`coach check`: does this room work, and if not, what to change. Under two minutes.

It opens the real devices, listens to the room, plays sweeps to find the way of the sound, speaks
some of the coach's lines to see whether they set off anything, and asks the person to say
"stop". What a practice would use is used here: the same room, voice and ear.
"""

from __future__ import annotations

import json
import platform
import subprocess
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import Protocol

import numpy as np

from coach.border import BadInput
from coach.ports import EAR_RATE_HZ, Audio, Block, Clip, Ear, EarEvent, Voice, VoiceError
from coach.practice.events import CueDone, Event, Heard, Interrupted, Knocks, RoomLost
from coach.room.alignment import AHEAD_S
from coach.room.devices import devices
from coach.room.findings import (
    NO_ECHO,
    Finding,
    Report,
    echo_finding,
    gain_change_db,
    gaps_finding,
    noise_finding,
    own_words_finding,
    stop_finding,
)
from coach.room.live import LiveRoom
from coach.room.measure import (
    echo_loss_db,
    find_echo,
    floor_level_db,
    is_clipped,
    level_db,
    peak_level_db,
    sweep,
)
from coach.room.store_found import store_found
from coach.settings import RoomSettings, Settings

Tell = Callable[[str], None]

QUIET_S = 2.0  # how long the room is listened to
SWEEPS, SWEEP_EVERY_S = 3, 0.8
TRIES = 3  # to be heard
ANSWER_S = 6.0  # how long an answer is waited for
BETWEEN_S = 1.0  # after an answer, before the next tone
TAIL_S = 0.5  # what is recorded after the last sound
OWN_LINES = ("hold_lead_in", "clear_heart", "recovery_start", "check_in")
CONTACT_S = 20.0


class Canceller(Protocol):
    """Takes what was played out of what was recorded, frame by frame."""

    def cancel(self, microphone: Audio, played: Audio) -> Audio:
        """One frame of 10 ms without the echo."""


@dataclass(frozen=True, slots=True)
class Kit:
    """What a practice would use. `ear` and `canceller` make fresh ones."""

    voice: Voice
    ear: Callable[[], Ear]
    canceller: Callable[[], Canceller]
    text: Callable[[str], str]  # the words of a line of config/lines
    tone: Callable[[str, int], Clip]


@dataclass(frozen=True, slots=True)
class _Take:
    """What happened in a stretch of room time."""

    played: Audio
    microphone: Audio
    heard: list[EarEvent]


class _RoomGone(Exception):
    """A device went away while it was tried."""


class _Air:
    """An open room with an ear in it, one stretch after the other."""

    def __init__(self, room: LiveRoom, ear: Ear | None = None) -> None:
        self.room = room
        self._ear = ear
        self._moments = room.moments()
        self._cue = 0

    def attend(self, situation: str, knocks: Knocks) -> None:
        """See Ear."""
        assert self._ear is not None
        self._ear.attend(situation, knocks)

    def play(self, clip: Clip, after_s: float = 0.2) -> float:
        """Sound a clip soon; returns when it will have ended."""
        self._cue += 1
        start_s = self.room.mixer.play(self._cue, clip, self.room.now_s() + after_s)
        return start_s + clip.duration_s

    def hush(self) -> None:
        """End the last clip."""
        self.room.mixer.drop(self._cue)

    def until(self, end_s: float, enough: Callable[[EarEvent], bool] | None = None) -> _Take:
        """Listen until that room time, or until something is heard that is enough."""
        played: list[Audio] = []
        microphone: list[Audio] = []
        heard: list[EarEvent] = []
        for moment in self._moments:
            if not isinstance(moment, Block):
                self._note(moment)
                continue
            played.append(moment.played)
            microphone.append(moment.microphone)
            new = self._ear.feed(moment) if self._ear is not None else []
            heard += new
            if moment.start_s >= end_s or (enough and any(enough(event) for event in new)):
                break
        return _Take(np.concatenate(played), np.concatenate(microphone), heard)

    def _note(self, event: Event) -> None:
        match event:
            case RoomLost(what=what):
                raise _RoomGone(f"the {what} went away")
            case Interrupted():
                raise KeyboardInterrupt
            case CueDone() | _:
                pass


def _print_at_once(line: str) -> None:
    """A person waits for it, at the end of a pipe too."""
    print(line, flush=True)


def run_check(
    settings: Settings,
    kit: Kit,
    *,
    as_json: bool = False,
    ask: bool = True,
    store: Path | None = None,
    contact: bool = False,
    tell: Tell = _print_at_once,
) -> int:
    """Check everything; 0 if a practice would work, else 1.

    `ask=False` leaves out what needs a person; `store` is the file of the user's settings that
    delay and gain are written to; `contact` makes a test call of the configured command.
    """
    say: Tell = (lambda _: None) if as_json else tell
    report = Report(system=_system(kit))
    for name, value in report.system.items():
        say(f"{name}: {value}")
    _check(settings, kit, ask, report, say)
    if contact:
        _found(report, _contact_finding(settings.contact.command), say)
    if store is not None:
        _found(report, _store(report, store), say)
    if as_json:
        tell(json.dumps(report.document(), indent=2, ensure_ascii=False))
    else:
        bad = sum(not finding.well for finding in report.findings)
        say("everything works" if not bad else f"to mend: {bad}")
    return 0 if report.well else 1


def _check(settings: Settings, kit: Kit, ask: bool, report: Report, say: Tell) -> None:
    try:
        for name in OWN_LINES:  # now, since loading a voice can hold up the sound
            kit.voice.speak(kit.text(name), settings.room.rate_hz)
        report.devices = [asdict(device) for device in devices()]
        for device in devices():
            say(
                f"device {device.number}: {device.name} ({device.system}; "
                f"{device.inputs} in, {device.outputs} out; {device.rate_hz} Hz)"
            )
        found = replace(settings.room, delay_s=0.0)
        room = LiveRoom(found)
        try:
            found = _way_of_sound(_Air(room), found, report, say)
        finally:
            room.close()
        room = LiveRoom(found)
        try:
            air = _Air(room, kit.ear())
            _own_words(air, kit, report, say)
            if ask:
                _be_heard(air, kit, report, say)
            _found(report, gaps_finding(room.xruns), say)
        finally:
            room.close()
    except (BadInput, VoiceError, _RoomGone) as error:
        _found(report, Finding("sound", False, str(error)), say)


def _found(report: Report, finding: Finding, say: Tell) -> None:
    report.findings.append(finding)
    say(f"{'well' if finding.well else 'MEND'}  {finding.what}: {finding.text}")
    if finding.advice:
        say(f"      {finding.advice}")


def _system(kit: Kit) -> dict[str, str]:
    return {
        "coach": version("coach"),
        "python": platform.python_version(),
        "system": platform.platform(),
        "voice": kit.voice.name,
    }


# --- the room and the way of the sound ------------------------------------------------------


def _way_of_sound(air: _Air, settings: RoomSettings, report: Report, say: Tell) -> RoomSettings:
    """Noise, delay, echo; returns the settings with what was found."""
    room, figures = air.room, report.figures
    say(f"microphone: {room.pair.input.name}, {room.pair.input_hz} Hz")
    say(f"loudspeaker: {room.pair.output.name}, {room.pair.output_hz} Hz")
    air.until(room.now_s() + 0.5)  # a microphone's first moments are often a click
    quiet = air.until(room.now_s() + QUIET_S).microphone
    noise_db = floor_level_db(quiet)
    figures["noise_floor_db"] = round(noise_db, 1)
    _found(report, noise_finding(noise_db), say)

    end_s = 0.0
    for number in range(SWEEPS):
        clip = Clip("sweep", sweep(room.rate_hz), room.rate_hz)
        end_s = air.play(clip, 0.2 + number * SWEEP_EVERY_S)
    take = air.until(end_s + TAIL_S)
    # the room has put the reference earlier on purpose; the sweep tells the true way
    echo = find_echo(take.played, take.microphone)
    figures["echo_clearness"] = round(echo.clearness, 1)
    if not echo.found:
        figures["delay_s"] = None
        _found(report, NO_ECHO, say)
        return settings
    delay_s = echo.delay_s - AHEAD_S
    loss_db = echo_loss_db(take.played, take.microphone, noise_db)
    clipped = is_clipped(take.microphone)
    above_db = peak_level_db(take.microphone) - noise_db
    gain_db = settings.gain_db + gain_change_db(above_db, clipped)
    figures |= {
        "delay_s": round(delay_s, 4),
        "echo_loss_db": round(loss_db, 1),
        "own_above_noise_db": round(above_db, 1),
        "gain_db": round(gain_db, 1),
    }
    _found(report, echo_finding(delay_s, loss_db, above_db, clipped), say)
    return replace(settings, delay_s=round(delay_s, 4), gain_db=round(gain_db, 1))


# --- its own words, and the person's ----------------------------------------------------------


def _own_words(air: _Air, kit: Kit, report: Report, say: Tell) -> None:
    """Speak lines; nothing may be taken for a command."""
    room = air.room
    air.attend("hold", Knocks.MARKS)
    say("now the coach speaks for a while; please be quiet")
    takes: list[_Take] = []
    for name in OWN_LINES:
        clip = kit.voice.speak(kit.text(name), room.rate_hz)
        takes.append(air.until(air.play(clip) + TAIL_S))
    played = np.concatenate([take.played for take in takes])
    microphone = np.concatenate([take.microphone for take in takes])
    triggers = [_words(event) for take in takes for event in take.heard if _is_command(event)]
    figures = report.figures
    spoken_s = len(played) / EAR_RATE_HZ
    figures["own_words_s"] = round(spoken_s, 1)
    figures["own_words_triggers"] = len(triggers)
    figures["cancelled_db"] = _cancelled_db(kit.canceller(), played, microphone)
    _found(report, own_words_finding(triggers, spoken_s), say)


def _cancelled_db(canceller: Canceller, played: Audio, microphone: Audio) -> float:
    """By how much the canceller lowers the coach, after a second to learn."""
    size = EAR_RATE_HZ // 100
    whole = len(played) // size * size
    frames = range(0, whole, size)
    cleaned = [
        canceller.cancel(microphone[at : at + size], played[at : at + size]) for at in frames
    ]
    after = EAR_RATE_HZ
    loss_db = level_db(microphone[after:whole]) - level_db(np.concatenate(cleaned)[after:])
    return round(loss_db, 1)


def _be_heard(air: _Air, kit: Kit, report: Report, say: Tell) -> None:
    """Ask for the word, first in silence, then over the coach's voice."""
    for what, name, over in (
        ("stop in silence", "check_say_stop", False),
        ("stop over the coach", "check_say_stop_over", True),
    ):
        waits_s: list[float] = []
        levels_db: list[float] = []
        say(f"{what}: {kit.text(name)}")
        air.until(air.play(kit.voice.speak(kit.text(name), air.room.rate_hz)))
        for _ in range(TRIES):
            heard, take = _one_try(air, kit, over)
            if heard is not None:
                waits_s.append(heard.at_s - heard.end_s)
                levels_db.append(peak_level_db(take.microphone))
        key = what.replace(" ", "_")
        report.figures[f"{key}_heard"] = len(waits_s)
        report.figures[f"{key}_tries"] = TRIES
        if waits_s:
            report.figures[f"{key}_reaction_s"] = round(float(np.median(waits_s)), 2)
        _found(report, _stop_finding(what, len(waits_s), levels_db, report), say)
        if not waits_s:  # over the coach it would be heard even less
            return


def _one_try(air: _Air, kit: Kit, over: bool) -> tuple[Heard | None, _Take]:
    """One tone to say the word after; what was heard of it, and the sound it was heard in."""
    room = air.room
    air.attend("hold", Knocks.OFF)
    begun_s = air.play(kit.tone("count", room.rate_hz), BETWEEN_S)
    air.until(begun_s)
    if over:
        air.play(kit.voice.speak(kit.text("check_talk"), room.rate_hz))

    def is_stop(event: EarEvent) -> bool:
        return isinstance(event, Heard) and event.command == "stop" and event.onset_s > begun_s

    take = air.until(begun_s + ANSWER_S, is_stop)
    air.hush()
    found = [event for event in take.heard if isinstance(event, Heard) and is_stop(event)]
    return (found[0] if found else None), take


def _stop_finding(what: str, heard: int, levels_db: Sequence[float], report: Report) -> Finding:
    noise_db = report.figures.get("noise_floor_db")
    above_db = None
    if levels_db and noise_db is not None:
        above_db = float(np.median(levels_db)) - noise_db
        if "silence" in what:
            report.figures["speech_above_noise_db"] = round(above_db, 1)
    return stop_finding(what, heard, TRIES, above_db)


def _is_command(event: EarEvent) -> bool:
    return isinstance(event, Heard) or type(event).__name__ == "Knocked"


def _words(event: EarEvent) -> str:
    return repr(event.text) if isinstance(event, Heard) else "a knock"


# --- the rest ----------------------------------------------------------------------------------


def _contact_finding(command: Sequence[str]) -> Finding:
    """Make a test call; without a shell, as in earnest."""
    if not command:
        advice = "set contact.command if somebody shall be called when nobody answers"
        return Finding("contact", False, "no command is configured", advice)
    filled = [part.format_map({"participant": 0, "reason": "test call"}) for part in command]
    begun_s = time.monotonic()
    try:
        done = subprocess.run(
            filled, stdin=subprocess.DEVNULL, capture_output=True, check=False, timeout=CONTACT_S
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return Finding("contact", False, f"the test call failed: {error}", "see contact.command")
    if done.returncode:
        text = f"the command ended with code {done.returncode}"
        return Finding("contact", False, text, "see contact.command")
    took_s = time.monotonic() - begun_s
    return Finding("contact", True, f"test call made in {took_s:.1f} s; did it arrive?")


def _store(report: Report, path: Path) -> Finding:
    delay_s, gain_db = report.figures.get("delay_s"), report.figures.get("gain_db")
    if delay_s is None or gain_db is None:
        return Finding("stored", False, "nothing was found that could be stored")
    store_found(path, delay_s=float(delay_s), gain_db=float(gain_db))
    return Finding("stored", True, f"delay_s = {delay_s}, gain_db = {gain_db} in {path}")

"""The participants of a scene: they do their acts when the moments come, and all is logged."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from itertools import count
from pathlib import Path

import numpy as np
import soundfile
import soxr

from coach.border import BadInput
from coach.ports import Audio, Clip, Voice
from coach.room.mixer import ClipMixer
from coach.room.scene import Act, Participant, Scene

BREATH_S = 0.15  # between two utterances of one person
KNOCK_APART_S = 0.25
KNOCK_OVER_SPEECH_DB = 14.0


@dataclass(frozen=True, slots=True)
class Moment:
    """A named cue as it sounded; `end_s` is None while it does, `text` is what was said."""

    name: str
    start_s: float
    end_s: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Done:
    """An act as it sounded. Times are room seconds at the participant, not at the microphone."""

    participant: int
    name: str
    text: str
    onset_s: float  # first audible sound
    end_s: float
    act: Act


@dataclass(frozen=True, slots=True)
class SceneLog:
    """What truly happened in the room, in order."""

    moments: list[Moment] = field(default_factory=list)
    acts: list[Done] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Sound:
    text: str
    clip: Clip  # levelled
    onset_s: float  # from the clip's beginning


@dataclass(slots=True)
class _Script:
    """An act, what it sounds like, and how often it was reached and planned."""

    person: Participant
    act: Act
    sounds: tuple[_Sound, ...]
    reached: int = 0
    done: int = 0


def energy_onset_s(samples: Audio, rate_hz: int) -> float:
    """Where sound begins: the first 5 ms within 30 dB of the loudest 5 ms, in seconds.

    Raises BadInput where all is silent.
    """
    return _loud_windows(samples, rate_hz // 200)[0] * (rate_hz // 200) / rate_hz


def active_rms(samples: Audio, rate_hz: int) -> float:
    """RMS of the parts that are not pauses. Raises BadInput where all is silent."""
    window = rate_hz // 50
    loud = _loud_windows(samples, window)
    pieces = [samples[n * window : (n + 1) * window] for n in loud]
    return float(np.sqrt(np.mean(np.concatenate(pieces).astype(np.float64) ** 2)))


def _loud_windows(samples: Audio, window: int) -> list[int]:
    padded = np.pad(samples, (0, -len(samples) % window)).astype(np.float64)
    energy = np.mean(padded.reshape(-1, window) ** 2, axis=1)
    if not energy.size or energy.max() <= 0:
        raise BadInput("there is no sound in it")
    return [int(n) for n in np.flatnonzero(energy >= energy.max() * 1e-3)]


def knock_samples(times: int, rate_hz: int) -> Audio:
    """Knuckles on wood: a short burst over two falling resonances, peak 1."""
    rng = np.random.default_rng(times)
    t = np.arange(round(0.09 * rate_hz)) / rate_hz
    body = np.sin(2 * np.pi * 190 * t) * np.exp(-t / 0.018)
    body += 0.6 * np.sin(2 * np.pi * 510 * t) * np.exp(-t / 0.009)
    one = body + 0.7 * rng.standard_normal(len(t)) * np.exp(-t / 0.0025)
    apart = round(KNOCK_APART_S * rate_hz)
    samples = np.zeros(apart * (times - 1) + len(one))
    for n in range(times):
        samples[n * apart : n * apart + len(one)] += one
    return np.asarray(samples / np.abs(samples).max(), np.float32)


def recording(path: str, rate_hz: int) -> Audio:
    """A sound file of any rate and width as mono at `rate_hz`. Raises BadInput."""
    try:
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise BadInput(f"{path}: is no sound that can be read ({error})") from None
    mono = samples.mean(axis=1)
    return np.asarray(soxr.resample(mono, rate, rate_hz), np.float32)


def tapped_samples(rate_bpm: float, for_s: float, rate_hz: int) -> Audio:
    """A steady beat of single knocks, peak 1; the first at once, none later than `for_s`."""
    one = knock_samples(1, rate_hz)
    starts = [round(n * 60 / rate_bpm * rate_hz) for n in range(int(for_s * rate_bpm / 60) + 1)]
    samples: Audio = np.zeros(starts[-1] + len(one), np.float32)
    for start in starts:
        samples[start : start + len(one)] += one
    return samples


class People:
    """Everybody in the scene. `voices` gives the voice for a participant's `voice`."""

    def __init__(self, scene: Scene, voices: Callable[[str], Voice], rate_hz: int) -> None:
        self.log = SceneLog()
        self._mixer = ClipMixer(rate_hz)
        self._voices = voices
        self._rate_hz = rate_hz
        self._clips: dict[tuple[str, str], Audio] = {}
        self._order = count()
        self._pending: list[tuple[float, int, _Script, _Sound]] = []  # by clip start
        self._busy_s: dict[int, float] = {}  # until when each one speaks
        self._scripts = [
            _Script(person, act, self._sounds(person, act))
            for person in scene.participants
            for act in person.acts
        ]
        for script in self._scripts:
            if script.act.at_s is not None:
                self._plan(script, script.act.at_s)

    def reach(self, moment: str, edge: str, at_s: float, text: str = "") -> None:
        """A moment has begun ("start") or ended ("end") at `at_s`; acts on it are planned."""
        for script in self._scripts:
            act = script.act
            if not act.after or act.edge != edge or not fnmatchcase(moment, act.after):
                continue
            if not act.goes_with(text):
                continue
            script.reached += 1
            if act.takes(script.reached):
                self._plan(script, at_s + act.delay_s)

    def render(self, frames: int) -> Audio:
        """What arrives of them at the microphone in the next block."""
        until_s = self._mixer.now_s() + frames / self._rate_hz
        while self._pending and self._pending[0][0] < until_s:
            start_s, _, script, sound = heapq.heappop(self._pending)
            self._perform(script, sound, start_s)
        return self._mixer.render(frames)

    def _plan(self, script: _Script, onset_s: float) -> None:
        """Let the script's next sound begin so that it is first heard at `onset_s`."""
        if script.sounds:
            sound = script.sounds[script.done % len(script.sounds)]
            script.done += 1
            start_s = onset_s - sound.onset_s + script.person.delay_s
            heapq.heappush(self._pending, (start_s, next(self._order), script, sound))

    def _perform(self, script: _Script, sound: _Sound, start_s: float) -> None:
        act, person = script.act, script.person
        free_s = self._busy_s.get(person.number, 0.0) + BREATH_S
        if act.every_s is not None:
            onset_s = start_s + sound.onset_s - person.delay_s
            if onset_s + act.every_s <= act.until_s:
                self._plan(script, onset_s + act.every_s)
            if start_s < free_s:
                return  # people do not talk over themselves
        if act.texts and start_s < free_s:
            heapq.heappush(self._pending, (free_s, next(self._order), script, sound))
            return
        began_s = self._mixer.play(next(self._order), sound.clip, start_s) - person.delay_s
        end_s = began_s + sound.clip.duration_s
        self._busy_s[person.number] = max(free_s - BREATH_S, end_s + person.delay_s)
        onset_s = began_s + sound.onset_s
        self.log.acts.append(Done(person.number, person.name, sound.text, onset_s, end_s, act))

    def _sounds(self, person: Participant, act: Act) -> tuple[_Sound, ...]:
        level_db = person.level_db + act.gain_db
        if act.knock or act.taps_bpm:
            gain = 10 ** ((level_db + KNOCK_OVER_SPEECH_DB) / 20)  # the peak is 1
            return (self._sound(*_knocked(act, self._rate_hz), gain),)
        if act.play:
            spoken = {f"({Path(act.play).name})": recording(act.play, self._rate_hz)}
        else:
            spoken = {text: self._spoken(person.voice, text) for text in act.texts}
        return tuple(self._levelled(text, clip, level_db) for text, clip in spoken.items())

    def _levelled(self, text: str, samples: Audio, level_db: float) -> _Sound:
        try:
            rms = active_rms(samples, self._rate_hz)
        except BadInput as error:
            raise BadInput(f"{text}: {error}") from None
        return self._sound(text, samples, 10 ** (level_db / 20) / rms)

    def _sound(self, text: str, samples: Audio, gain: float) -> _Sound:
        clip = Clip(text, samples * np.float32(gain), self._rate_hz)
        return _Sound(text, clip, energy_onset_s(samples, self._rate_hz))

    def _spoken(self, voice: str, text: str) -> Audio:
        if (voice, text) not in self._clips:
            clip = self._voices(voice).speak(text, self._rate_hz)
            self._clips[voice, text] = clip.samples
        return self._clips[voice, text]


def _knocked(act: Act, rate_hz: int) -> tuple[str, Audio]:
    if act.taps_bpm:
        samples = tapped_samples(act.taps_bpm, act.for_s, rate_hz)
        return f"(taps at {act.taps_bpm:g} a minute)", samples
    text = "(knocks twice)" if act.knock == 2 else "(knocks)"
    return text, knock_samples(act.knock, rate_hz)

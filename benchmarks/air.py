"""The ear in computed rooms whose truth is known: double talk, its own voice, knocks, others.

Rooms: reverberation 0.3 s, a loudspeaker that distorts a little, pink noise at -60 dB. Voices are
synthetic, so the figures compare ways of hearing; they do not predict people.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
import vosk

from coach.app.equipment import Equipment
from coach.ear.own_voice import OwnVoice, level_db
from coach.ports import EAR_RATE_HZ, Audio, Block, EarEvent
from coach.practice.events import Heard, Knocked, Knocks
from coach.room.echo import EchoPath, noise_loop
from coach.room.people import knock_samples
from coach.room.scene import Echo
from coach.settings import load_settings
from coach.voice.choose import participant_voice

FRAMES = EAR_RATE_HZ // 50
VOICES = ("espeak:en-us+m3@150", "espeak:en-gb+f2@155", "espeak:en-us+m7@140", "natural:0.85")
WORDS = ("stop", "done")
SPEECH_DB = -26.0
NOISE_DB = -60.0
ECHO_TO_SPEECH_DB = (0.0, 6.0, 12.0)
NEAR_S = 1.0  # an event this near to a word answers it


@dataclass(frozen=True, slots=True)
class Word:
    """What a person said in a track, and when it sounded."""

    word: str
    start_s: float
    end_s: float


def at_level(samples: Audio, db: float) -> Audio:
    """The samples with that level while they sound."""
    loud = samples[np.abs(samples) > 0.02 * np.abs(samples).max()]
    return samples * np.float32(10 ** ((db - level_db(loud)) / 20))


def coach_speech(equipment: Equipment) -> list[Audio]:
    """Every line that needs no values, as the coach speaks it."""
    lines = equipment.lines
    names = sorted(name for name in lines.names() if not lines.values_of(name))
    return [equipment.voice.speak(lines.text(name, {}), EAR_RATE_HZ).samples for name in names]


def track(pieces: Sequence[Audio], gap_s: float) -> Audio:
    """Pieces one after the other with silence between."""
    gap = np.zeros(round(gap_s * EAR_RATE_HZ), np.float32)
    return np.concatenate([part for piece in pieces for part in (gap, piece)] + [gap])


def echo_of(played: Audio, echo_db: float, rng: np.random.Generator, delay_s: float) -> Audio:
    """What comes back of it, at a level of its own."""
    path = EchoPath(Echo(delay_s, 0.0, 0.3, -6.0, 0.05), EAR_RATE_HZ, FRAMES, rng)
    whole = len(played) // FRAMES * FRAMES
    heard = np.concatenate(
        [path.through(played[at : at + FRAMES]) for at in range(0, whole, FRAMES)]
    )
    return at_level(np.pad(heard, (0, len(played) - whole)), echo_db)


def with_noise(samples: Audio, rng: np.random.Generator) -> Audio:
    noise = noise_loop(NOISE_DB, EAR_RATE_HZ, rng)
    repeats = -(-len(samples) // len(noise))
    return np.clip(samples + np.tile(noise, repeats)[: len(samples)], -1, 1).astype(np.float32)


def blocks(microphone: Audio, played: Audio) -> Iterator[Block]:
    for at in range(0, len(microphone), 2 * FRAMES):
        end = at + 2 * FRAMES
        yield Block(at / EAR_RATE_HZ, microphone[at:end], played[at:end])


def heard_in(equipment: Equipment, microphone: Audio, played: Audio) -> list[EarEvent]:
    """Everything that our ear makes of it in a hold."""
    ear = equipment.ear()
    ear.attend("hold", Knocks.MARKS)
    return [event for block in blocks(microphone, played) for event in ear.feed(block)]


def plainly_heard(model: vosk.Model, microphone: Audio) -> list[tuple[float, str]]:
    """The plain script's ear: a closed grammar on the microphone, 0.25 s at a time."""
    recogniser = vosk.KaldiRecognizer(model, EAR_RATE_HZ, json.dumps([*WORDS, "up", "[unk]"]))
    found: list[tuple[float, str]] = []
    size = EAR_RATE_HZ // 4
    for at in range(0, len(microphone), size):
        samples = (microphone[at : at + size] * 32767).astype(np.int16)
        if recogniser.AcceptWaveform(samples.tobytes()):
            text = json.loads(recogniser.Result())["text"]
        else:
            text = json.loads(recogniser.PartialResult())["partial"]
        word = next((word for word in text.split() if word in WORDS), "")
        if word:
            found.append(((at + size) / EAR_RATE_HZ, word))
            recogniser.Reset()
    return found


def matched(words: Sequence[Word], onsets: Sequence[tuple[float, float, str]]) -> dict[str, Any]:
    """Words against events (onset, noticed, word); each event answers at most one word."""
    errors, waits, left = [], [], list(onsets)
    for word in words:
        for event in left:
            if event[2] == word.word and word.start_s - NEAR_S < event[0] < word.end_s + NEAR_S:
                errors.append(event[0] - word.start_s)
                waits.append(event[1] - word.end_s)
                left.remove(event)
                break
    return {
        "heard": f"{len(errors)} of {len(words)}",
        "onset_error_p50_s": _percentile(np.abs(errors), 50),
        "onset_error_p95_s": _percentile(np.abs(errors), 95),
        "reaction_p50_s": _percentile(waits, 50),
        "reaction_p95_s": _percentile(waits, 95),
        "false": len(left),
    }


def _percentile(values: Any, which: float) -> float | None:
    return round(float(np.percentile(values, which)), 3) if len(values) else None


def double_talk(equipment: Equipment, model: vosk.Model, trials: int) -> dict[str, Any]:
    """Words said over the coach, at several levels of its echo."""
    speech = coach_speech(equipment)
    found: dict[str, Any] = {}
    for over_db in ECHO_TO_SPEECH_DB:
        rng = np.random.default_rng(round(over_db) + 11)
        order = rng.permutation(len(speech))
        long = [
            speech[i] for i in np.resize(order, 3 * trials) if len(speech[i]) > 2.5 * EAR_RATE_HZ
        ]
        played = track(long[:trials], 1.5)
        said: Audio = np.zeros_like(played)
        words: list[Word] = []
        at = 0
        for number, piece in enumerate(long[:trials]):
            at += round(1.5 * EAR_RATE_HZ)
            word = WORDS[number % len(WORDS)]
            clip = participant_voice(VOICES[number % len(VOICES)]).speak(word, EAR_RATE_HZ).samples
            start = at + round(rng.uniform(0.5, 1.2) * EAR_RATE_HZ)
            said[start : start + len(clip)] += at_level(clip, SPEECH_DB)
            words.append(Word(word, start / EAR_RATE_HZ, (start + len(clip)) / EAR_RATE_HZ))
            at += len(piece)
        echo = echo_of(played, SPEECH_DB + over_db, rng, 0.06)
        microphone = with_noise(echo + said, rng)
        ours = [
            (event.onset_s, event.at_s, event.command or "")
            for event in heard_in(equipment, microphone, played)
            if isinstance(event, Heard)
        ]
        plain = [(at_s, at_s, word) for at_s, word in plainly_heard(model, microphone)]
        found[f"echo {over_db:+.0f} dB"] = {
            **matched(words, ours),
            "stop alone": matched([w for w in words if w.word == "stop"], ours)["heard"],
            "plain script": matched(words, plain),
        }
    return found


def own_voice(equipment: Equipment, model: vosk.Model, hours: float) -> dict[str, Any]:
    """Nobody is there; the coach speaks in rooms of several kinds."""
    speech = track(coach_speech(equipment), 0.6)
    rng = np.random.default_rng(4)
    seconds, events, plain, losses = 0.0, [], 0, []
    began_s = time.perf_counter()
    while seconds < hours * 3600:
        delay_s, echo_db = rng.uniform(0.01, 0.2), rng.uniform(-35.0, -15.0)
        microphone = with_noise(echo_of(speech, echo_db, rng, delay_s), rng)
        events += [e for e in heard_in(equipment, microphone, speech) if not _unclear(e)]
        plain += len(plainly_heard(model, microphone))
        losses.append(echo_loss(microphone, speech))
        seconds += len(speech) / EAR_RATE_HZ
    took_s = time.perf_counter() - began_s
    return {
        "hours": round(seconds / 3600, 2),
        "false_commands": len(events),
        "what": sorted({_named(event) for event in events}),
        "plain_script_false_commands": plain,
        "echo_taken_away_db": round(float(np.median(losses)), 1),
        "of_real_time_both": round(took_s / seconds, 3),
    }


def echo_loss(microphone: Audio, played: Audio) -> float:
    """By how much the canceller lowers the coach, after ten seconds."""
    own, size = OwnVoice(), EAR_RATE_HZ // 100
    end = min(len(played), 60 * EAR_RATE_HZ) // size * size
    cleaned = [
        own.cancel(microphone[at : at + size], played[at : at + size]) for at in range(0, end, size)
    ]
    after = 10 * EAR_RATE_HZ
    return level_db(microphone[after:end]) - level_db(np.concatenate(cleaned)[after:])


def knocks(equipment: Equipment, count: int) -> dict[str, Any]:
    """Single and double knocks in silence, and the false ones in an hour's share of speech."""
    rng = np.random.default_rng(6)
    found: dict[str, Any] = {}
    for times in (1, 2):
        sound = knock_samples(times, EAR_RATE_HZ)
        said: Audio = np.zeros(round(count * 3.0 * EAR_RATE_HZ), np.float32)
        starts_s = [number * 3.0 + 1.0 + rng.uniform(0, 0.5) for number in range(count)]
        for start_s in starts_s:
            at = round(start_s * EAR_RATE_HZ)
            level = 10 ** (rng.uniform(-24.0, -10.0) / 20) / np.abs(sound).max()
            said[at : at + len(sound)] += sound * np.float32(level)
        heard = heard_in(equipment, with_noise(said, rng), np.zeros_like(said))
        knocked = [(e.onset_s, e.at_s, str(e.count)) for e in heard if isinstance(e, Knocked)]
        words = [Word(str(times), start_s, start_s) for start_s in starts_s]
        found["single" if times == 1 else "double"] = matched(words, knocked)
    return found


def others(equipment: Equipment, model: vosk.Model, folder: Path) -> dict[str, Any]:
    """Recordings of other people, in a hold while the coach is silent."""
    seconds, events, plain = 0.0, [], 0
    for path in sorted(folder.rglob("*.wav")):
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
        samples = at_level(soxr.resample(samples[:, 0], rate_hz, EAR_RATE_HZ), SPEECH_DB)
        heard = heard_in(equipment, samples, np.zeros_like(samples))
        events += [event for event in heard if not _unclear(event)]
        plain += len(plainly_heard(model, samples))
        seconds += len(samples) / EAR_RATE_HZ
    return {
        "hours": round(seconds / 3600, 2),
        "false_commands": sum(isinstance(event, Heard) for event in events),
        "false_double_knocks": sum(_named(event) == "2 knocks" for event in events),
        "what": sorted({_named(event) for event in events}),
        "plain_script_false_commands": plain,
    }


def _unclear(event: EarEvent) -> bool:
    return not isinstance(event, Heard | Knocked)


def _named(event: EarEvent) -> str:
    return event.text if isinstance(event, Heard) else f"{getattr(event, 'count', 0)} knocks"


def figures(trials: int, hours: float, speech: Path | None) -> dict[str, Any]:
    """All of it."""
    vosk.SetLogLevel(-1)
    equipment = Equipment.of(load_settings())
    model = vosk.Model(str(equipment.model.folder))
    found = {
        "double talk": double_talk(equipment, model, trials),
        "own voice": own_voice(equipment, model, hours),
        "knocks": knocks(equipment, 60),
    }
    if speech is not None:
        found["others"] = others(equipment, model, speech)
    return found

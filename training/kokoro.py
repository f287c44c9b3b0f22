"""Speech from the Kokoro model: many voices, each also mixed with others, from phonemes.

Two commands, because the second wants many processor cores:

``python -m training.kokoro plan --count N --out jobs.json``   (needs ``hibari-tts`` for phonemes)
``python -m training.kokoro speak jobs.json --model kokoro.onnx --voices voices.npz --out FOLDER``

The second writes shards ``NUMBER.npz`` (``sound`` int16 at 16 kHz, ``index`` as JSON) as it goes.
Only English voices and voices of other languages speaking English are used; those in
``KOKORO_HELD_OUT`` never speak in training.
"""

import argparse
import itertools
import json
import multiprocessing
import os
import random
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from training import corpus
from training.corpus import Sound

MOST_TOKENS = 120
MODEL_RATE = 24000
SHARD = 40


def pack_voices(folder: Path, out: Path) -> None:
    """Style vectors of all voices, (tokens, 256) each, as far as our short texts need them."""
    styles = {
        path.stem: np.fromfile(path, np.float32).reshape(-1, 256)[:MOST_TOKENS].astype(np.float16)
        for path in sorted(folder.glob("*.bin"))
    }
    np.savez_compressed(out, **styles)  # type: ignore[arg-type]


def plan(count: int, seed: int, out: Path, vocabulary: Path, held_out: bool) -> None:
    """Texts, phoneme numbers, voices and speeds, so that speaking needs no dictionary."""
    from hibari.g2p import G2P

    from training.texts import evaluation_texts, random_texts
    from training.voices import KOKORO_HELD_OUT

    rng = random.Random(seed)
    numbers = json.loads(vocabulary.read_text("utf-8"))["vocab"]
    to_phonemes = {False: G2P(british=False), True: G2P(british=True)}
    names = json.loads((out.parent / "voices.json").read_text("utf-8"))
    training = [name for name in names if name not in KOKORO_HELD_OUT]
    english = [name for name in training if name[0] in "ab"]
    jobs: list[list[object]] = []
    for words in evaluation_texts() if held_out else random_texts(seed):
        if len(jobs) == count:
            break
        main = rng.choice(
            KOKORO_HELD_OUT if held_out else english if rng.random() < 0.8 else training
        )
        other, share = (
            (rng.choice(training), rng.uniform(0.15, 0.6)) if rng.random() < 0.6 else (main, 0.0)
        )
        if held_out:
            other, share = main, 0.0
        phonemes = to_phonemes[main[0] == "b"](" ".join(words)) + rng.choice(
            [".", ".", "!", "?", ","]
        )
        tokens = [numbers[p] for p in phonemes if p in numbers]
        if len(tokens) < MOST_TOKENS - 2:
            jobs.append(
                [
                    tokens,
                    " ".join(words),
                    main,
                    other,
                    round(share, 2),
                    round(rng.uniform(0.7, 1.35), 2),
                ]
            )
    out.write_text(json.dumps(jobs), "utf-8")


def _speak_some(work: tuple[int, int, str, str, str, str, float]) -> int:
    """One process: every ``step``-th shard of the jobs until the jobs or the time end."""
    from math import gcd

    import onnxruntime
    from scipy.signal import resample_poly

    from training.corpus import RATE, trimmed

    first, step, jobs_path, model, voices_path, out, until = work
    jobs = json.loads(Path(jobs_path).read_text("utf-8"))
    settings = onnxruntime.SessionOptions()
    settings.intra_op_num_threads = settings.inter_op_num_threads = 1
    session = onnxruntime.InferenceSession(model, settings, providers=["CPUExecutionProvider"])
    styles = np.load(voices_path)
    common = gcd(RATE, MODEL_RATE)
    shards = [jobs[i : i + SHARD] for i in range(0, len(jobs), SHARD)]
    done = 0
    for number in range(first, len(shards), step):
        sounds, index = [], []
        for tokens, words, main, other, share, speed in shards[number]:
            if time.time() > until:
                break
            row = len(tokens)
            style = (1 - share) * styles[main][row] + share * styles[other][row]
            feeds = {
                "tokens": np.array([[0, *tokens, 0]], np.int64),
                "style": style[None].astype(np.float32),
                "speed": np.array([speed], np.float32),
            }
            raw = session.run(None, feeds)[0].ravel()
            cut = trimmed(
                resample_poly(raw, RATE // common, MODEL_RATE // common).astype(np.float32)
            )
            if cut is not None:
                sounds.append((cut * 32767).astype(np.int16))
                index.append([len(cut), words, f"kokoro:{main}+{other}:{share}"])
        if sounds:
            part = Path(out) / f"{number}.part.npz"
            np.savez(part, sound=np.concatenate(sounds), index=np.array(json.dumps(index)))
            part.replace(Path(out) / f"{number}.npz")
            done += len(sounds)
    return done


def speak(jobs: Path, model: Path, voices: Path, out: Path, processes: int, seconds: float) -> int:
    """Do the jobs on all cores; returns how many clips were made before the time was over."""
    out.mkdir(parents=True, exist_ok=True)
    until = time.time() + seconds
    work = [
        (n, processes, str(jobs), str(model), str(voices), str(out), until)
        for n in range(processes)
    ]
    with multiprocessing.Pool(processes) as pool:
        return sum(pool.imap_unordered(_speak_some, work))


def read_shards(folder: Path) -> Iterator[tuple[Sound, tuple[str, ...], str]]:
    """(sound, words, speaker) of everything spoken so far."""
    for path in sorted(folder.glob("*.npz")):
        if path.name.endswith(".part.npz"):
            continue
        shard, position = np.load(path), 0
        for frames, words, speaker in json.loads(str(shard["index"])):
            sound = shard["sound"][position : position + frames].astype(np.float32) / 32768
            yield sound, tuple(words.split()), speaker
            position += frames


def pack(shards: Path, most: int, out: Path) -> None:
    """Shards into an ordinary corpus."""
    clips = corpus.write(out, itertools.islice(read_shards(shards), most))
    print(f"{len(clips)} clips")


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.kokoro", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    planning = commands.add_parser("plan")
    planning.add_argument("--count", type=int, default=1000)
    planning.add_argument("--seed", type=int, default=0)
    planning.add_argument("--vocabulary", type=Path, required=True, help="Kokoro's vocab.json")
    planning.add_argument(
        "--voices", type=Path, required=True, help="a folder of style vectors, *.bin"
    )
    planning.add_argument("--held-out", action="store_true", help="the voices kept for evaluation")
    planning.add_argument("--out", type=Path, required=True)
    speaking = commands.add_parser("speak")
    speaking.add_argument("jobs", type=Path)
    speaking.add_argument("--model", type=Path, required=True)
    speaking.add_argument("--voices", type=Path, required=True)
    speaking.add_argument("--out", type=Path, required=True)
    speaking.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    speaking.add_argument("--seconds", type=float, default=1e9, help="stop after this long")
    packing = commands.add_parser("pack", help="shards into one corpus")
    packing.add_argument("shards", type=Path)
    packing.add_argument("--most", type=int, default=1_000_000, help="how many clips at most")
    packing.add_argument("--out", type=Path, required=True)
    options = parser.parse_args(arguments)
    if options.command == "pack":
        pack(options.shards, options.most, options.out)
    elif options.command == "plan":
        names = sorted(path.stem for path in options.voices.glob("*.bin"))
        (options.out.parent / "voices.json").write_text(json.dumps(names), "utf-8")
        pack_voices(options.voices, options.out.parent / "voices.npz")
        plan(options.count, options.seed, options.out, options.vocabulary, options.held_out)
    else:
        made = speak(
            options.jobs,
            options.model,
            options.voices,
            options.out,
            options.processes,
            options.seconds,
        )
        print(f"kokoro: {made} clips")


if __name__ == "__main__":
    main()

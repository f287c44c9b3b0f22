"""How quickly a model answers: ``python -m training.latency MODEL --people words``.

Prints the time to load, the share of one processor that listening takes, and the delay from the end
of the word "stop" to the partial result that has it. On a busy machine the first two grow; the
third is counted in samples and does not.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from itertools import product
from pathlib import Path

import numpy as np

from training.conditions import CONDITIONS, LEAD_S
from training.corpus import RATE, Sound
from training.recognisers import Vosk, pcm
from training.situations import GRAMMARS
from training.testsets import Item, clips_of

BLOCK_S = 0.02
END_FLOOR_DB = -25.0  # a word ends where it falls for good this far under its loudest 10 ms
TAIL_S = 1.0  # silence after the word, in which it may still be heard
UNKNOWN = "[unk]"

_LOAD = """
import sys, time, vosk
vosk.SetLogLevel(-1)
wall, cpu = time.perf_counter(), time.process_time()
model = vosk.Model(sys.argv[1])
print(time.perf_counter() - wall, time.process_time() - cpu)
"""


def load_s(folder: Path, times: int = 9) -> tuple[float, float]:
    """Median seconds to load the model in a fresh process: on the wall clock, of one processor."""
    command = [sys.executable, "-c", _LOAD, str(folder)]
    runs = [subprocess.run(command, capture_output=True, check=True) for _ in range(times)]
    wall, cpu = np.median([[float(x) for x in run.stdout.split()] for run in runs], axis=0)
    return float(wall), float(cpu)


def real_time_factor(model: Vosk, items: Sequence[Item], phrases: Sequence[str]) -> float:
    """Seconds of one processor for a second of sound."""
    sound = np.concatenate([CONDITIONS["clean"](item.sound, item.key) for item in items])
    began = time.process_time()
    model.words(sound, phrases)
    return (time.process_time() - began) / (len(sound) / RATE)


def word_end_s(sound: Sound) -> float:
    """Where the word ends in its clip, by level."""
    power = np.convolve(sound * sound, np.ones(160) / 160, "same")
    return float(np.flatnonzero(power > power.max() * 10 ** (END_FLOOR_DB / 10))[-1]) / RATE


def delay_s(
    model: Vosk, item: Item, phrases: Sequence[str], with_times: bool = False
) -> float | None:
    """From the end of the word to the end of the block after which a result has it.

    Partial results ``with_times`` (and confidence) wait for Vosk to determinise its lattice.
    """
    padding = np.zeros(round(TAIL_S * RATE), np.float32)
    sound = np.concatenate([CONDITIONS["clean"](item.sound, item.key), padding])
    session, raw, step = model.session(phrases), pcm(sound), 2 * round(BLOCK_S * RATE)
    session.SetPartialWords(with_times)
    for first in range(0, len(raw), step):
        ended = session.AcceptWaveform(raw[first : first + step])
        result = json.loads(session.Result() if ended else session.PartialResult())
        if item.said in (result.get("text") or result.get("partial") or "").split():
            return (first + step) / 2 / RATE - LEAD_S - word_end_s(item.sound)
    return None


def phrases_of(grammar: str) -> list[str]:
    return [*GRAMMARS[grammar], UNKNOWN]


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.latency", description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument("--people", type=Path, required=True, help="path without ending")
    parser.add_argument("--word", default="stop")
    o = parser.parse_args(arguments)
    items = [item for item in clips_of(o.people, "dev") if item.said == o.word]
    print(f"load of the machine {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
    wall, cpu = load_s(o.model)
    print(f"model loaded in {wall:.3f} s, {cpu:.3f} s of one processor")
    model = Vosk(o.model)
    print(f"real-time factor {real_time_factor(model, items, phrases_of('hold')):.3f}")
    for grammar, with_times in product(("hold", "commands"), (False, True)):
        delays = [delay_s(model, item, phrases_of(grammar), with_times) for item in items]
        heard = [delay for delay in delays if delay is not None]
        median, late = np.percentile(heard, [50, 95])
        print(
            f'"{o.word}" of {len(GRAMMARS[grammar])}{", with times" * with_times}: heard in'
            f" {len(heard)} of {len(items)}, after {median:.2f} s (median), {late:.2f} s (95 %)"
        )


if __name__ == "__main__":
    main()

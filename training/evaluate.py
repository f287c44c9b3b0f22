"""How well a model hears: ``python -m training.evaluate MODEL --people words --held held/...``.

Prints one table and writes the same as JSON. Each test names who spoke, which grammar was active
and which unknown word stood in it. Nothing of it is heard in training; only ``dev`` people may be
used to choose between models.
"""

import argparse
import json
import random
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from training import corpus
from training.conditions import CONDITIONS
from training.corpus import RATE, Sound
from training.situations import GRAMMARS, number_values
from training.voices import to_rate

UNKNOWN = {
    "hold": "[unk]",
    "ten commands": "[unk+1]",
    "commands": "[unk+1]",
    "digits": "[unk+2]",
    "numbers": "[unk+2]",
}
BLOCK = 1600


@dataclass(frozen=True, slots=True)
class Item:
    """One utterance of a test."""

    key: str
    sound: Sound
    said: str


@dataclass(slots=True)
class Score:
    """One row: of ``count`` utterances ``right`` were understood, ``wrong`` taken for another."""

    test: str
    grammar: str
    unknown: str
    condition: str
    count: int = 0
    right: int = 0
    wrong: int = 0
    confusions: Counter[str] = field(default_factory=Counter)

    def add(self, said: str, heard: str) -> None:
        self.count += 1
        self.right += heard == said
        self.wrong += heard not in (said, "")
        if heard != said:
            self.confusions[f"{said} > {heard or '-'}"] += 1

    def line(self) -> str:
        share = 100 * self.right / max(self.count, 1)
        wrong = 100 * self.wrong / max(self.count, 1)
        name = f"{self.test:22} {self.grammar:13} {self.condition:10}"
        return f"{name} {self.count:5} {share:6.1f} {wrong:6.1f}"


class Vosk:
    """A Vosk model; ``hear`` gives the words, foreign ones left out."""

    def __init__(self, folder: Path) -> None:
        import vosk

        vosk.SetLogLevel(-1)
        self._vosk = vosk
        self._model = vosk.Model(str(folder))

    def hear(self, sound: Sound, phrases: Sequence[str]) -> tuple[str, float]:
        """The words and the least confidence among them."""
        words = self.events(sound, phrases)
        return " ".join(w["word"] for w in words), min((w["conf"] for w in words), default=0.0)

    def events(self, sound: Sound, phrases: Sequence[str]) -> list[dict]:  # type: ignore[type-arg]
        """All known words, with times, over as many utterances as the decoder finds."""
        recognizer = self._vosk.KaldiRecognizer(self._model, RATE, json.dumps(list(phrases)))
        recognizer.SetWords(True)
        raw = (np.clip(sound, -1, 1) * 32767).astype("<i2")
        found = []
        for first in range(0, len(raw), BLOCK):
            if recognizer.AcceptWaveform(raw[first : first + BLOCK].tobytes()):
                found += json.loads(recognizer.Result()).get("result", [])
        found += json.loads(recognizer.FinalResult()).get("result", [])
        return [word for word in found if not word["word"].startswith("[unk")]


class PocketSphinx:
    """The recogniser of the pocketsphinx package with its own model, for comparison."""

    def hear(self, sound: Sound, phrases: Sequence[str]) -> tuple[str, float]:
        import pocketsphinx

        known = [p for p in phrases if not p.startswith("[")]
        grammar = "#JSGF V1.0; grammar g; public <g> = " + " | ".join(known) + ";"
        path = Path("/tmp") / f"grammar_{abs(hash(grammar))}.gram"
        if not path.exists():
            path.write_text(grammar, "utf-8")
        decoder = pocketsphinx.Decoder(lm=None, jsgf=str(path), loglevel="FATAL")
        decoder.start_utt()
        decoder.process_raw((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes(), full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        return (best.hypstr if best else ""), 1.0


def to_float(samples: npt.NDArray[np.int16]) -> Sound:
    return (samples / np.float32(32768)).astype(np.float32)


def clips_of(path: Path, split: str | None = None) -> Iterable[Item]:
    """The clips of a corpus as test items."""
    sound, clips = corpus.read(path)
    for clip in clips:
        if split is None or clip.split == split:
            cut = to_float(sound[clip.start : clip.start + clip.frames])
            yield Item(f"{path.name}:{clip.start}", cut, " ".join(clip.words))


def number_prompts(folder: Path) -> list[Item]:
    """The spoken numbers of Debian's ``asterisk-core-sounds-en-g722`` (one woman)."""
    from training.texts import below_hundred

    names = {str(n): " ".join(below_hundred(n)) for n in [*range(21), *range(30, 100, 10)]}
    files = [(folder / "digits" / f"{name}.g722", said) for name, said in names.items()]
    return [Item(path.name, read_g722(path), said) for path, said in files if path.is_file()]


def read_g722(path: Path) -> Sound:
    import av

    with av.open(str(path), format="g722") as container:
        parts = [frame.to_ndarray().reshape(-1) for frame in container.decode(audio=0)]
    return to_float(np.concatenate(parts))


def read_speech(prompts: Path | None, testdata: Path | None) -> list[Sound]:
    """Human speech that is no command: telephone prompts of whole sentences, and read books."""
    import soundfile

    sounds: list[Sound] = []
    if prompts and prompts.is_dir():
        for path in sorted(prompts.glob("*.g722")):
            sound = read_g722(path)
            if len(sound) > 1.2 * RATE:
                sounds.append(sound)
    if testdata and testdata.is_dir():
        for path in sorted(testdata.rglob("*.wav")):
            sound, rate = soundfile.read(path, dtype="float32")
            if sound.ndim == 1 and len(sound) > 2 * rate:
                sounds.append(to_rate(sound, rate))
    return sounds


def chosen(items: Iterable[Item], phrases: Sequence[str], most: int) -> list[Item]:
    fitting = [item for item in items if item.said in set(phrases)]
    random.Random(0).shuffle(fitting)
    return fitting[:most]


def run(
    recogniser: Vosk | PocketSphinx,
    test: str,
    items: Sequence[Item],
    grammar: str,
    condition: str,
    unknown: str,
) -> Score:
    """Hear ``items`` under one condition with one grammar."""
    score = Score(test, grammar, unknown, condition)
    for item in items:
        sound = CONDITIONS[condition](item.sound, item.key)
        heard, _ = recogniser.hear(sound, [*GRAMMARS[grammar], *([unknown] if unknown else [])])
        said = item.said
        score.add(said, heard)
    return score


def rejection_curve(
    recogniser: Vosk,
    own: Sequence[Item],
    foreign: Sequence[Item],
    grammar: str,
    unknowns: Sequence[str],
    cuts: Sequence[float],
) -> list[dict[str, float | str]]:
    """For each unknown word and confidence cut: percent of own words missed, of foreign taken."""
    rows: list[dict[str, float | str]] = []
    for unknown in unknowns:
        phrases = [*GRAMMARS[grammar], unknown]
        ours = [
            (*recogniser.hear(CONDITIONS["clean"](i.sound, i.key), phrases), i.said) for i in own
        ]
        theirs = [recogniser.hear(CONDITIONS["clean"](i.sound, i.key), phrases) for i in foreign]
        for cut in cuts:
            missed = sum(heard != said or conf < cut for heard, conf, said in ours)
            taken = sum(heard != "" and conf >= cut for heard, conf in theirs)
            rows.append(
                {
                    "grammar": grammar,
                    "unknown": unknown,
                    "cut": cut,
                    "missed": round(100 * missed / max(1, len(ours)), 1),
                    "taken": round(100 * taken / max(1, len(theirs)), 1),
                }
            )
    return rows


def number_confusions(recogniser: Vosk, items: Sequence[Item]) -> dict[int, Counter[int]]:
    """Of each number said, which values were heard (-1: nothing or no whole number)."""
    values = number_values()
    phrases = [*GRAMMARS["numbers"], UNKNOWN["numbers"]]
    heard: dict[int, Counter[int]] = {}
    for item in items:
        if item.said in values:
            text, _ = recogniser.hear(CONDITIONS["clean"](item.sound, item.key), phrases)
            heard.setdefault(values[item.said], Counter())[values.get(text, -1)] += 1
    return heard


def number_summary(heard: dict[int, Counter[int]]) -> dict[str, float]:
    """Shares in percent of a confusion matrix: all, two-word numbers, teens and tens."""

    def share(numbers: Iterable[int]) -> float:
        kept = [(n, heard[n]) for n in numbers if n in heard]
        return round(100 * sum(c[n] for n, c in kept) / max(1, sum(c.total() for _, c in kept)), 1)

    pairs = [n for ones in range(3, 10) for n in (10 + ones, 10 * ones)]
    swapped = sum(heard[n][n * 10 - 100 if n < 20 else n // 10 + 10] for n in pairs if n in heard)
    return {
        "all": share(range(301)),
        "two words": share(n for n in range(21, 100) if n % 10),
        "teens and tens": share(pairs),
        "teen heard as ten or back": swapped,
        "a hundred and more": share(range(100, 301)),
        "nothing heard": sum(c[-1] for c in heard.values()),
    }


def false_accepts(
    recogniser: Vosk, sounds: Sequence[Sound], grammar: str, unknown: str, cut: float
) -> dict[str, float | str]:
    """Commands heard per hour in speech that holds none (a word said in passing counts as one)."""
    hours = sum(map(len, sounds)) / RATE / 3600
    found: Counter[str] = Counter()
    for sound in sounds:
        for word in recogniser.events(sound, [*GRAMMARS[grammar], unknown]):
            if word["conf"] >= cut:
                found[word["word"]] += 1
    return {
        "grammar": grammar,
        "unknown": unknown,
        "cut": cut,
        "minutes": round(60 * hours, 1),
        "per hour": round(sum(found.values()) / max(hours, 1e-9), 1),
        "words": ", ".join(f"{w} {n}" for w, n in found.most_common(6)),
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="training.evaluate", description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument(
        "--people", type=Path, help="human words with a dev split, path without ending"
    )
    parser.add_argument(
        "--held", type=Path, nargs="*", default=[], help="corpora of held-out voices"
    )
    parser.add_argument(
        "--prompts", type=Path, default=Path("/usr/share/asterisk/sounds/en_US_f_Allison")
    )
    parser.add_argument("--testdata", type=Path, default=Path("/usr/share/pocketsphinx/test/data"))
    parser.add_argument("--most", type=int, default=200, help="utterances per row at most")
    parser.add_argument(
        "--conditions", nargs="*", default=list(CONDITIONS), choices=list(CONDITIONS)
    )
    parser.add_argument(
        "--small-model", type=Path, help="the official small English model, beside it"
    )
    parser.add_argument("--pocketsphinx", action="store_true", help="pocketsphinx beside it")
    parser.add_argument("--curves", action="store_true", help="rejection curves and false accepts")
    parser.add_argument("--numbers", action="store_true", help="confusions of 0..300")
    parser.add_argument("--out", type=Path, help="write everything as JSON")
    o = parser.parse_args(arguments)
    if not (o.model / "am" / "final.mdl").is_file():
        print(f"evaluate: {o.model} is no Vosk model (no am/final.mdl in it)", file=sys.stderr)
        return 2
    recognisers: dict[str, Vosk | PocketSphinx] = {"model": Vosk(o.model)}
    if o.small_model:
        recognisers["small model"] = Vosk(o.small_model)
    if o.pocketsphinx:
        recognisers["pocketsphinx"] = PocketSphinx()
    people = list(clips_of(o.people, "dev")) if o.people else []
    held = {path.name: list(clips_of(path)) for path in o.held}
    pooled = [item for items in held.values() for item in items]
    tests: list[tuple[str, list[Item], str]] = [
        ("dev people", people, "ten commands"),
        ("dev people", people, "digits"),
    ]
    tests += [("held-out voices", pooled, g) for g in ("commands", "numbers")]
    if o.prompts.is_dir():
        tests.append(("telephone prompts", number_prompts(o.prompts), "numbers"))
    report: dict[str, list[object]] = {"scores": [], "curves": [], "false accepts": []}
    print(f"{'test':22} {'grammar':13} {'condition':10} count  right%  wrong%")
    for name, recogniser in recognisers.items():
        print(f"-- {name}")
        for test, items, grammar in tests:
            use = chosen(items, GRAMMARS[grammar], o.most)
            for condition in o.conditions if use else []:
                unknown = UNKNOWN[grammar] if name == "model" else "[unk]"
                score = run(recogniser, test, use, grammar, condition, unknown)
                print(score.line(), dict(score.confusions.most_common(5)), flush=True)
                report["scores"].append({"recogniser": name, **asdict(score)})
        for voice, items in held.items():
            for grammar in ("commands", "numbers"):
                use = chosen(items, GRAMMARS[grammar], o.most // 2)
                score = run(
                    recogniser,
                    voice,
                    use,
                    grammar,
                    "clean",
                    UNKNOWN[grammar] if name == "model" else "[unk]",
                )
                print(score.line(), dict(score.confusions.most_common(5)), flush=True)
                report["scores"].append({"recogniser": name, **asdict(score)})
    if o.curves:
        ours = recognisers["model"]
        assert isinstance(ours, Vosk)
        speech = read_speech(o.prompts, o.testdata)
        for grammar, items in (
            ("ten commands", people),
            ("commands", pooled),
            ("digits", people),
            ("numbers", pooled),
        ):
            phrases = GRAMMARS[grammar]
            own = chosen(items, phrases, o.most)
            known = {word for phrase in phrases for word in phrase.split()}
            foreign = [i for i in items if not known & set(i.said.split())]
            random.Random(1).shuffle(foreign)
            unknowns = ["[unk-2]", "[unk-1]", "[unk]", "[unk+1]", "[unk+2]"]
            rows = rejection_curve(ours, own, foreign[: o.most], grammar, unknowns, [0.0, 0.7, 0.9])
            for row in rows:
                print(row, flush=True)
            report["curves"] += rows
        for grammar, unknown in (
            ("hold", "[unk-1]"),
            ("hold", "[unk]"),
            ("commands", "[unk]"),
            ("numbers", "[unk+1]"),
        ):
            for cut in (0.0, 0.9):
                accepted = false_accepts(ours, speech, grammar, unknown, cut)
                print(accepted, flush=True)
                report["false accepts"].append(accepted)
    if o.numbers:
        ours = recognisers["model"]
        assert isinstance(ours, Vosk)
        heard = number_confusions(ours, pooled)
        print(number_summary(heard), flush=True)
        report["numbers"] = [number_summary(heard), {n: dict(heard[n]) for n in sorted(heard)}]
    if o.out:
        o.out.write_text(json.dumps(report, indent=1), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""How well a model hears: ``python -m training.evaluate MODEL --people words --held held/*``.

Prints one table after another and writes the same as JSON. Nothing of what it is tried on was heard
in training; only ``dev`` people may be used to choose between models. What stands in README.md was
made by the command given there.
"""

import argparse
import json
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import product
from pathlib import Path
from typing import Any

from training.conditions import CONDITIONS
from training.graph import write_graph
from training.lexicon import build_lexicon, read_pronunciations
from training.measures import accepts, number_confusions, number_summary, rejections, score
from training.recognisers import PocketSphinx, Recogniser, Vosk
from training.situations import GRAMMARS
from training.testsets import (
    Item,
    Stream,
    Trial,
    babble,
    book_stream,
    clips_of,
    foreign,
    noise_stream,
    number_prompts,
    prompt_stream,
    read_streams,
    sphinx_trials,
    trial,
)

PARTS = ("scores", "rejection", "accepts", "numbers")
PRICES = ("[unk-2]", "[unk-1]", "[unk]", "[unk+1]", "[unk+2]")
CUTS = (0.0, 0.6, 0.8, 0.9)
SPHINX_CONDITIONS = ("clean", "10 dB")  # it is slow, and two points are enough to compare
MOST_VOICES = 160  # utterances of held-out voices in a row
Rows = list[dict[str, Any]]


def trials(people: Sequence[Item], voices: Sequence[Item]) -> Iterator[Trial]:
    """All single utterances, each with its grammar."""
    yield trial("people", "ten commands", people)
    yield trial("people", "digits", people)
    yield trial("people", "hold", people)
    yield trial("telephone prompts", "numbers", number_prompts())
    yield from sphinx_trials()
    yield trial("held-out voices", "commands", voices, MOST_VOICES)
    yield trial("held-out voices", "numbers", voices, MOST_VOICES)


def scores(
    recogniser: Recogniser, tried: Sequence[Trial], conditions: Sequence[str], unknown: str
) -> Rows:
    rows = []
    for each in tried:
        for condition in conditions if each.items else ():
            found = score(recogniser, each, condition, unknown)
            print(found.line, flush=True)
            rows.append(asdict(found))
    return rows


def rejection(
    recogniser: Recogniser, people: Sequence[Item], voices: Sequence[Item], prices: Sequence[str]
) -> Rows:
    rows = []
    for items, name, grammars in (
        (people, "people", ("hold", "ten commands", "digits")),
        (voices, "held-out voices", ("commands", "numbers")),
    ):
        for grammar in grammars if items else ():
            own = trial(name, grammar, items, MOST_VOICES if items is voices else None)
            others = foreign(items, grammar, MOST_VOICES)
            for point in rejections(recogniser, own, others, prices, CUTS):
                print(point, flush=True)
                rows.append(asdict(point))
    return rows


def unmeant(read: Path | None, noise: Path | None) -> list[list[Stream]]:
    """Speech (or noise) that is meant for nobody."""
    streams = read_streams(read) if read else []
    human = [stream for stream in (prompt_stream(), book_stream()) if stream]
    kinds = [human, [noise_stream(noise)] if noise else [], babble(streams), streams]
    return [kind for kind in kinds if kind]


def false_accepts(recogniser: Recogniser, o: argparse.Namespace) -> Rows:
    """Six and ten words in human prompts, in noise, in babble, in hours of synthesised reading."""
    rows = []
    for speech in unmeant(o.read, o.noise):
        for grammar, price in product(o.grammars, o.prices):
            if grammar != "hold" and speech[0].name == "telephone prompts":
                continue  # nobody wrote down which of those words they say
            for row in accepts(recogniser, speech, grammar, GRAMMARS[grammar], price, CUTS):
                print(row, flush=True)
                rows.append(asdict(row))
    return rows


def numbers(recogniser: Recogniser, items: Sequence[Item], unknown: str) -> dict[str, Any]:
    """The confusion matrix of 0..300, row by row: what was said, and how often what was heard."""
    heard = number_confusions(recogniser, items, GRAMMARS["numbers"], unknown)
    print(number_summary(heard), flush=True)
    wrong = Counter(
        {f"{n} as {m}": k for n, row in heard.items() for m, k in row.items() if n != m}
    )
    print(dict(wrong.most_common()), flush=True)
    matrix = {str(n): {str(m): k for m, k in heard[n].most_common()} for n in sorted(heard)}
    return {"summary": number_summary(heard), "heard": matrix}


def load(model: Path, tried: Sequence[Trial]) -> Vosk:
    """The model; if it is one of ours, in a copy that knows all words of the trials."""
    own = model / "graph" / "lexicon.txt"
    if not own.is_file():
        return Vosk(model)
    known = read_pronunciations(own)
    wanted = {word for each in tried for phrase in each.phrases for word in phrase.split()}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(shutil.copytree(model, Path(folder) / "model"))
        write_graph(known | build_lexicon(sorted(wanted - set(known))), copy / "graph")
        return Vosk(copy)


def evaluate(o: argparse.Namespace) -> dict[str, Any]:
    people = clips_of(o.people, "dev") if o.people else []
    voices = [item for path in o.held for item in clips_of(path)]
    tried = list(trials(people, voices))
    ours = load(o.model, tried)
    report: dict[str, Any] = {"unknown": o.unknown}
    if "scores" in o.parts:
        report["scores"] = scores(ours, tried, o.conditions, o.unknown)
    if o.small_model:
        print("-- small model")
        report["small model"] = scores(Vosk(o.small_model), tried, o.conditions, "[unk]")
    if o.pocketsphinx:
        print("-- pocketsphinx")
        report["pocketsphinx"] = scores(PocketSphinx(), tried, SPHINX_CONDITIONS, "")
    if "rejection" in o.parts:
        report["rejection"] = rejection(ours, people, voices, o.prices)
    if "numbers" in o.parts:
        report["numbers"] = numbers(ours, voices, o.unknown)
    if "accepts" in o.parts:
        report["accepts"] = false_accepts(ours, o)
    return report


def options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="training.evaluate", description=__doc__)
    add = parser.add_argument
    add("model", type=Path)
    add("--people", type=Path, help="human words with a dev split, path without ending")
    add("--held", type=Path, nargs="*", default=[], help="corpora of held-out voices")
    add("--read", type=Path, help="corpus of training.read_aloud")
    add("--noise", type=Path, help="recorded background without speech, .opus")
    add("--parts", nargs="*", default=list(PARTS), choices=PARTS)
    add("--conditions", nargs="*", default=list(CONDITIONS), choices=list(CONDITIONS))
    add("--unknown", default="[unk]", help="the word for foreign words in scores and numbers")
    add("--prices", nargs="*", default=list(PRICES), help="the same for rejection and accepts")
    add("--grammars", nargs="*", default=["hold", "ten commands"], help="for accepts")
    add("--small-model", type=Path, help="the official small English model, beside it")
    add("--pocketsphinx", action="store_true", help="pocketsphinx beside it, clean and at 10 dB")
    add("--out", type=Path, help="write everything as JSON")
    return parser.parse_args(arguments)


def main(arguments: list[str] | None = None) -> int:
    o = options(arguments)
    wanted = [o.model / "am" / "final.mdl"]
    corpora = [o.people, o.read, *o.held]
    wanted += [o.noise] if o.noise else []
    wanted += [path.with_suffix(end) for path in corpora if path for end in (".opus", ".json")]
    for path in wanted:
        if not path.is_file():
            print(f"evaluate: there is no {path}", file=sys.stderr)
            return 2
    report = evaluate(o)
    if o.out:
        o.out.write_text(json.dumps(report, indent=1), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())

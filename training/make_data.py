"""Make one synthesiser's share of the data: ``python -m training.make_data ENGINE --out PATH``."""

import argparse
import itertools
import random
from pathlib import Path

from training import corpus
from training.texts import evaluation_texts, random_texts
from training.voices import ENGINES


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.make_data", description=__doc__)
    parser.add_argument("engine", choices=sorted(ENGINES))
    parser.add_argument("--out", type=Path, required=True, help="path without ending")
    parser.add_argument("--count", type=int, default=1000, help="how many clips")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--held-out", action="store_true", help="evaluation texts by the voices kept for it"
    )
    options = parser.parse_args(arguments)
    options.out.parent.mkdir(parents=True, exist_ok=True)
    rng = random.Random(options.seed)
    texts = evaluation_texts() if options.held_out else random_texts(options.seed)
    said = ENGINES[options.engine](texts, rng, options.held_out)
    clips = corpus.write(options.out, itertools.islice(said, options.count))
    minutes = sum(clip.frames for clip in clips) / corpus.RATE / 60
    print(f"{options.engine}: {len(clips)} clips, {minutes:.1f} min")


if __name__ == "__main__":
    main()

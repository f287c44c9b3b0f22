"""Lattice-free maximum mutual information: what was said against all that could have been said.

An utterance is a walk over phones. A phone is entered once (forward output) and then held
(self-loop output). The numerator sums the walks that spell the utterance's words, with silence
possible between them and speech allowed only where the clip has speech (so the network learns to
answer in time); the denominator sums all walks, under a phone bigram. The gradient of either sum
in the outputs is the posterior of using that output, so both are computed by forward-backward and
nothing is taped.

After Povey et al., "Purely sequence-trained neural networks for ASR based on lattice-free MMI",
Interspeech 2016; full-sum numerator and flat start after Hadian et al., Interspeech 2018.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor

from training.lexicon import Lexicon
from training.phones import GROUPS

SILENCE_GROUP = 0
COUNT_SMOOTHING = 30.0
MOST_NODES = 128  # of one utterance, for the GPU kernel
Array = npt.NDArray[np.float32]


@torch.jit.script
def _sum_over_walks(
    enter: Tensor, hold: Tensor, moves: Tensor, first: Tensor, last: Tensor
) -> tuple[Tensor, Tensor, Tensor]:
    """Total log-likelihood and posteriors of entering and of holding each node at each time.

    ``enter`` and ``hold`` (batch, time, nodes) are likelihoods; ``moves`` (batch, nodes, nodes),
    ``first`` and ``last`` (batch, nodes) probabilities.
    """
    time = enter.shape[1]
    here = first * enter[:, 0]
    total = here.sum(1, keepdim=True) + 1e-30
    here = here / total
    log_sum = total.log()
    heres = [here]
    entered = [here]
    scales = [total]
    for t in range(1, time):
        arrived = torch.bmm(here.unsqueeze(1), moves).squeeze(1) * enter[:, t]
        now = torch.addcmul(arrived, here, hold[:, t])
        total = now.sum(1, keepdim=True) + 1e-30
        here = now / total
        entered.append(arrived / total)
        heres.append(here)
        scales.append(total)
        log_sum = log_sum + total.log()
    end = (here * last).sum(1, keepdim=True) + 1e-30
    log_sum = log_sum + end.log()
    after = last / end
    post_enter = torch.zeros_like(enter)
    post_hold = torch.zeros_like(hold)
    back = moves.transpose(1, 2).contiguous()
    for s in range(time):
        t = time - 1 - s
        post_enter[:, t] = entered[t] * after
        post_hold[:, t] = (heres[t] - entered[t]) * after
        if t > 0:
            weighted = after / scales[t]
            through = torch.bmm((weighted * enter[:, t]).unsqueeze(1), back).squeeze(1)
            after = torch.addcmul(through, weighted, hold[:, t])
    return log_sum.squeeze(1), post_enter, post_hold


@dataclass(frozen=True, slots=True)
class Phones:
    """A phone bigram; index ``len(GROUPS)`` stands for the edge of the utterance."""

    probability: Array

    @classmethod
    def counted(cls, walks: Iterable[Sequence[int]]) -> "Phones":
        """From sample walks (groups, without the edges), smoothed towards single frequencies."""
        size = len(GROUPS) + 1
        counts = np.zeros((size, size))
        for walk in walks:
            for a, b in zip((size - 1, *walk), (*walk, size - 1), strict=True):
                counts[a, b] += 1
        single = counts.sum(0) / counts.sum()
        smooth = counts + COUNT_SMOOTHING * single
        smooth[SILENCE_GROUP, SILENCE_GROUP] = 0
        return cls((smooth / smooth.sum(1, keepdims=True)).astype(np.float32))


@dataclass(frozen=True, slots=True)
class Walk:
    """The graph of one utterance: node groups, arcs (from, to), nodes it may end in."""

    groups: npt.NDArray[np.int64]
    arcs: npt.NDArray[np.int64]
    ends: tuple[int, ...]


def spell(words: Sequence[str], lexicon: Lexicon) -> Walk:
    """Silence, then the words in all their pronunciations, silence possible after each."""
    groups, open_ends = [SILENCE_GROUP], [0]
    arcs: list[tuple[int, int]] = []

    def node(number: int, sources: Sequence[int]) -> int:
        groups.append(number)
        arcs.extend((source, len(groups) - 1) for source in sources)
        return len(groups) - 1

    for word in words:
        ends: list[int] = []
        for said in lexicon[word]:
            at: Sequence[int] = open_ends
            for phone in said:
                at = [node(GROUPS.index(phone), at)]
            ends += at
        open_ends = [*ends, node(SILENCE_GROUP, ends)]
    return Walk(np.array(groups), np.array(arcs), tuple(open_ends))


@dataclass(frozen=True, slots=True)
class Numerator:
    """Walks of a batch, padded to one size: (batch, nodes) and (batch, nodes, nodes)."""

    groups: Tensor
    moves: Tensor
    first: Tensor
    last: Tensor

    def to(self, device: torch.device) -> "Numerator":
        def send(t: Tensor) -> Tensor:
            return t.to(device, non_blocking=True)

        return Numerator(send(self.groups), send(self.moves), send(self.first), send(self.last))


def stack(walks: Sequence[Walk], phones: Phones) -> Numerator:
    """The numerator of a batch, weighted like the denominator."""
    edge, p = len(GROUPS), phones.probability
    size = 8 * -(-max(len(w.groups) for w in walks) // 8)
    groups = np.zeros((len(walks), size), np.int64)
    moves = np.zeros((len(walks), size, size), np.float32)
    first, last = np.zeros((2, len(walks), size), np.float32)
    for b, walk in enumerate(walks):
        groups[b, : len(walk.groups)] = walk.groups
        source, target = walk.arcs[:, 0], walk.arcs[:, 1]
        moves[b, source, target] = p[walk.groups[source], walk.groups[target]]
        first[b, 0] = p[edge, SILENCE_GROUP]
        ends = list(walk.ends)
        last[b, ends] = p[walk.groups[ends], edge]
    return Numerator(*(torch.from_numpy(x) for x in (groups, moves, first, last)))


class _Score(torch.autograd.Function):
    """Log of a sum over walks as a function of the outputs, with posteriors as its gradient."""

    @staticmethod
    def forward(
        ctx: torch.autograd.function.FunctionCtx,
        outputs: Tensor,
        groups: Tensor,
        moves: Tensor,
        first: Tensor,
        last: Tensor,
        speech_time: Tensor | None,
    ) -> Tensor:
        batch, time, _ = outputs.shape
        index = (2 * groups)[:, None].expand(batch, time, -1)
        enter, hold = outputs.gather(2, index), outputs.gather(2, index + 1)
        peak = torch.maximum(enter.amax(2), hold.amax(2))
        enter = (enter - peak[..., None]).exp()
        hold = (hold - peak[..., None]).exp()
        if speech_time is not None:
            allowed = speech_time[:, :, None] | (groups == SILENCE_GROUP)[:, None]
            enter, hold = enter * allowed, hold * allowed
        if outputs.is_cuda and groups.shape[1] <= MOST_NODES:
            from training.walk_kernel import sum_over_walks

            sums = sum_over_walks(enter, hold, moves, first, last)
        else:
            wide = moves.expand(batch, -1, -1), first.expand(batch, -1), last.expand(batch, -1)
            sums = _sum_over_walks(enter, hold, *wide)
        log_sum, post_enter, post_hold = sums
        gradient = torch.zeros_like(outputs)
        gradient.scatter_add_(2, index, post_enter)
        gradient.scatter_add_(2, index + 1, post_hold)
        # words that do not fit into their time have no walk at all, and then no gradient
        gradient = torch.nan_to_num(gradient, 0.0, 0.0, 0.0)
        ctx.save_for_backward(gradient)
        ctx.mark_non_differentiable(gradient)
        return log_sum + peak.sum(1)

    @staticmethod
    def backward(ctx, weight: Tensor):  # type: ignore[no-untyped-def]
        (gradient,) = ctx.saved_tensors
        return gradient * weight[:, None, None], None, None, None, None, None


def numerator_score(outputs: Tensor, walks: Numerator, speech_time: Tensor | None) -> Tensor:
    """(batch,) log-likelihood of what was said; ``speech_time`` (batch, time) is where it was."""
    score: Tensor = _Score.apply(
        outputs, walks.groups, walks.moves, walks.first, walks.last, speech_time
    )
    return score


class Denominator:
    """All that could have been said."""

    def __init__(self, phones: Phones, device: torch.device) -> None:
        p = torch.from_numpy(phones.probability).to(device)
        edge = len(GROUPS)
        self.groups = torch.arange(edge, device=device)[None]
        self.moves, self.first, self.last = (
            p[None, :edge, :edge],
            p[None, edge, :edge],
            p[None, :edge, edge],
        )

    def score(self, outputs: Tensor) -> Tensor:
        """(batch,) log-likelihood summed over all walks."""
        groups = self.groups.expand(len(outputs), -1)
        score: Tensor = _Score.apply(
            outputs, groups, self.moves.contiguous(), self.first, self.last, None
        )
        return score

"""Forward-backward of one utterance per GPU program, so that a step is not a thousand launches.

The same sums as ``lfmmi._sum_over_walks``; all of an utterance's nodes are held at once, so there
may be at most ``lfmmi.MOST_NODES`` of them.
"""

import torch
import triton
import triton.language as tl
from torch import Tensor


@triton.jit  # type: ignore[untyped-decorator]
def _walk(  # type: ignore[no-untyped-def]
    enter, hold, moves, first, last, here_out, scale_out, post_enter, post_hold, log_sum,
    time, nodes, moves_stride, edge_stride, size: tl.constexpr,
):  # fmt: skip
    b = tl.program_id(0).to(tl.int64)
    n = tl.arange(0, size)
    inside = n < nodes
    square = n[:, None] * nodes + n[None, :]
    both = inside[:, None] & inside[None, :]
    step = tl.load(moves + b * moves_stride + square, mask=both, other=0.0)
    at = b * time * nodes
    here = tl.load(first + b * edge_stride + n, mask=inside, other=0.0)
    here = here * tl.load(enter + at + n, mask=inside, other=0.0)
    total = tl.sum(here, 0) + 1e-30
    here = here / total
    log = tl.log(total)
    tl.store(here_out + at + n, here, mask=inside)
    tl.store(post_enter + at + n, here, mask=inside)
    tl.store(scale_out + b * time, total)
    for t in range(1, time):
        row = at + t * nodes + n
        arrived = tl.sum(here[:, None] * step, 0) * tl.load(enter + row, mask=inside, other=0.0)
        now = arrived + here * tl.load(hold + row, mask=inside, other=0.0)
        total = tl.sum(now, 0) + 1e-30
        here = now / total
        log += tl.log(total)
        tl.store(here_out + row, here, mask=inside)
        tl.store(post_enter + row, arrived / total, mask=inside)
        tl.store(scale_out + b * time + t, total)
    final = tl.load(last + b * edge_stride + n, mask=inside, other=0.0)
    end = tl.sum(here * final, 0) + 1e-30
    tl.store(log_sum + b, log + tl.log(end))
    after = final / end
    tl.debug_barrier()
    for s in range(0, time):
        t = time - 1 - s
        row = at + t * nodes + n
        entered = tl.load(post_enter + row, mask=inside, other=0.0)
        here = tl.load(here_out + row, mask=inside, other=0.0)
        tl.store(post_enter + row, entered * after, mask=inside)
        tl.store(post_hold + row, (here - entered) * after, mask=inside)
        weighted = after / tl.load(scale_out + b * time + t)
        arriving = weighted * tl.load(enter + row, mask=inside, other=0.0)
        held = weighted * tl.load(hold + row, mask=inside, other=0.0)
        after = tl.sum(step * arriving[None, :], 1) + held


def sum_over_walks(
    enter: Tensor, hold: Tensor, moves: Tensor, first: Tensor, last: Tensor
) -> tuple[Tensor, Tensor, Tensor]:
    """As ``lfmmi._sum_over_walks``; ``moves``, ``first`` and ``last`` may be shared (batch 1)."""
    batch, time, nodes = enter.shape
    enter, hold, moves = enter.contiguous(), hold.contiguous(), moves.contiguous()
    first, last = first.contiguous(), last.contiguous()
    here, post_enter, post_hold = (torch.empty_like(enter) for _ in range(3))
    scale = enter.new_empty(batch, time)
    log_sum = enter.new_empty(batch)
    own = len(moves) > 1
    size = max(16, triton.next_power_of_2(nodes))
    _walk[(batch,)](
        enter, hold, moves, first, last, here, scale, post_enter, post_hold, log_sum,
        time, nodes, nodes * nodes if own else 0, nodes if own else 0,
        size=size, num_warps=8 if size > 64 else 4,
    )  # fmt: skip
    return log_sum, post_enter, post_hold

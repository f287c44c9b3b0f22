"""Train the network: ``python -m training.train --start ko.pt --data human:0.4 ... --out a.pt``.

Learning is measured in seconds of one GPU, so that a budget can be kept; a run may go on from the
weights of another. The trunk, which has heard many people in another language, moves slowly.
"""

import argparse
import copy
import math
import random
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
import torch.nn.functional as functional
from torch import Tensor, nn

from training import corpus
from training.augment import microphone, other_throat
from training.batches import Batch, Batches, Pool, load_pool
from training.features import Mfcc
from training.lfmmi import Denominator, Numerator, numerator_score, spell, stack
from training.network import SUBSAMPLING, Network

Sound16 = npt.NDArray[np.int16]
HEADS = ("chain", "xent", "prel")
OUTPUT_CLAMP = 30.0


@dataclass(frozen=True, slots=True)
class Plan:
    """How to learn. ``hold`` is the share of the time at full rate before the cosine begins."""

    seconds: float
    batch: int = 192
    rate: float = 1e-3
    trunk_factor: float = 0.05
    hold: float = 0.3
    warm_up_steps: int = 200
    cross_entropy: float = 0.1
    weight_decay: float = 2e-3
    output_penalty: float = 5e-5
    flat_start_steps: int = 300

    def factor(self, step: int, done: float) -> float:
        warm = min(1.0, step / self.warm_up_steps)
        if done < self.hold:
            return warm
        return warm * (0.5 * (1 + math.cos(math.pi * (done - self.hold) / (1 - self.hold))) + 0.01)


@dataclass(frozen=True, slots=True)
class Target:
    """What the numerator wants of a batch.

    ``said`` (batch,) is the log-likelihood of the words; ``usable`` (batch, 1, 1) is 0 where the
    words do not fit into their time, which teaches nothing; ``gradient`` (batch, frames, outputs)
    are the posteriors at their ``weight`` (batch, 1, 1) in the mean over the batch.
    """

    said: Tensor
    usable: Tensor
    weight: Tensor
    gradient: Tensor


def cut_or_held(features: Tensor, frames: int) -> Tensor:
    """``features`` (batch, any, 40) at this many frames; the last is repeated where it lacks."""
    if features.shape[1] >= frames:
        return features[:, :frames]
    longer = functional.pad(
        features.transpose(1, 2), (0, frames - features.shape[1]), mode="replicate"
    )
    return longer.transpose(1, 2)


class Learner:
    """A network, its optimiser and a running mean of its weights, which is the result."""

    def __init__(
        self, network: Network, pool: Pool, recorded: Sound16, plan: Plan, device: torch.device
    ) -> None:
        self.network, self.plan, self.device = network.to(device), plan, device
        self.features = Mfcc().to(device)
        self.denominator = Denominator(pool.phones, device)
        self.joined = torch.from_numpy(pool.sound).to(device)
        self.recorded = torch.from_numpy(recorded).to(device)
        trunk: list[nn.Parameter] = []
        heads: list[nn.Parameter] = []
        for name, parameter in network.named_parameters():
            (heads if name.startswith(HEADS) else trunk).append(parameter)
        rates = (plan.rate * plan.trunk_factor, plan.rate)
        self.optimiser = torch.optim.AdamW(
            [{"params": p, "lr": r} for p, r in zip((trunk, heads), rates, strict=True)],
            weight_decay=plan.weight_decay,
            betas=(0.9, 0.98),
        )
        self.full_rates = rates
        self.mean = {name: value.clone() for name, value in network.state_dict().items()}
        self.step = 0

    def heard(self, batch: Batch) -> Tensor:
        """Features (batch, frames, 40) of the batch as a microphone hears it."""
        sound = microphone(self.joined, self.recorded, batch.segments, batch.samples)
        human = batch.segments.human
        bend = torch.where(
            human,
            0.93 + 0.14 * torch.rand_like(human.float()),
            0.86 + 0.3 * torch.rand_like(human.float()),
        )
        power = other_throat(self.features.power(sound), bend)
        features: Tensor = self.features.from_power(power)
        return features

    def learn(self, batch: Batch, flat: bool, done: float) -> tuple[Tensor, Tensor]:
        """One step; returns the two losses per output frame.

        In a ``flat`` start each frame's outputs are made to sum to one, and no denominator is
        needed; ``done`` is the share of the time that is spent.
        """
        frames = batch.speech_time.shape[1]
        with torch.no_grad():
            features = cut_or_held(self.heard(batch), SUBSAMPLING * frames)
        self._set_rates(done)
        outputs, hints = self.network(self.network.padded(features))
        outputs = outputs[:, :frames].clamp(-OUTPUT_CLAMP, OUTPUT_CLAMP)
        scored = functional.log_softmax(outputs, 2) if flat else outputs
        target = self._target(scored, batch)
        surrogate, objective = -(scored * target.gradient).sum(), target.said
        if not flat:
            could = self.denominator.score(outputs)
            surrogate = surrogate + (could * target.weight[:, 0, 0]).sum()
            objective = objective - could.detach()
        crossed = -(target.gradient * functional.log_softmax(hints[:, :frames], 2)).sum()
        penalty = self.plan.output_penalty * outputs.square().sum(2).mean()
        self._move(surrogate + self.plan.cross_entropy * crossed + penalty)
        return (objective * target.usable[:, 0, 0]).mean() / frames, crossed.detach()

    def _set_rates(self, done: float) -> None:
        for group, full in zip(self.optimiser.param_groups, self.full_rates, strict=True):
            group["lr"] = full * self.plan.factor(self.step, done)

    def _target(self, scored: Tensor, batch: Batch) -> Target:
        frames = scored.shape[1]
        aligned = scored.detach().requires_grad_()
        said = numerator_score(aligned, batch.numerator, batch.speech_time)
        (posterior,) = torch.autograd.grad(said.sum(), aligned)
        usable = (posterior.sum((1, 2)) > 0.9 * frames).float()[:, None, None]
        weight = usable / frames / len(scored)
        return Target(said.detach(), usable, weight, posterior * weight)

    def _move(self, loss: Tensor) -> None:
        """Change the weights down the slope of ``loss``, and their mean after them."""
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[no-untyped-call]
        norm = nn.utils.clip_grad_norm_(self.network.parameters(), 2.0)
        if torch.isfinite(norm):
            self.optimiser.step()
        self.step += 1
        with torch.no_grad():
            state = self.network.state_dict()
            share = 1 / (1 + min(self.step / 4, 499))
            torch._foreach_lerp_(
                list(self.mean.values()), [state[name] for name in self.mean], share
            )

    def save(self, path: Path) -> None:
        torch.save({name: value.half().cpu() for name, value in self.mean.items()}, path)


class Check:
    """Held-back recordings of single words: how often is the right one the likeliest of all?"""

    def __init__(self, path: Path, pool: Pool, device: torch.device) -> None:
        sound, clips = corpus.read(path)
        clips = [c for c in clips if c.split == "dev" and c.frames <= 1.2 * corpus.RATE]
        self.device = device
        self.words = sorted({c.words[0] for c in clips})
        self.truth = torch.tensor([self.words.index(c.words[0]) for c in clips], device=device)
        rng = np.random.default_rng(0)
        room = rng.normal(0, 2, (len(clips), 2 * corpus.RATE + 240)).astype(np.float32)
        for row, clip in zip(room, clips, strict=True):
            row[6400 : 6400 + clip.frames] += sound[clip.start : clip.start + clip.frames]
        self.sound = torch.from_numpy(room)
        self.walks = stack([spell([word], pool.lexicon) for word in self.words], pool.phones)
        self.features = Mfcc().to(device)

    @torch.no_grad()
    def accuracy(self, network: Network) -> float:
        network.eval()
        right = 0
        for first in range(0, len(self.sound), 64):
            sound = self.sound[first : first + 64].to(self.device)
            features = self.features(sound)
            features = features[:, : 3 * (features.shape[1] // 3)]
            frames = features.shape[1] // 3
            outputs = network(network.padded(features))[0][:, :frames].clamp(
                -OUTPUT_CLAMP, OUTPUT_CLAMP
            )
            many = outputs.repeat_interleave(len(self.words), 0)
            w = self.walks.to(self.device)
            walks = Numerator(
                *(
                    t.repeat(len(outputs), *[1] * (t.dim() - 1))
                    for t in (w.groups, w.moves, w.first, w.last)
                )
            )
            best = numerator_score(many, walks, None).view(len(outputs), -1).argmax(1)
            right += int((best == self.truth[first : first + 64]).sum())
        network.train()
        return right / len(self.sound)


def said_so_far(learner: Learner, spent_s: float, losses: list[tuple[Tensor, Tensor]]) -> None:
    """Print the mean of the losses since the last time."""
    objective, crossed = (float(torch.stack(x).mean()) for x in zip(*losses, strict=True))
    step = f"step {learner.step} {spent_s:.0f} s"
    print(f"{step} objective {objective:.4f} hints {crossed:.3f}", flush=True)
    losses.clear()


def accuracy_of_mean(judge: Check, learner: Learner) -> float:
    mean = copy.deepcopy(learner.network)  # a new one would draw from the dice
    mean.load_state_dict(learner.mean)
    return judge.accuracy(mean)


def train(learner: Learner, batches: Iterable[Batch], judge: Check | None, out: Path) -> None:
    """Learn for ``plan.seconds``; prints the losses as it goes and saves at the end."""
    plan = learner.plan
    learner.network.train()
    began, next_check = time.time(), 60.0
    losses: list[tuple[Tensor, Tensor]] = []
    for batch in batches:
        spent = time.time() - began
        if spent >= plan.seconds:
            break
        flat = learner.step < plan.flat_start_steps
        losses.append(learner.learn(batch.to(learner.device), flat, spent / plan.seconds))
        if learner.step % 200 == 0 or learner.step == 5:
            said_so_far(learner, spent, losses)
        if judge and spent > next_check:
            next_check += 60
            print(f"  dev words right {accuracy_of_mean(judge, learner):.4f}", flush=True)
            learner.save(out)
    learner.save(out)
    if judge:
        right = accuracy_of_mean(judge, learner)
        print(f"end: step {learner.step}, dev words right {right:.4f}", flush=True)


def prepared(
    network: Network, pool: Pool, recorded: Sound16, plan: Plan, seed: int, workers: int
) -> tuple[Learner, Iterable[Batch]]:
    """A learner on the best device there is, and batches without end for it."""
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    loader = torch.utils.data.DataLoader(
        Batches(pool, plan.batch, seed),
        batch_size=None,
        num_workers=workers,
        prefetch_factor=8 if workers else None,
    )
    return Learner(network, pool, recorded, plan, device), loader


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="training.train", description=__doc__)
    parser.add_argument("--start", type=Path, required=True, help="weights to begin with (.pt)")
    parser.add_argument("--data", action="append", required=True, metavar="PATH:WEIGHT")
    parser.add_argument("--noise", type=Path, required=True, help="recorded background, .opus")
    parser.add_argument("--check", type=Path, help="corpus whose dev split is tried every minute")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--lag", type=int, default=0, help="look this many frames less ahead")
    parser.add_argument("--workers", type=int, default=3)
    for name in ("seconds", "rate", "trunk_factor", "hold"):
        default = None if name == "seconds" else getattr(Plan(0), name)
        parser.add_argument(
            f"--{name.replace('_', '-')}", type=float, default=default, required=default is None
        )
    for name in ("batch", "flat_start_steps"):
        parser.add_argument(f"--{name.replace('_', '-')}", type=int, default=getattr(Plan(0), name))
    o = parser.parse_args(arguments)
    torch.manual_seed(o.seed)
    random.seed(o.seed)
    weighted = [
        (Path(path), float(weight)) for path, _, weight in (d.rpartition(":") for d in o.data)
    ]
    pool = load_pool(weighted)
    hours = len(pool.sound) / corpus.RATE / 3600
    print(f"{sum(len(s.clips) for s in pool.sources)} clips, {hours:.2f} h", flush=True)
    import soundfile

    recorded, _ = soundfile.read(o.noise, dtype="int16")
    network = Network(o.lag)
    network.load_state_dict(
        {k: v.float() for k, v in torch.load(o.start, weights_only=True).items()}
    )
    plan = Plan(
        o.seconds, o.batch, o.rate, o.trunk_factor, o.hold, flat_start_steps=o.flat_start_steps
    )
    learner, batches = prepared(network, pool, recorded, plan, o.seed, o.workers)
    judge = Check(o.check, pool, learner.device) if o.check else None
    train(learner, batches, judge, o.out)


if __name__ == "__main__":
    main()

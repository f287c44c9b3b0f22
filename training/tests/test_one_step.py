"""One step of learning on a tiny pool: the same losses and weights as ever."""

import random
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from training.batches import Batches, Pool, Source  # noqa: E402
from training.corpus import RATE, Clip  # noqa: E402
from training.lexicon import build_lexicon  # noqa: E402
from training.network import Network  # noqa: E402
from training.train import Learner, Plan, prepared, train  # noqa: E402

WORDS = ("two", "oh", "stop", "up")


@pytest.fixture(scope="module")
def pool() -> Pool:
    """Four "words" of filtered noise, half a second each."""
    rng = np.random.default_rng(0)
    length = RATE // 2
    sound = (rng.normal(size=4 * length) * 3000).astype(np.int16)
    clips = [(Clip(k * length, length, (w,), "nobody"), 800, 7200) for k, w in enumerate(WORDS)]
    return Pool(sound, [Source(clips, 1.0, human=True)], build_lexicon(WORDS))


@pytest.mark.parametrize(
    ("flat", "objective", "crossed", "slope"),
    [(True, -4.3837266, 4.6171184, 1701.16), (False, -0.5609455, 4.6171184, 1620.55)],
)
def test_a_step_gives_what_it_always_gave(
    pool: Pool, flat: bool, objective: float, crossed: float, slope: float
) -> None:
    torch.manual_seed(0)
    random.seed(0)
    torch.set_num_threads(1)
    noise = np.random.default_rng(1).integers(-500, 500, 4 * RATE).astype(np.int16)
    learner = Learner(Network(12), pool, noise, Plan(60, batch=2), torch.device("cpu"))
    learner.step = 100  # half-way through the warm-up
    batch = next(iter(Batches(pool, 2, seed=3)))
    losses = learner.learn(batch, flat, 0.1)
    gradients = [p.grad for p in learner.network.parameters() if p.grad is not None]
    assert [float(loss) for loss in losses] == pytest.approx([objective, crossed], rel=1e-4)
    assert sum(float(g.abs().sum()) for g in gradients) == pytest.approx(slope, rel=1e-3)
    assert learner.step == 101


def test_what_was_learned_is_saved_and_can_be_gone_on_from(pool: Pool, tmp_path: Path) -> None:
    noise = np.zeros(10 * RATE, np.int16)
    learner, batches = prepared(Network(12), pool, noise, Plan(60, batch=2), seed=3, workers=0)
    train(learner, [next(iter(batches))] * 2, None, tmp_path / "out.pt")
    saved = torch.load(tmp_path / "out.pt", weights_only=True)
    again = Network(12)
    again.load_state_dict({name: value.float() for name, value in saved.items()})
    assert learner.step == 2
    for name, value in again.state_dict().items():
        torch.testing.assert_close(value, learner.mean[name].cpu(), atol=1e-2, rtol=1e-3)

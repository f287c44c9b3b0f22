"""Features and training sums against independent computations."""

import itertools

import numpy as np
import numpy.typing as npt
import pytest

torch = pytest.importorskip("torch")

from training.features import Mfcc  # noqa: E402
from training.lexicon import Lexicon, build_lexicon  # noqa: E402
from training.lfmmi import Denominator, Phones, Walk, numerator_score, spell, stack  # noqa: E402
from training.phones import GROUPS  # noqa: E402


def test_features_are_those_of_kaldi() -> None:
    """Against kaldi-native-fbank, which takes Kaldi's own feature code."""
    knf = pytest.importorskip("kaldi_native_fbank")
    sound = np.random.default_rng(0).normal(size=16000) * 1000
    options = knf.MfccOptions()
    options.frame_opts.dither = 0
    options.frame_opts.samp_freq = 16000
    options.mel_opts.num_bins = options.num_ceps = 40
    options.mel_opts.low_freq, options.mel_opts.high_freq = 20, 7600
    options.use_energy = False
    computer = knf.OnlineMfcc(options)
    computer.accept_waveform(16000, sound.tolist())
    computer.input_finished()
    expected = np.stack([computer.get_frame(i) for i in range(computer.num_frames_ready)])
    ours = Mfcc()(torch.tensor(sound, dtype=torch.float32)[None])[0].numpy()
    assert ours.shape == expected.shape
    assert np.abs(ours - expected).max() < 2e-3


@pytest.fixture(scope="module")
def phones() -> Phones:
    rng = np.random.default_rng(0)
    return Phones.counted([[0, *rng.integers(2, 41, 8).tolist(), 0] for _ in range(400)])


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return build_lexicon(["two", "oh", "and", "stop"])


def by_hand(
    outputs: npt.NDArray[np.float32], walk: Walk, phones: Phones, allowed: list[int]
) -> float:
    """The numerator by listing every walk."""
    edge, p = len(GROUPS), phones.probability
    moves = {tuple(a): p[walk.groups[a[0]], walk.groups[a[1]]] for a in walk.arcs}
    total = 0.0
    for path in itertools.product(range(len(walk.groups)), repeat=len(outputs)):
        if path[0] != 0 or path[-1] not in walk.ends:
            continue
        likelihood = p[edge, 0]
        for t, node in enumerate(path):
            group = walk.groups[node]
            entered = t == 0 or path[t - 1] != node
            if t and entered:
                likelihood *= moves.get((path[t - 1], node), 0.0)
            if group != 0 and not allowed[t]:
                likelihood = 0.0
            if not likelihood:
                break
            likelihood *= np.exp(outputs[t, 2 * group + (not entered)])
        total += likelihood * p[walk.groups[path[-1]], edge]
    return float(np.log(total))


@pytest.mark.parametrize("allowed", [[1, 1, 1, 1, 1], [0, 1, 1, 1, 0]])
def test_the_numerator_sums_all_walks(phones: Phones, lexicon: Lexicon, allowed: list[int]) -> None:
    torch.manual_seed(1)
    walk = spell(["two"], lexicon)
    outputs = torch.randn(1, 5, 2 * len(GROUPS))
    when = torch.tensor([allowed], dtype=torch.bool)
    score = float(numerator_score(outputs, stack([walk], phones), when))
    assert score == pytest.approx(by_hand(outputs[0].numpy(), walk, phones, allowed), abs=1e-4)


def test_gradients_are_slopes(phones: Phones, lexicon: Lexicon) -> None:
    torch.manual_seed(2)
    outputs = torch.randn(2, 20, 2 * len(GROUPS), requires_grad=True)
    walks = stack([spell(["two", "oh"], lexicon), spell(["stop"], lexicon)], phones)
    denominator = Denominator(phones, torch.device("cpu"))
    for score in (
        lambda y: numerator_score(y, walks, None).sum(),
        lambda y: denominator.score(y).sum(),
    ):
        (gradient,) = torch.autograd.grad(score(outputs), outputs)  # type: ignore[no-untyped-call]
        assert gradient.sum(2).detach() == pytest.approx(torch.ones(2, 20), abs=1e-3)
        for place in [(0, 0, 0), (0, 8, 2 * GROUPS.index("T")), (1, 9, 2 * GROUPS.index("AA") + 1)]:
            up, down = outputs.detach().clone(), outputs.detach().clone()
            up[place] += 0.05
            down[place] -= 0.05
            slope = float(score(up) - score(down)) / 0.1  # type: ignore[no-untyped-call]
            assert slope == pytest.approx(float(gradient[place]), abs=5e-3)


def test_words_too_long_for_their_time_teach_nothing(phones: Phones, lexicon: Lexicon) -> None:
    outputs = torch.zeros(1, 3, 2 * len(GROUPS), requires_grad=True)
    walks = stack([spell(["stop"], lexicon)], phones)
    (gradient,) = torch.autograd.grad(numerator_score(outputs, walks, None).sum(), outputs)
    assert torch.isfinite(gradient).all()


def test_the_network_looks_as_far_ahead_as_it_says() -> None:
    from training.network import Network

    torch.manual_seed(0)
    network = Network(lag_frames=12).eval().double()
    features = torch.randn(1, 90, 40, dtype=torch.float64)
    before = network(network.padded(features))[0]
    changed = features.clone()
    changed[:, 60:] += 1.0
    differs = (network(network.padded(changed))[0] != before).any(2)[0]
    first_that_sees_frame_60 = -(-(60 - network.look_ahead_frames) // 3)
    assert int(differs.nonzero()[0]) == first_that_sees_frame_60

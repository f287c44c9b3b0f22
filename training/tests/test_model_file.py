"""final.mdl: what is written is read back, and the shipped file comes out bit by bit."""

import struct
from pathlib import Path

import numpy as np
import pytest

from training.kaldi_io import (
    KaldiFormatError,
    Reader,
    Weights,
    integer,
    integers,
    matrix,
    single,
    vector,
)

MODEL = Path(__file__).parents[2] / "coach" / "ear" / "model"


def test_numbers_vectors_and_matrices_come_back() -> None:
    raw = integer(-7) + single(0.5) + integers([1, -2, 3]) + vector([1.5, -2.5])
    reader = Reader(raw)
    assert reader.integer() == -7
    assert reader.number() == 0.5
    assert reader.integers() == [1, -2, 3]
    assert reader.array().tolist() == [1.5, -2.5]
    assert reader.at == len(raw)


def test_a_full_matrix_is_exact() -> None:
    values = np.random.default_rng(0).normal(size=(7, 5)).astype(np.float32)
    assert (Reader(matrix(values, "f32")).array() == values).all()


@pytest.mark.parametrize(("kind", "steps"), [("i16", 65535), ("i8", 255)])
def test_a_compressed_matrix_is_within_half_a_step_and_stays_so(kind: Weights, steps: int) -> None:
    values = np.random.default_rng(0).normal(size=(40, 30)).astype(np.float32)
    raw = matrix(values, kind)
    once = Reader(raw).array()
    assert np.abs(once - values).max() <= 0.51 * (values.max() - values.min()) / steps
    assert np.abs(Reader(matrix(once, kind)).array() - once).max() <= 1e-6


def test_the_layout_of_a_compressed_matrix_is_kaldis() -> None:
    raw = matrix([[0.0, 1.0], [0.5, 0.25]], "i16")
    assert raw[:4] == b"CM2 "
    assert struct.unpack_from("<ffii", raw, 4) == (0.0, 1.0, 2, 2)
    assert np.frombuffer(raw, "<u2", offset=20).tolist() == [0, 65535, 32768, 16384]


def test_what_is_no_array_is_refused() -> None:
    with pytest.raises(KaldiFormatError, match="no vector or matrix"):
        Reader(b"XY 123 ").array()


def test_the_shipped_model_read_and_written_again_is_the_same_file() -> None:
    pytest.importorskip("torch")
    from training.nnet3 import read_components, to_state, write

    raw = (MODEL / "am" / "final.mdl").read_bytes()
    lag = (struct.unpack_from("<i", raw, raw.index(b"<LeftContext> ") + 15)[0]) - 34
    assert write(to_state(read_components(raw)), lag) == raw


def test_random_weights_survive_the_file_in_full_precision() -> None:
    torch = pytest.importorskip("torch")
    from training.network import Network
    from training.nnet3 import read_components, to_state, write

    torch.manual_seed(0)
    state = {name: value.numpy() for name, value in Network().state_dict().items()}
    back = to_state(read_components(write(state, 6, "f32")))
    assert set(back) == {name for name in state if not name.startswith("xent")}
    for name, value in back.items():
        assert (value == state[name]).all(), name


def test_the_model_is_small() -> None:
    files = [path for path in MODEL.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) <= 10_000_000

"""A whole ``final.mdl``: the transition model and an nnet3 network, written and read.

The field names are those of Kaldi's ``transition-model.cc``, ``hmm-topology.cc`` and
``nnet-*-component.cc``; only what the decoder reads carries meaning, the training fields
(learning rates, ranks) get harmless values.
"""

import math
import re
from collections.abc import Mapping, Sequence

import numpy as np

from training.kaldi_io import (
    Array,
    KaldiFormatError,
    Reader,
    Weights,
    double,
    integer,
    integers,
    matrix,
    single,
    vector,
)
from training.network import BOTTLENECK, CEPSTRA, CONTEXT, STRIDES, WIDTH
from training.phones import PHONE_ID, PHONES, TRANSITIONS, group

_NUMBERS = [
    "MaxChange",
    "L2Regularize",
    "LearningRate",
    "LearningRateFactor",
    "Epsilon",
    "TargetRms",
    "Count",
    "OderivCount",
    "NumDimsSelfRepaired",
    "NumDimsProcessed",
    "SelfRepairScale",
    "NumSamplesHistory",
    "Alpha",
    "OrthonormalConstraint",
    "DropoutProportion",
    "BackpropScale",
]
_ARRAYS = [
    "LinearParams",
    "BiasParams",
    "Params",
    "ValueAvg",
    "DerivAvg",
    "OderivRms",
    "StatsMean",
    "StatsVar",
]
_INTEGERS = ["RankIn", "RankOut", "UpdatePeriod", "Dim", "BlockDim", "TimePeriod"]
Component = dict[str, Array | list[int]]
State = Mapping[str, Array]


def _transition_model() -> bytes:
    phones = list(PHONE_ID.values())
    two_states = integer(0) + integer(1) + integer(2)  # forward class 0, self-loop class 1, 2 arcs
    two_states += integer(0) + single(0.5) + integer(1) + single(0.5)
    no_output = integer(-1) + integer(-1) + integer(0)
    topology = integers(phones) + integers([-1] + [0] * len(phones))
    topology += integer(-1) + integer(1) + integer(2) + two_states + no_output
    tuples = b"".join(
        integer(PHONE_ID[p]) + integer(0) + integer(2 * group(p)) + integer(2 * group(p) + 1)
        for p in PHONES
    )
    log_half = vector([0.0] + [math.log(0.5)] * TRANSITIONS)
    return (
        b"<TransitionModel> <Topology> " + topology + b"</Topology> <Tuples> "
        + integer(len(PHONES)) + tuples + b"</Tuples> <LogProbs> " + log_half
        + b"</LogProbs> </TransitionModel> "
    )  # fmt: skip


_LEARNING = b"<LearningRate> " + single(1e-4)


def _affine(weight: Array, bias: Array, weights: Weights) -> bytes:
    return (
        b"<NaturalGradientAffineComponent> " + _LEARNING
        + b"<LinearParams> " + matrix(weight, weights) + b"<BiasParams> " + vector(bias)
        + b"<RankIn> " + integer(20) + b"<RankOut> " + integer(80)
        + b"<UpdatePeriod> " + integer(4) + b"<NumSamplesHistory> " + single(2000)
        + b"<Alpha> " + single(4) + b"</NaturalGradientAffineComponent> "
    )  # fmt: skip


def _fixed_affine(weight: Array, bias: Array) -> bytes:
    return (
        b"<FixedAffineComponent> <LinearParams> " + matrix(weight, "f32")
        + b"<BiasParams> " + vector(bias) + b"</FixedAffineComponent> "
    )  # fmt: skip


def _linear(weight: Array, weights: Weights) -> bytes:
    return (
        b"<LinearComponent> " + _LEARNING + b"<Params> " + matrix(weight, weights)
        + b"<OrthonormalConstraint> " + single(0) + b"<UseNaturalGradient> T"
        + b"<RankInOut> " + integer(20) + integer(32) + b"<Alpha> " + single(4)
        + b"<NumSamplesHistory> " + single(2000) + b"<UpdatePeriod> " + integer(4)
        + b"</LinearComponent> "
    )  # fmt: skip


def _tdnn(
    weight: Array, bias: Sequence[float] | Array, moments: list[int], weights: Weights
) -> bytes:
    return (
        b"<TdnnComponent> " + _LEARNING + b"<TimeOffsets> " + integers(moments)
        + b"<LinearParams> " + matrix(weight, weights) + b"<BiasParams> " + vector(bias)
        + b"<OrthonormalConstraint> " + single(0) + b"<UseNaturalGradient> T"
        + b"<NumSamplesHistory> " + single(2000) + b"<AlphaInOut> " + single(4) + single(4)
        + b"<RankInOut> " + integer(20) + integer(32) + b"</TdnnComponent> "
    )  # fmt: skip


def _relu(width: int) -> bytes:
    return (
        b"<RectifiedLinearComponent> <Dim> " + integer(width)
        + b"<ValueAvg> " + vector([]) + b"<DerivAvg> " + vector([]) + b"<Count> " + double(0)
        + b"<OderivRms> " + vector([]) + b"<OderivCount> " + double(0)
        + b"<NumDimsSelfRepaired> " + double(0) + b"<NumDimsProcessed> " + double(0)
        + b"</RectifiedLinearComponent> "
    )  # fmt: skip


def _batch_norm(mean: Array, variance: Array) -> bytes:
    return (
        b"<BatchNormComponent> <Dim> " + integer(len(mean)) + b"<BlockDim> " + integer(len(mean))
        + b"<Epsilon> " + single(1e-3) + b"<TargetRms> " + single(1) + b"<TestMode> F"
        + b"<Count> " + double(1e5) + b"<StatsMean> " + vector(mean)
        + b"<StatsVar> " + vector(variance) + b"</BatchNormComponent> "
    )  # fmt: skip


def _noop(width: int) -> bytes:
    return (
        b"<NoOpComponent> <Dim> "
        + integer(width)
        + b"<BackpropScale> "
        + single(1)
        + b"</NoOpComponent> "
    )


class _Assembly:
    """Component nodes in the order in which they are fed."""

    def __init__(self) -> None:
        self.lines = [f"input-node name=input dim={CEPSTRA}"]
        self.components: list[bytes] = []

    def add(self, name: str, component: bytes, fed_by: str) -> str:
        self.lines.append(f"component-node name={name} component={name} input={fed_by}")
        self.components.append(b"<ComponentName> " + name.encode() + b" " + component)
        return name


def _flat(kernel: Array) -> Array:
    """(out, in, moments) to (out, moments * in), as a TdnnComponent has it."""
    return kernel.transpose(0, 2, 1).reshape(kernel.shape[0], -1)


def _offsets(moment: int) -> str:
    return "input" if moment == 0 else f"Offset(input, {moment})"


def write(state: State, lag_frames: int, weights: Weights = "i16") -> bytes:
    """The bytes of a final.mdl for the weights of a :class:`training.network.Network`."""
    net = _Assembly()
    spliced = ", ".join(_offsets(k - lag_frames) for k in (-1, 0, 1))
    at = net.add("lda", _fixed_affine(state["lda.weight"], state["lda.bias"]), f"Append({spliced})")
    at = net.add("tdnn1.affine", _affine(state["t1.weight"], state["t1.bias"], weights), at)
    at = net.add("tdnn1.relu", _relu(WIDTH), at)
    at = net.add("tdnn1.batchnorm", _batch_norm(state["bn1.mean"], state["bn1.var"]), at)
    for number, stride in enumerate(STRIDES):
        key, name, before = f"L.{number}", f"tdnnf{number + 2}", at
        back, ahead = ([0], [0]) if stride == 0 else ([-stride, 0], [0, stride])
        squeeze, widen = _flat(state[f"{key}.lin.weight"]), _flat(state[f"{key}.aff.weight"])
        at = net.add(f"{name}.linear", _tdnn(squeeze, [], back, weights), at)
        at = net.add(f"{name}.affine", _tdnn(widen, state[f"{key}.aff.bias"], ahead, weights), at)
        at = net.add(f"{name}.relu", _relu(WIDTH), at)
        at = net.add(
            f"{name}.batchnorm", _batch_norm(state[f"{key}.bn.mean"], state[f"{key}.bn.var"]), at
        )
        at = net.add(f"{name}.noop", _noop(WIDTH), f"Sum(Scale(0.66, {before}), {at})")
    at = net.add("prefinal-l", _linear(state["prel.weight"], weights), at)
    at = net.add(
        "prefinal-chain.affine",
        _affine(state["chain.aff.weight"], state["chain.aff.bias"], weights),
        at,
    )
    at = net.add("prefinal-chain.relu", _relu(WIDTH), at)
    at = net.add(
        "prefinal-chain.batchnorm1",
        _batch_norm(state["chain.bn1.mean"], state["chain.bn1.var"]),
        at,
    )
    at = net.add("prefinal-chain.linear", _linear(state["chain.lin.weight"], weights), at)
    at = net.add(
        "prefinal-chain.batchnorm2",
        _batch_norm(state["chain.bn2.mean"], state["chain.bn2.var"]),
        at,
    )
    at = net.add(
        "output.affine", _affine(state["chain.out.weight"], state["chain.out.bias"], weights), at
    )
    net.lines.append(f"output-node name=output input={at} objective=linear")
    return (
        b"\0B" + _transition_model() + b"<Nnet3> \n" + ("\n".join(net.lines) + "\n\n").encode()
        + b"<NumComponents> " + integer(len(net.components)) + b"".join(net.components)
        + b"</Nnet3> <LeftContext> " + integer(CONTEXT + lag_frames)
        + b"<RightContext> " + integer(CONTEXT - lag_frames) + b"<Priors> " + vector([])
    )  # fmt: skip


def read_components(raw: bytes) -> dict[str, Component]:
    """The arrays and offsets of every component of a final.mdl, by component and field name."""
    found = {}
    for mark in re.finditer(rb"<ComponentName> (\S+) <(\w+)> ", raw):
        name, kind = mark.group(1).decode(), mark.group(2).decode()
        found[name] = _read_component(Reader(raw, mark.end()), kind, name)
    if not found:
        raise KaldiFormatError("no components; is this a binary final.mdl?")
    return found


def _read_component(reader: Reader, kind: str, name: str) -> Component:
    fields: Component = {}
    while (token := reader.token().strip("<>")) != f"/{kind}":
        if token in _NUMBERS:
            reader.number()
        elif token in _ARRAYS:
            fields[token] = reader.array()
        elif token in _INTEGERS:
            reader.integer()
        elif token in ("TestMode", "UseNaturalGradient"):
            reader.boolean()
        elif token == "AlphaInOut":
            reader.number(), reader.number()
        elif token == "RankInOut":
            reader.integer(), reader.integer()
        elif token == "TimeOffsets":
            fields[token] = reader.integers()
        elif token != "Continuous":
            raise KaldiFormatError(f"component {name} of kind {kind}: unknown field {token!r}")
    return fields


def _array(component: Component, field: str) -> Array:
    value = component[field]
    if isinstance(value, list):
        raise KaldiFormatError(f"{field} is not an array")
    return value


def _kernel(component: Component) -> Array:
    """A TdnnComponent's weights as (out, in, moments)."""
    weight, offsets = _array(component, "LinearParams"), component["TimeOffsets"]
    return weight.reshape(weight.shape[0], len(offsets), -1).transpose(0, 2, 1)


def to_state(components: Mapping[str, Component]) -> dict[str, Array]:
    """Weights of a :class:`training.network.Network` from components of this architecture.

    Reads what :func:`write` writes, and the published models of the same shape: of a wider first
    splice (an i-vector beside the cepstra) the cepstra's columns are kept, and both of their heads.
    Output layers of another size are left out.
    """
    c = components
    state = {
        "lda.weight": _array(c["lda"], "LinearParams")[:, : 3 * CEPSTRA],
        "lda.bias": _array(c["lda"], "BiasParams"),
        "prel.weight": _array(c["prefinal-l"], "Params"),
    }

    def put(key: str, name: str) -> None:
        state[f"{key}.weight"] = _array(c[name], "LinearParams")
        state[f"{key}.bias"] = _array(c[name], "BiasParams")

    def put_norm(key: str, name: str) -> None:
        state[f"{key}.mean"] = _array(c[name], "StatsMean")
        state[f"{key}.var"] = _array(c[name], "StatsVar")

    put("t1", "tdnn1.affine")
    put_norm("bn1", "tdnn1.batchnorm")
    for number, stride in enumerate(STRIDES):
        key, name = f"L.{number}", f"tdnnf{number + 2}"
        expected = ([0], [0]) if stride == 0 else ([-stride, 0], [0, stride])
        if (c[f"{name}.linear"]["TimeOffsets"], c[f"{name}.affine"]["TimeOffsets"]) != expected:
            raise KaldiFormatError(f"layer {name} does not have stride {stride}")
        state[f"{key}.lin.weight"] = _kernel(c[f"{name}.linear"])
        state[f"{key}.aff.weight"] = _kernel(c[f"{name}.affine"])
        state[f"{key}.aff.bias"] = _array(c[f"{name}.affine"], "BiasParams")
        put_norm(f"{key}.bn", f"{name}.batchnorm")
    for head in ("chain", "xent"):
        if f"prefinal-{head}.affine" in c:
            put(f"{head}.aff", f"prefinal-{head}.affine")
            put_norm(f"{head}.bn1", f"prefinal-{head}.batchnorm1")
            state[f"{head}.lin.weight"] = _array(c[f"prefinal-{head}.linear"], "Params")
            put_norm(f"{head}.bn2", f"prefinal-{head}.batchnorm2")
    if _array(c["output.affine"], "LinearParams").shape[1] != BOTTLENECK:
        raise KaldiFormatError("the output layer is not fed by the bottleneck")
    put("chain.out", "output.affine")
    return {key: np.ascontiguousarray(value, np.float32) for key, value in state.items()}

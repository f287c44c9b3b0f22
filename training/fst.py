"""Writing and reading OpenFst's binary files, as far as a Vosk graph needs them.

Three containers of one automaton over the tropical semiring (weights are costs):

``vector``           what every OpenFst program reads,
``const``            the same, read only,
``olabel_lookahead`` a ``const`` plus, for each state, the set of output labels that can come
                     next: composing with a small grammar then never walks into a word that the
                     grammar does not hold.

The layout is that of OpenFst 1.7/1.8 on a little-endian machine (``fst.h``, ``const-fst.h``,
``add-on.h``, ``label-reachable.h``, ``interval-set.h``).
"""

import math
import struct
from dataclasses import dataclass, field

_FST_MAGIC = 2125659606
_SYMBOLS_MAGIC = 2125658996
_ADD_ON_MAGIC = 446681434
_EXPANDED, _MUTABLE = 0x1, 0x2
_NOT_ACCEPTOR, _ACCEPTOR = 0x20000, 0x10000
_ILABEL_SORTED, _OLABEL_SORTED = 0x10000000, 0x40000000
_HAS_ISYMBOLS, _HAS_OSYMBOLS = 1, 2
EPSILON = 0


class FstError(ValueError):
    """A file that is not what it should be."""


@dataclass(frozen=True, slots=True, order=True)
class Arc:
    """From a state to ``target``, reading ``ilabel``, writing ``olabel`` (0 is nothing)."""

    olabel: int
    ilabel: int
    cost: float
    target: int


@dataclass(slots=True)
class Fst:
    """States count from 0, which is the start. ``final`` maps a final state to its cost."""

    arcs: list[list[Arc]] = field(default_factory=list)
    final: dict[int, float] = field(default_factory=dict)

    def add_state(self) -> int:
        self.arcs.append([])
        return len(self.arcs) - 1

    def add_arc(self, source: int, target: int, ilabel: int, olabel: int, cost: float) -> None:
        self.arcs[source].append(Arc(olabel, ilabel, cost, target))

    def relabelled(self, new_olabel: dict[int, int]) -> "Fst":
        """The same automaton with its output labels renamed; labels not named stay."""
        arcs = [
            [Arc(new_olabel.get(a.olabel, a.olabel), a.ilabel, a.cost, a.target) for a in state]
            for state in self.arcs
        ]
        return Fst(arcs, dict(self.final))


def reachable_olabels(fst: Fst, final_label: int) -> list[set[int]]:
    """For each state the output labels that can be the next one written.

    ``final_label`` stands for "the automaton may end before it writes anything more".
    """
    sets = [
        {a.olabel for a in state if a.olabel} | ({final_label} if s in fst.final else set())
        for s, state in enumerate(fst.arcs)
    ]
    before: list[list[int]] = [[] for _ in fst.arcs]
    for source, state in enumerate(fst.arcs):
        for arc in state:
            if arc.olabel == EPSILON:
                before[arc.target].append(source)
    waiting = list(range(len(sets)))
    while waiting:
        state_number = waiting.pop()
        for source in before[state_number]:
            if not sets[state_number] <= sets[source]:
                sets[source] |= sets[state_number]
                waiting.append(source)
    return sets


def _intervals(labels: set[int]) -> list[tuple[int, int]]:
    """Half-open runs of consecutive labels."""
    runs: list[tuple[int, int]] = []
    for label in sorted(labels):
        if runs and runs[-1][1] == label:
            runs[-1] = (runs[-1][0], label + 1)
        else:
            runs.append((label, label + 1))
    return runs


def _text(value: str) -> bytes:
    raw = value.encode()
    return struct.pack("<i", len(raw)) + raw


def _header(
    kind: str, version: int, flags: int, properties: int, start: int, states: int, arcs: int
) -> bytes:
    return (
        struct.pack("<i", _FST_MAGIC)
        + _text(kind)
        + _text("standard")
        + struct.pack("<iiQqqq", version, flags, properties, start, states, arcs)
    )


def _symbol_table(name: str, symbols: dict[str, int]) -> bytes:
    head = struct.pack("<i", _SYMBOLS_MAGIC) + _text(name)
    head += struct.pack("<qq", max(symbols.values()) + 1, len(symbols))
    return head + b"".join(_text(s) + struct.pack("<q", key) for s, key in symbols.items())


def _properties(fst: Fst) -> int:
    """What is known of the automaton; whatever bit is left out, OpenFst works out itself."""
    known = _EXPANDED
    states = fst.arcs
    same = all(a.ilabel == a.olabel for state in states for a in state)
    known |= _ACCEPTOR if same else _NOT_ACCEPTOR
    for bit, name in ((_ILABEL_SORTED, "ilabel"), (_OLABEL_SORTED, "olabel")):
        labels = [[getattr(a, name) for a in state] for state in states]
        known |= bit if all(row == sorted(row) for row in labels) else bit << 1
    return known


def _sorted_states(fst: Fst) -> list[list[Arc]]:
    return [sorted(state) for state in fst.arcs]


def write_const(fst: Fst, symbols: dict[str, int] | None = None) -> bytes:
    """A ``const`` file; ``symbols`` (name to label) is stored for both sides when given."""
    states = _sorted_states(fst)
    ordered = Fst(states, fst.final)
    flags = _HAS_ISYMBOLS | _HAS_OSYMBOLS if symbols else 0
    count = sum(map(len, states))
    out = [_header("const", 2, flags, _properties(ordered), 0, len(states), count)]
    if symbols:
        out += [_symbol_table("words", symbols)] * 2
    position = 0
    for number, state in enumerate(states):
        silent_in = sum(a.ilabel == EPSILON for a in state)
        silent_out = sum(a.olabel == EPSILON for a in state)
        cost = fst.final.get(number, math.inf)
        out.append(struct.pack("<fIIII", cost, position, len(state), silent_in, silent_out))
        position += len(state)
    for state in states:
        out += [struct.pack("<iifi", a.ilabel, a.olabel, a.cost, a.target) for a in state]
    return b"".join(out)


def write_vector(fst: Fst) -> bytes:
    """A ``vector`` file, for other OpenFst programs."""
    states = _sorted_states(fst)
    properties = _properties(Fst(states, fst.final)) | _MUTABLE
    out = [_header("vector", 2, 0, properties, 0, len(states), sum(map(len, states)))]
    for number, state in enumerate(states):
        out.append(struct.pack("<fq", fst.final.get(number, math.inf), len(state)))
        out += [struct.pack("<iifi", a.ilabel, a.olabel, a.cost, a.target) for a in state]
    return b"".join(out)


def write_olabel_lookahead(fst: Fst, final_label: int) -> bytes:
    """An ``olabel_lookahead`` file.

    ``final_label`` must be an output label that no arc carries. Number the labels in the order
    in which the automaton reaches them, or the label sets grow long (but stay right).
    """
    inner = write_const(fst)
    properties = _properties(Fst(_sorted_states(fst), fst.final))
    out = [
        _header("olabel_lookahead", 1, 0, properties, -1, 0, 0),
        struct.pack("<i", _ADD_ON_MAGIC),
        inner,
        struct.pack("<???", True, False, True),  # an add-on; none for input, one for output
        struct.pack("<??i", False, False, final_label),
        struct.pack("<q", len(fst.arcs)),
    ]
    for labels in reachable_olabels(fst, final_label):
        runs = _intervals(labels)
        out.append(struct.pack("<q", len(runs)))
        out += [struct.pack("<ii", begin, end) for begin, end in runs]
        out.append(struct.pack("<i", len(labels)))
    return b"".join(out)


class _Reader:
    def __init__(self, raw: bytes) -> None:
        self.raw, self.at = raw, 0

    def take(self, layout: str) -> tuple[int | float | bool, ...]:
        try:
            values = struct.unpack_from("<" + layout, self.raw, self.at)
        except struct.error as fault:
            raise FstError(f"file ends at byte {len(self.raw)}, expected more") from fault
        self.at += struct.calcsize("<" + layout)
        return values

    def whole(self, layout: str) -> int:
        return int(self.take(layout)[0])

    def text(self) -> str:
        length = self.whole("i")
        value = self.raw[self.at : self.at + length].decode()
        self.at += length
        return value


def read(raw: bytes) -> tuple[Fst, list[set[int]] | None]:
    """What the three writers wrote: the automaton and, if it was stored, the label sets."""
    reader = _Reader(raw)
    fst, kind = _read_one(reader)
    if kind != "olabel_lookahead":
        return fst, None
    if reader.whole("i") != _ADD_ON_MAGIC:
        raise FstError(f"no add-on at byte {reader.at - 4}")
    fst, _ = _read_one(reader)
    reader.take("???")
    reader.take("??i")
    sets = []
    for _ in range(reader.whole("q")):
        runs = [reader.take("ii") for _ in range(reader.whole("q"))]
        sets.append({label for begin, end in runs for label in range(int(begin), int(end))})
        if reader.whole("i") != len(sets[-1]):
            raise FstError(f"label set of state {len(sets) - 1} has the wrong size")
    return fst, sets


def _read_one(reader: _Reader) -> tuple[Fst, str]:
    if reader.whole("i") != _FST_MAGIC:
        raise FstError("not an OpenFst file")
    kind, arc_type = reader.text(), reader.text()
    if arc_type != "standard":
        raise FstError(f"arcs of type {arc_type}, expected standard")
    _, flags, _, _, states, _ = (int(v) for v in reader.take("iiQqqq"))
    for bit in (_HAS_ISYMBOLS, _HAS_OSYMBOLS):
        if flags & bit:
            _skip_symbols(reader)
    fst = Fst([[] for _ in range(states)])
    if kind == "const":
        counts = []
        for number in range(states):
            cost, _, count, _, _ = reader.take("fIIII")
            counts.append(int(count))
            _set_final(fst, number, float(cost))
        for number, count in enumerate(counts):
            _read_arcs(reader, fst, number, count)
    elif kind == "vector":
        for number in range(states):
            cost, count = reader.take("fq")
            _set_final(fst, number, float(cost))
            _read_arcs(reader, fst, number, int(count))
    return fst, kind


def _set_final(fst: Fst, number: int, cost: float) -> None:
    if not math.isinf(cost):
        fst.final[number] = cost


def _read_arcs(reader: _Reader, fst: Fst, number: int, count: int) -> None:
    for _ in range(count):
        ilabel, olabel, cost, target = reader.take("iifi")
        fst.add_arc(number, int(target), int(ilabel), int(olabel), float(cost))


def _skip_symbols(reader: _Reader) -> None:
    if reader.whole("i") != _SYMBOLS_MAGIC:
        raise FstError(f"no symbol table at byte {reader.at - 4}")
    reader.text()
    reader.take("q")
    for _ in range(reader.whole("q")):
        reader.text()
        reader.take("q")

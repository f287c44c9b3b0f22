"""The word graph of a Vosk model: which sequences of phones are which words.

``HCLr.fst`` reads transition ids and writes words. It is a tree of phones, every word's label on
its last phone, silence possible between words, and back to the root. ``Gr.fst`` lets every word
follow every word; at run time the ear replaces it by the grammar of the moment.

Foreign words: each *unknown* word is a loop over all phones with a price for every phone (natural
log, beside an acoustic scale of 1). A high price lets few real words be lost and many foreign words
pass for real ones; a low price the other way round. There are several, so that each listening
situation can name its own in its grammar.
"""

import math
from collections.abc import Iterable
from pathlib import Path

from training import fst as openfst
from training.fst import Fst
from training.lexicon import Lexicon, write_pronunciations
from training.phones import (
    PHONE_ID,
    PHONES,
    POSITIONS,
    SILENCE,
    SPEECH,
    TRANSITIONS,
    forward_transition,
    loop_transition,
    with_positions,
)

SILENCE_PROBABILITY = 0.5
UNKNOWN_COST_PER_PHONE = {
    "[unk]": 2.5,
    "[unk-2]": 1.6,
    "[unk-1]": 2.0,
    "[unk+1]": 3.2,
    "[unk+2]": 4.0,
    "[unk+3]": 5.0,
}


class _Tree:
    """The automaton under construction; ``root`` is where a word begins."""

    def __init__(self) -> None:
        self.fst = Fst()
        self.start = self.fst.add_state()
        self.root = self.fst.add_state()
        self.word_end = self.fst.add_state()
        self._nodes: dict[tuple[str, ...], int] = {(): self.root}
        self._optional_silence(self.start)
        self._optional_silence(self.word_end)
        self.fst.final[self.root] = 0.0

    def enter(self, source: int, phone: str, label: int, cost: float) -> int:
        """A new state reached from ``source`` by ``phone``, which may last."""
        state = self.fst.add_state()
        self.fst.add_arc(source, state, forward_transition(phone), label, cost)
        self.fst.add_arc(state, state, loop_transition(phone), 0, 0.0)
        return state

    def _optional_silence(self, source: int) -> None:
        self.fst.add_arc(source, self.root, 0, 0, -math.log(1 - SILENCE_PROBABILITY))
        silence = self.enter(source, SILENCE, 0, -math.log(SILENCE_PROBABILITY))
        self.fst.add_arc(silence, self.root, 0, 0, 0.0)

    def add_word(self, label: int, bases: Iterable[str]) -> None:
        *path, last = with_positions(tuple(bases))
        for depth, phone in enumerate(path):
            node = tuple(path[: depth + 1])
            if node not in self._nodes:
                parent = self._nodes[node[:-1]]
                self._nodes[node] = self.enter(parent, phone, 0, 0.0)
        end = self.enter(self._nodes[tuple(path)], last, label, 0.0)
        self.fst.add_arc(end, self.word_end, 0, 0, 0.0)

    def add_unknown(self, label: int, cost: float) -> None:
        """Two phones or more, any, each at ``cost``."""
        hub = self.fst.add_state()
        for base in SPEECH:
            first = self.enter(self.root, f"{base}_B", label, cost)
            inner = self.enter(hub, f"{base}_I", 0, cost)
            last = self.enter(hub, f"{base}_E", 0, cost)
            for source, target in ((first, hub), (inner, hub), (last, self.word_end)):
                self.fst.add_arc(source, target, 0, 0, 0.0)


def word_numbers(lexicon: Lexicon) -> dict[str, int]:
    """A label for each word, counted in the order in which the tree reaches them."""
    paths = sorted((with_positions(said), word) for word in lexicon for said in lexicon[word])
    words = list(dict.fromkeys(word for _, word in paths))
    names = ["<eps>", *words, *UNKNOWN_COST_PER_PHONE]
    return {name: number for number, name in enumerate(names)}


def build_hcl(lexicon: Lexicon, labels: dict[str, int]) -> Fst:
    """Transition ids to words."""
    tree = _Tree()
    for word in sorted(lexicon):
        for said in lexicon[word]:
            tree.add_word(labels[word], said)
    for name, cost in UNKNOWN_COST_PER_PHONE.items():
        tree.add_unknown(labels[name], cost)
    return tree.fst


def build_word_loop(labels: dict[str, int]) -> Fst:
    """Every word may follow every word, all alike."""
    loop = Fst()
    state = loop.add_state()
    words = [number for name, number in labels.items() if name != "<eps>"]
    cost = math.log(len(words) + 1)
    loop.final[state] = cost
    for number in words:
        loop.add_arc(state, state, number, number, cost)
    return loop


def write_graph(lexicon: Lexicon, folder: Path) -> None:
    """Fill ``folder`` (a model's ``graph``) with everything Vosk wants there and the lexicon."""
    (folder / "phones").mkdir(parents=True, exist_ok=True)
    labels = word_numbers(lexicon)
    end_label = len(labels)
    symbols = labels | {"#0": end_label + 1}
    hcl = openfst.write_olabel_lookahead(build_hcl(lexicon, labels), end_label)
    (folder / "HCLr.fst").write_bytes(hcl)
    (folder / "Gr.fst").write_bytes(openfst.write_const(build_word_loop(labels), symbols))
    _write_table(folder / "words.txt", symbols)
    _write_table(folder / "phones.txt", {"<eps>": 0} | PHONE_ID | {"#0": len(PHONES) + 1})
    boundary = {
        str(number): POSITIONS[phone[-1]] if "_" in phone else "nonword"
        for phone, number in PHONE_ID.items()
    }
    lines = [f"{number} {kind}\n" for number, kind in boundary.items()]
    (folder / "phones" / "word_boundary.int").write_text("".join(lines), "ascii")
    (folder / "disambig_tid.int").write_text(f"{TRANSITIONS + 1}\n", "ascii")
    write_pronunciations(lexicon, folder / "lexicon.txt")


def _write_table(path: Path, symbols: dict[str, int]) -> None:
    lines = [f"{name} {number}\n" for name, number in symbols.items()]
    path.write_text("".join(lines), "utf-8")

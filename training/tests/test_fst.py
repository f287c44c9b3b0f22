"""The graph files: written, read back, and judged by OpenFst's programs where there are any."""

import random
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from training import fst as openfst
from training.fst import Arc, Fst, FstError


def random_automaton(seed: int, states: int = 30) -> Fst:
    rng = random.Random(seed)
    made = Fst()
    for _ in range(states):
        made.add_state()
    for source in range(states):
        for _ in range(rng.randrange(5)):
            target, label = rng.randrange(states), rng.choice([0, 0, *range(1, 9)])
            made.add_arc(source, target, rng.randrange(5), label, rng.randrange(8) / 4)
    made.final[states - 1] = 0.25
    return made


def same(one: Fst, other: Fst) -> bool:
    return [sorted(s) for s in one.arcs] == [
        sorted(s) for s in other.arcs
    ] and one.final == other.final


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("write", [openfst.write_vector, openfst.write_const])
def test_what_is_written_is_read_back(write: Callable[[Fst], bytes], seed: int) -> None:
    made = random_automaton(seed)
    back, sets = openfst.read(write(made))
    assert same(made, back)
    assert sets is None


@pytest.mark.parametrize("seed", range(5))
def test_label_sets_are_what_walking_the_automaton_finds(seed: int) -> None:
    made = random_automaton(seed)
    back, sets = openfst.read(openfst.write_olabel_lookahead(made, final_label=9))
    assert same(made, back)
    assert sets is not None
    for start, found in enumerate(sets):
        expected, seen, waiting = set(), {start}, [start]
        while waiting:
            state = waiting.pop()
            if state in made.final:
                expected.add(9)
            for arc in made.arcs[state]:
                if arc.olabel:
                    expected.add(arc.olabel)
                elif arc.target not in seen:
                    seen.add(arc.target)
                    waiting.append(arc.target)
        assert found == expected


def test_a_file_cut_short_is_refused_with_the_place() -> None:
    whole = openfst.write_vector(random_automaton(0))
    with pytest.raises(FstError, match="ends at byte"):
        openfst.read(whole[:-5])


def test_something_else_is_refused() -> None:
    with pytest.raises(FstError, match="not an OpenFst file"):
        openfst.read(b"RIFF" + bytes(40))


def test_arcs_are_ordered_by_output_label_as_composition_needs() -> None:
    made = Fst([[Arc(3, 1, 0.0, 0), Arc(1, 2, 0.0, 0)]], {0: 0.0})
    back, _ = openfst.read(openfst.write_const(made))
    assert [arc.olabel for arc in back.arcs[0]] == [1, 3]


@pytest.mark.skipif(not shutil.which("fstequal"), reason="Debian's libfst-tools are not installed")
@pytest.mark.parametrize("write", [openfst.write_vector, openfst.write_const])
def test_openfst_reads_the_same_automaton(tmp_path: Path, write: Callable[[Fst], bytes]) -> None:
    made = random_automaton(3)
    ours = tmp_path / "ours.fst"
    ours.write_bytes(write(made))

    def rows(text: str) -> list[tuple[float, ...]]:
        """Arcs and finals as numbers; OpenFst leaves out costs of nought."""
        found = [tuple(map(float, line.split())) for line in text.splitlines() if "Inf" not in line]
        return sorted((*row, 0.0) if len(row) in (1, 4) else row for row in found)

    printed = subprocess.run(["fstprint", str(ours)], capture_output=True, text=True, check=True)
    arcs = [
        (s, a.target, a.ilabel, a.olabel, a.cost)
        for s, state in enumerate(made.arcs)
        for a in state
    ]
    assert rows(printed.stdout) == sorted([*arcs, *made.final.items()])

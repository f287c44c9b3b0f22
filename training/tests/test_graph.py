"""The word graph accepts what a grammar allows and nothing else, and Vosk takes it."""

import json
from pathlib import Path

import pytest

from training import fst as openfst
from training.add_word import add_word, main
from training.fst import Fst
from training.graph import UNKNOWN_COST_PER_PHONE, build_hcl, word_numbers, write_graph
from training.lexicon import Lexicon, LexiconError, build_lexicon, read_pronunciations, read_words
from training.phones import SILENCE, forward_transition, loop_transition, with_positions
from training.texts import number_words, read_phrases

Small = tuple[Lexicon, dict[str, int], Fst]
MODEL = Path(__file__).parents[2] / "coach" / "ear" / "model"


def spoken(graph: Fst, transitions: list[int]) -> set[tuple[int, ...]]:
    """All word sequences that a sequence of transition ids can stand for."""
    now: set[tuple[int, tuple[int, ...]]] = {(0, ())}
    for symbol in [*transitions, None]:
        waiting, closed = list(now), set(now)
        while waiting:
            state, words = waiting.pop()
            for arc in graph.arcs[state]:
                if arc.ilabel == 0:
                    after = (arc.target, words + ((arc.olabel,) if arc.olabel else ()))
                    if after not in closed:
                        closed.add(after)
                        waiting.append(after)
        if symbol is None:
            return {words for state, words in closed if state in graph.final}
        now = {
            (arc.target, words + ((arc.olabel,) if arc.olabel else ()))
            for state, words in closed
            for arc in graph.arcs[state]
            if arc.ilabel == symbol
        }
    raise AssertionError


def said(phones: list[str], held: int = 2) -> list[int]:
    """Transition ids of phones, each held for some frames, in silence."""
    out: list[int] = []
    for phone in [SILENCE, *phones, SILENCE]:
        out += [forward_transition(phone)] + [loop_transition(phone)] * held
    return out


@pytest.fixture(scope="module")
def small() -> Small:
    lexicon = build_lexicon(["one", "twenty", "hundred", "and", "stop", "oh"])
    labels = word_numbers(lexicon)
    return lexicon, labels, build_hcl(lexicon, labels)


def known(small: Small, phones: list[str]) -> set[tuple[str, ...]]:
    _, labels, graph = small
    names = {number: name for name, number in labels.items()}
    readings = {tuple(names[w] for w in words) for words in spoken(graph, said(phones))}
    return {words for words in readings if not any(w.startswith("[") for w in words)}


def test_every_pronunciation_of_every_word_is_its_word(small: Small) -> None:
    lexicon, _, _ = small
    for word, readings in lexicon.items():
        for phones in readings:
            assert known(small, with_positions(phones)) == {(word,)}


def test_words_follow_each_other_without_a_pause(small: Small) -> None:
    lexicon, _, _ = small
    phones = [p for w in ("one", "twenty", "oh") for p in with_positions(lexicon[w][0])]
    assert known(small, phones) == {("one", "twenty", "oh")}


def test_half_a_word_and_a_foreign_word_are_no_word(small: Small) -> None:
    lexicon, _, _ = small
    assert known(small, with_positions(lexicon["hundred"][0][:4])) == set()
    assert known(small, with_positions(("T", "EY", "B", "AH", "L"))) == set()


def test_a_foreign_word_is_an_unknown_word_at_its_price(small: Small) -> None:
    _, labels, graph = small
    words = spoken(graph, said(with_positions(("T", "EY", "B", "AH", "L"))))
    assert {(labels[name],) for name in UNKNOWN_COST_PER_PHONE} <= words


def test_the_vocabulary_holds_all_phrases_and_all_numbers_to_three_hundred() -> None:
    words = set(read_words())
    assert {w for phrase in read_phrases() for w in phrase} <= words
    assert {w for n in range(301) for w in number_words(n)} | {"oh", "double", "a"} <= words


def test_every_word_can_be_said() -> None:
    assert all(build_lexicon(read_words()).values())


def test_a_word_nobody_knows_is_refused_by_name() -> None:
    with pytest.raises(LexiconError, match="'zzyzx'"):
        build_lexicon(["zzyzx"])


def test_the_shipped_graph_is_the_one_its_lexicon_gives(tmp_path: Path) -> None:
    write_graph(read_pronunciations(MODEL / "graph" / "lexicon.txt"), tmp_path)
    for name in ("HCLr.fst", "Gr.fst", "words.txt", "phones.txt", "disambig_tid.int"):
        assert (tmp_path / name).read_bytes() == (MODEL / "graph" / name).read_bytes(), name


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    import shutil

    return Path(shutil.copytree(MODEL, tmp_path / "model"))


def test_a_word_is_added_by_one_command_and_vosk_knows_it(
    copied: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    vosk = pytest.importorskip("vosk")
    vosk.SetLogLevel(-1)
    assert main(["flumox", "--phones", "F L AH1 M AA0 K S", "--model", str(copied)]) == 0
    assert capsys.readouterr().out == "flumox: F L AH M AA K S\n"
    model = vosk.Model(str(copied))
    assert model.vosk_model_find_word("flumox") >= 0
    recognizer = vosk.KaldiRecognizer(model, 16000, json.dumps(["flumox", "[unk]"]))
    recognizer.AcceptWaveform(bytes(32000))
    assert json.loads(recognizer.FinalResult())["text"] == ""


def test_a_known_word_gains_a_pronunciation(copied: Path) -> None:
    before = read_pronunciations(copied / "graph" / "lexicon.txt")["stop"]
    assert add_word("stop", "S T AO P", copied) == [*(" ".join(p) for p in before), "S T AO P"]


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["zzyzx"], "'zzyzx' is not in CMUdict"),
        (["word", "--phones", "W ER QQ"], "no phone 'QQ'"),
        (["two words"], "is not one word"),
        (["[unk]"], "is not one word"),
    ],
)
def test_bad_words_are_refused_in_one_line(
    copied: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], complaint: str
) -> None:
    before = (copied / "graph" / "HCLr.fst").read_bytes()
    assert main([*arguments, "--model", str(copied)]) == 2
    error = capsys.readouterr().err
    assert complaint in error
    assert error.count("\n") == 1
    assert (copied / "graph" / "HCLr.fst").read_bytes() == before


def test_a_folder_that_is_no_model_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["stop", "--model", str(tmp_path)]) == 2
    assert "graph/lexicon.txt" in capsys.readouterr().err


def test_the_graph_file_holds_its_label_sets() -> None:
    _, sets = openfst.read((MODEL / "graph" / "HCLr.fst").read_bytes())
    assert sets is not None
    assert len(sets[0]) > 400

"""What evaluation counts, on cases worked out by hand and on real recordings."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("scipy")

from training.corpus import RATE, Sound
from training.evaluate import load, main
from training.measures import (
    accepts,
    number_confusions,
    number_summary,
    rejections,
    score,
)
from training.read_aloud import sentences
from training.recognisers import Word, text
from training.testsets import (
    PAUSE_S,
    SPHINX_DATA,
    Item,
    Passage,
    Stream,
    babble,
    foreign,
    joined,
    sphinx_trials,
    trial,
)

MODEL = Path(__file__).parents[2] / "coach" / "ear" / "model"
SECOND = np.zeros(RATE, np.float32)


class Parrot:
    """Hears what it was told to, whatever the sound; the length of a sound tells them apart."""

    def __init__(self, answers: dict[int, list[Word]]) -> None:
        self.answers = answers

    def unknown(self, wished: str) -> str:
        return wished

    def words(self, sound: Sound, phrases: Sequence[str]) -> list[Word]:
        assert "[unk]" in phrases
        return next(words for samples, words in self.answers.items() if samples <= len(sound))


def item(number: int, said: str) -> Item:
    """The higher its number, the shorter."""
    return Item(str(number), SECOND[: RATE - 1000 * number] + 0.1, said)


def heard(number: int, word: str, confidence: float = 1.0) -> tuple[int, list[Word]]:
    words = [Word(w, 0.0, 0.5, confidence) for w in word.split()]
    return RATE - 1000 * number + round(0.9 * RATE), words


def test_right_wrong_and_nothing_are_told_apart() -> None:
    parrot = Parrot(dict([heard(0, "yes"), heard(1, "up"), heard(2, "")]))
    people = [item(0, "yes"), item(1, "off"), item(2, "no"), item(3, "tree")]
    found = score(parrot, trial("people", "ten commands", people), "clean", "[unk]")
    assert (found.count, found.right, found.wrong) == (3, 1, 1)
    assert found.confusions == {"off > up": 1, "no > -": 1}


def test_a_confidence_cut_trades_own_words_for_foreign_ones() -> None:
    parrot = Parrot(dict([heard(0, "yes", 0.95), heard(1, "no", 0.7), heard(2, "go", 0.75)]))
    everything = [item(0, "yes"), item(1, "no"), item(2, "tree")]
    own, others = trial("people", "ten commands", everything), foreign(everything, "ten commands")
    assert [i.said for i in others] == ["tree"]
    points = rejections(parrot, own, others, ["[unk]"], [0.0, 0.72, 0.8])
    assert [(p.missed, p.taken) for p in points] == [(0, 100), (50, 100), (50, 0)]


def test_only_words_that_nobody_said_are_false_accepts() -> None:
    """An hour; "up" is said in its first half: of the three words heard one is true."""
    words = [Word("up", 10, 10.3, 0.9), Word("up", 2000, 2000.3, 0.9), Word("stop", 20, 21, 0.5)]
    stream = Stream(
        "an hour", np.zeros(3600 * RATE, np.float32), [Passage(0, 1800, frozenset({"up"}))]
    )
    rows = accepts(Parrot({0: words}), [stream], "hold", ["up", "stop"], "[unk]", [0.0, 0.8])
    assert [(row.false, row.per_hour, row.really_said) for row in rows] == [(2, 2, 1), (1, 1, 1)]
    assert rows[0].words == {"up": 1, "stop": 1}


def test_a_stream_knows_what_is_said_where() -> None:
    stream = joined("two", [(SECOND, frozenset({"go"})), (SECOND, frozenset({"stop"}))])
    assert stream.hours * 3600 == pytest.approx(2 + 3 * PAUSE_S)
    assert stream.really_said("go", PAUSE_S + 0.5)
    assert not stream.really_said("go", 2 * PAUSE_S + 1.5)
    assert stream.really_said("stop", 2 * PAUSE_S + 1.5)


def test_babble_is_made_of_equally_loud_voices() -> None:
    rng = np.random.default_rng(0)
    voices = [
        Stream("v", (rng.normal(size=RATE) * level).astype(np.float32), [])
        for level in (0.01, 0.1, 0.2, 0.05, 0.3, 0.02)
    ]
    (together,) = babble(voices, 5)
    shares = [np.corrcoef(together.sound, voice.sound)[0, 1] for voice in voices]
    assert shares[:5] == pytest.approx([5**-0.5] * 5, abs=0.03)
    assert shares[5] == pytest.approx(0, abs=0.03)
    assert np.abs(together.sound).max() == pytest.approx(0.5)


def test_the_confusions_of_numbers_add_up() -> None:
    parrot = Parrot(dict([heard(0, "thirty"), heard(1, "forty two"), heard(2, "")]))
    items = [item(0, "thirteen"), item(1, "forty two"), item(2, "a hundred and one")]
    found = number_confusions(parrot, items, [], "[unk]")
    assert found == {13: Counter({30: 1}), 42: Counter({42: 1}), 101: Counter({-1: 1})}
    summary = number_summary(found)
    assert summary["all"] == 33.3
    assert (summary["two words"], summary["teens and tens"]) == (100, 0)
    assert (summary["teen heard as ten or back"], summary["nothing heard"]) == (1, 1)


def test_texts_are_read_in_whole_sentences_without_figures() -> None:
    plain = "He was not an ill-disposed\nyoung man. Version 3 of it is here now.\n\nTo be or not."
    assert sentences(plain) == [
        "he was not an ill disposed young man".split(),  # noqa: SIM905
        "to be or not".split(),  # noqa: SIM905
    ]


def test_strangers_are_understood_once_their_words_are_added() -> None:
    """Recordings and texts of Debian's pocketsphinx-testdata (CMU); "meters" is no word of ours."""
    pytest.importorskip("vosk")
    if not SPHINX_DATA.is_dir():
        pytest.skip("pocketsphinx-testdata is not installed")
    tried = sphinx_trials()
    said = {i.said for t in tried for i in t.items}
    assert {"go forward ten meters", "two nine three four zero", "five five"} <= said
    model = load(MODEL, tried)
    moves = tried[0]
    assert text(model.words(moves.items[0].sound, [*moves.phrases, "[unk]"])) == moves.items[0].said


def test_what_is_not_there_is_named_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(tmp_path)]) == 2
    assert main([str(MODEL), "--people", str(tmp_path / "nobody")]) == 2
    assert capsys.readouterr().err.splitlines() == [
        f"evaluate: there is no {tmp_path}/am/final.mdl",
        f"evaluate: there is no {tmp_path}/nobody.opus",
    ]

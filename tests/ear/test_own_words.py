"""The coach names a word that ends the lesson; hearing it just then is no command."""

from __future__ import annotations

import pytest

from coach.ear.own_words import OwnWords
from coach.practice.events import Heard

LINE = "To come up, say done, or knock twice on the floor. To end the lesson, say stop."


def heard(text: str, onset_s: float) -> Heard:
    return Heard(onset_s + 0.4, onset_s, onset_s + 0.3, "stop", text=text)


@pytest.fixture
def own() -> OwnWords:
    words = OwnWords()
    words.sounding(LINE, 100.0, 108.0)
    return words


def test_its_own_word_at_its_own_time_is_explained(own: OwnWords) -> None:
    assert own.explain(heard("stop", 107.6))
    assert own.explain(heard("done", 101.9))


def test_the_same_word_elsewhere_in_the_line_is_a_command(own: OwnWords) -> None:
    assert not own.explain(heard("stop", 102.0))
    assert not own.explain(heard("done", 107.5))


def test_the_same_word_after_the_line_is_a_command(own: OwnWords) -> None:
    assert not own.explain(heard("stop", 109.5))


def test_more_words_than_its_own_are_a_command(own: OwnWords) -> None:
    assert not own.explain(heard("please stop", 107.6))


def test_it_forgets_lines_long_gone(own: OwnWords) -> None:
    for second in range(20):
        own.sounding("ten", 110.0 + second, 111.0 + second)
    assert not own.explain(heard("stop", 107.6))

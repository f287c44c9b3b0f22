"""Numbers as we speak them, read back by a library that is not ours."""

from __future__ import annotations

import pytest
from text_to_num import text2num

from coach.voice import spoken


@pytest.mark.parametrize("number", range(241))
def test_a_spoken_number_is_understood_by_text2num(number: int) -> None:
    # text2num (allo-media), English: the oracle for well-formed numbers
    assert text2num(spoken.number(number), "en") == number


@pytest.mark.parametrize("seconds", range(10, 1801, 10))
def test_a_spoken_duration_is_understood_by_text2num(seconds: int) -> None:
    total_s, count = 0, ""
    for word in spoken.duration(seconds).split():
        if word.rstrip("s") in {"minute", "second"}:
            total_s += text2num(count, "en") * (60 if word.startswith("minute") else 1)
            count = ""
        else:
            count = f"{count} {word}".strip()
    assert total_s == seconds

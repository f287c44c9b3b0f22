"""How fast the coach speaks, against what people do.

Krause J. The effects of speaking rate and speaking mode on intelligibility. Thesis, MIT, 1995
(seen): clear speech has about 100 words a minute, conversation 110 to 150. So our lines have 90
to 150 words a minute, pauses between sentences included.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
import pytest

from coach.border import data_path
from coach.settings import VoiceSettings
from coach.voice.choose import open_voice
from coach.voice.lines import Lines, load_lines

RATE_HZ = 48_000


def shipped_lines() -> list[str]:
    lines: Lines = load_lines(data_path("config", "lines", "en.toml"))
    fixed = [lines.text(name, {}) for name in sorted(lines.names()) if not lines.values_of(name)]
    return [text for text in fixed if len(text.split()) >= 6]


@pytest.mark.parametrize("name", ["natural", "espeak"])
def test_lines_have_the_pace_of_clear_speech(
    name: Literal["natural", "espeak"], tmp_path: Path
) -> None:
    voice = open_voice(VoiceSettings(name=name), tmp_path)
    clips = voice.speak_all(shipped_lines(), RATE_HZ)
    rates = np.array([60 * len(clip.text.split()) / clip.duration_s for clip in clips])
    whole = 60 * sum(len(c.text.split()) for c in clips) / sum(c.duration_s for c in clips)
    assert 90 <= whole <= 150
    assert 90 <= np.median(rates) <= 150
    # Ours: a line of words of one syllable may run to twice clear speech, none may be a drawl.
    assert rates.min() >= 60
    assert rates.max() <= 200

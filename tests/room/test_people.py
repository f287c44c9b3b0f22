"""Participants act at the moments they wait for, and the log says when they truly did."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from coach.border import BadInput
from coach.ear.knocks import KnockDetector
from coach.ports import Audio, Clip
from coach.practice.events import Knocks
from coach.room.people import (
    KNOCK_APART_S,
    People,
    active_rms,
    energy_onset_s,
    knock_samples,
    recording,
    tapped_samples,
)
from coach.room.scene import Act, Participant, Scene

RATE_HZ = 16_000
BLOCK = 320
QUIET_S = 0.2  # the test voice is silent this long before it speaks


class Humming:
    """A voice of one pitch, after a silence, as long as its text."""

    name = "humming"

    def speak(self, text: str, rate_hz: int, speed: float = 1.0) -> Clip:
        t = np.arange(round(0.1 * len(text) * rate_hz)) / rate_hz
        hum = 0.4 * np.cos(2 * np.pi * 150 * t)
        quiet = np.zeros(round(QUIET_S * rate_hz))
        return Clip(text, np.concatenate((quiet, hum)).astype(np.float32), rate_hz)


class Hall:
    """Renders people block by block and keeps what arrives at the microphone."""

    def __init__(self, *acts: Act, **about: float) -> None:
        person = Participant(1, "Ruska", acts=acts, **about)  # type: ignore[arg-type]
        scene = Scene("try", "first-lesson", participants=(person,))
        self.people = People(scene, lambda _: Humming(), RATE_HZ)
        self.blocks: list[Audio] = []

    def run_to(self, until_s: float) -> None:
        while len(self.blocks) * BLOCK / RATE_HZ < until_s:
            self.blocks.append(self.people.render(BLOCK))

    @property
    def onsets_s(self) -> list[float]:
        return [done.onset_s for done in self.people.log.acts]

    @property
    def texts(self) -> list[str]:
        return [done.text for done in self.people.log.acts]

    def first_sound_s(self) -> float:
        sound = np.concatenate(self.blocks)
        return float(np.flatnonzero(np.abs(sound) > 1e-3)[0]) / RATE_HZ


def test_the_first_audible_sound_comes_after_the_delay() -> None:
    hall = Hall(Act(after="hold:main", delay_s=1.3, say="done"), delay_s=0.01)
    hall.run_to(1.0)
    hall.people.reach("hold:main", "start", 0.9875)
    hall.run_to(4.0)
    assert hall.onsets_s == [pytest.approx(2.2875, abs=0.005)]
    assert hall.first_sound_s() == pytest.approx(2.2875 + 0.01, abs=0.005), "the way takes time"


@pytest.mark.parametrize(
    ("act", "moments", "expected_s"),
    [
        (Act(after="a", say="x"), ["a", "a", "b"], [1.5]),
        (Act(after="a", say="x", nth=2), ["a", "b", "a"], [3.5]),
        (Act(after="*", say="x", nth="each"), ["a", "b", "c"], [1.5, 2.5, 3.5]),
        (Act(after="a", say="x", nth="2+"), ["a", "a", "a"], [2.5, 3.5]),
        (Act(after="clearing:*", say="x", nth=2), ["clearing:dry", "b", "clearing:near"], [3.5]),
        (Act(after="a", say="x", edge="end"), ["a"], []),
        (Act(after="a"), ["a"], []),
    ],
)
def test_which_moments_an_act_takes(act: Act, moments: list[str], expected_s: list[float]) -> None:
    hall = Hall(act)
    for second, moment in enumerate(moments, 1):
        hall.run_to(second)
        hall.people.reach(moment, "start", float(second))
    hall.run_to(6.0)
    assert hall.onsets_s == pytest.approx(expected_s, abs=0.005)


def test_an_act_may_depend_on_what_the_coach_says() -> None:
    yes = Act(after="read", hears="*thirteen beats*", nth="each", say="yes")
    no = Act(after="read", hears="!*thirteen beats*", nth="each", say="no, thirteen")
    first_yes = Act(after="read", hears="*thirteen*", delay_s=1.5, say="thanks")
    hall = Hall(yes, no, first_yes)
    said = ["Thirty beats?", "One three, thirteen beats?", "Thirteen beats?"]
    for second, text in zip((1, 4, 7), said, strict=True):
        hall.run_to(second)
        hall.people.reach("read", "start", float(second), text)
    hall.run_to(10.0)
    assert hall.texts == ["no, thirteen", "yes", "thanks", "yes"]


def test_the_end_of_a_moment_is_another_edge() -> None:
    hall = Hall(Act(after="a", say="x", edge="end"))
    hall.people.reach("a", "start", 0.0)
    hall.people.reach("a", "end", 2.0)
    hall.run_to(4.0)
    assert hall.onsets_s == [pytest.approx(2.5, abs=0.005)]


def test_an_act_sooner_than_the_clip_can_begin_comes_a_little_late_and_is_logged_so() -> None:
    hall = Hall(Act(after="a", say="x", delay_s=0.05))
    hall.run_to(1.0)
    hall.people.reach("a", "start", 1.0)
    hall.run_to(3.0)
    assert hall.onsets_s == [pytest.approx(1.0 + QUIET_S - 0.006, abs=0.005)]
    assert hall.first_sound_s() == pytest.approx(hall.onsets_s[0] + 0.006, abs=0.005)


def test_several_texts_are_said_in_turn_again_and_again_until_the_end() -> None:
    hall = Hall(Act(at_s=0.5, every_s=1.0, until_s=4.0, say=("a", "bb")))
    hall.run_to(6.0)
    assert hall.onsets_s == pytest.approx([0.5, 1.5, 2.5, 3.5], abs=0.005)
    assert hall.texts == ["a", "bb", "a", "bb"]


def test_nobody_talks_over_himself() -> None:
    chatter = Act(at_s=0.5, every_s=1.0, until_s=3.0, say="x" * 5)
    answer = Act(after="a", delay_s=0.0, say="yes")
    hall = Hall(chatter, answer)
    hall.people.reach("a", "start", 0.6)
    hall.run_to(6.0)
    spans = [(done.onset_s, done.end_s, done.text) for done in hall.people.log.acts]
    assert "yes" in hall.texts
    for (_, end_s, _), (onset_s, _, _) in pairwise(spans):
        assert onset_s > end_s


def test_knocks_are_sharp_and_as_loud_as_said() -> None:
    hall = Hall(Act(at_s=1.0, knock=2), level_db=-30.0)
    hall.run_to(3.0)
    sound = np.concatenate(hall.blocks)
    assert 20 * np.log10(np.abs(sound).max()) == pytest.approx(-30.0 + 14.0, abs=0.1)
    assert hall.first_sound_s() == pytest.approx(1.006, abs=0.005)
    second = sound[round((1.006 + KNOCK_APART_S - 0.02) * RATE_HZ) :]
    assert np.abs(second[: round(0.015 * RATE_HZ)]).max() < 1e-3, "quiet between the two"
    assert np.abs(second).max() > 0.05
    assert hall.texts == ["(knocks twice)"]


def test_speech_has_the_level_of_the_participant() -> None:
    hall = Hall(Act(at_s=1.0, say="a long text", gain_db=3.0), level_db=-27.0)
    hall.run_to(3.0)
    rms = active_rms(np.concatenate(hall.blocks), RATE_HZ)
    assert 20 * np.log10(rms) == pytest.approx(-24.0, abs=0.3)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 48_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_recordings_of_any_rate_and_width_keep_their_length_and_onset(
    tmp_path: Path, rate_hz: int, channels: int
) -> None:
    hum = Humming().speak("abcde", rate_hz).samples
    path = tmp_path / "word.wav"
    soundfile.write(path, np.column_stack([hum] * channels), rate_hz)
    hall = Hall(Act(at_s=1.0, play=str(path)))
    hall.run_to(3.0)
    assert hall.onsets_s == [pytest.approx(1.0, abs=0.006)]
    assert hall.first_sound_s() == pytest.approx(1.006, abs=0.006)
    assert hall.texts == ["(word.wav)"]
    assert len(recording(str(path), RATE_HZ)) == pytest.approx(0.7 * RATE_HZ, abs=20)


@pytest.mark.parametrize("spoil", ["text", "silence"])
def test_a_recording_without_sound_is_named(tmp_path: Path, spoil: str) -> None:
    path = tmp_path / "word.wav"
    writers: dict[str, Callable[[], object]] = {
        "text": lambda: path.write_text("no sound", "utf-8"),
        "silence": lambda: soundfile.write(path, np.zeros(8000), 8000),
    }
    writers[spoil]()
    with pytest.raises(BadInput, match=r"word\.wav.*: (is no sound|there is no sound)"):
        Hall(Act(at_s=1.0, play=str(path)))


def test_the_onset_is_where_sound_begins() -> None:
    sound = np.zeros(RATE_HZ, np.float32)
    sound[4000:8000] = 0.5
    assert energy_onset_s(sound, RATE_HZ) == 0.25
    assert energy_onset_s(knock_samples(1, RATE_HZ), RATE_HZ) == 0.0


def test_a_tapped_beat_is_steady_and_ends_in_time() -> None:
    samples = tapped_samples(66.0, 14.0, RATE_HZ)
    knocks = [knock.onset_s for knock in KnockDetector(Knocks.BEATS).feed(samples)]
    assert len(knocks) >= 14
    apart_s = np.diff(knocks)
    assert apart_s == pytest.approx(60 / 66, abs=0.01)
    assert knocks[-1] <= 14.0

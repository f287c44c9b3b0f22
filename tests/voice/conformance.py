"""What every voice promises; each real voice is held to it."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest

from coach.ports import Clip, VoiceError
from coach.voice.spoken import call
from coach.voice.synthesised import SynthesisedVoice

RATE_HZ = 48_000
TARGET_LUFS = -23.0
LINES = (
    "Lie down or sit, and let your shoulders go heavy.",
    "Your first pulse was sixty eight beats a minute.",
    "Breathe out slowly. There is no hurry.",
    "I heard twenty two. Is that right?",
)
CALLS = [call(second) for second in range(10, 601, 10)]


def sounding_s(clip: Clip) -> tuple[float, float]:
    """When the first and the last sample over a hundredth of the peak sound."""
    size = np.abs(clip.samples)
    loud = np.flatnonzero(size > size.max() / 100)
    return loud[0] / clip.rate_hz, loud[-1] / clip.rate_hz


class VoiceConformance:
    """Subclasses give the fixtures `voice` and `stranger`: the same voice, nothing shared."""

    @pytest.mark.parametrize("text", [*LINES, "one ten"])
    def test_the_same_arguments_give_the_same_samples(
        self, voice: SynthesisedVoice, stranger: SynthesisedVoice, text: str
    ) -> None:
        first = voice.speak(text, RATE_HZ)
        kept = voice.speak(text, RATE_HZ)
        elsewhere = stranger.speak(text, RATE_HZ)
        np.testing.assert_array_equal(first.samples, kept.samples)
        np.testing.assert_array_equal(first.samples, elsewhere.samples)

    def test_a_line_sounds_the_same_alone_and_among_others(
        self, voice: SynthesisedVoice, stranger: SynthesisedVoice
    ) -> None:
        together = voice.speak_all([LINES[0], "ten", LINES[1], LINES[0]], RATE_HZ, 1.1)
        alone = stranger.speak(LINES[1], RATE_HZ, 1.1)
        assert [clip.text for clip in together] == [LINES[0], "ten", LINES[1], LINES[0]]
        np.testing.assert_array_equal(together[2].samples, alone.samples)
        np.testing.assert_array_equal(together[0].samples, together[3].samples)

    @pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000])
    def test_a_clip_is_float32_at_the_rate_of_the_room(
        self, voice: SynthesisedVoice, rate_hz: int
    ) -> None:
        clip = voice.speak(LINES[0], rate_hz)
        assert clip.rate_hz == rate_hz
        assert clip.samples.dtype == np.float32
        assert clip.duration_s == pytest.approx(voice.speak(LINES[0], RATE_HZ).duration_s, abs=0.01)

    @pytest.mark.parametrize("text", [*LINES, "ten", "one ten", "five minutes", "seven twenty"])
    def test_speech_begins_at_once_and_nothing_trails(
        self, voice: SynthesisedVoice, text: str
    ) -> None:
        clip = voice.speak(text, RATE_HZ)
        begins_s, ends_s = sounding_s(clip)
        assert begins_s < 0.06
        assert clip.duration_s - ends_s < 0.15
        assert abs(clip.samples[0]) < 0.001
        assert abs(clip.samples[-1]) < 0.001

    @pytest.mark.parametrize("text", LINES)
    def test_a_line_is_as_loud_as_wanted(self, voice: SynthesisedVoice, text: str) -> None:
        clip = voice.speak(text, RATE_HZ)
        assert clip.duration_s > 1.0
        measured = pyloudnorm.Meter(RATE_HZ).integrated_loudness(clip.samples.astype(np.float64))
        assert measured == pytest.approx(TARGET_LUFS, abs=1.0)

    def test_time_calls_are_short_and_none_is_cut_off_or_shouted(
        self, voice: SynthesisedVoice
    ) -> None:
        # At most 1.2 s: our own limit, so that a call is over before the next second is.
        for clip in voice.speak_all(CALLS, RATE_HZ):
            assert 0.25 < clip.duration_s <= 1.2, clip.text
            assert 0.05 < np.abs(clip.samples).max() <= 10 ** (-1 / 20), clip.text

    def test_speed_changes_the_length_and_not_the_pitch(self, voice: SynthesisedVoice) -> None:
        slow, usual, fast = (voice.speak(LINES[0], RATE_HZ, speed) for speed in (0.8, 1.0, 1.25))
        assert 1.1 < slow.duration_s / usual.duration_s < 1.5
        assert 1.1 < usual.duration_s / fast.duration_s < 1.5
        assert centroid_hz(slow) == pytest.approx(centroid_hz(fast), rel=0.15)

    @pytest.mark.parametrize("text", ["", "   ", "...", "?!"])
    def test_a_text_without_words_is_refused_by_name(
        self, voice: SynthesisedVoice, text: str
    ) -> None:
        with pytest.raises(VoiceError, match="nothing that can be spoken") as refused:
            voice.speak(text, RATE_HZ)
        assert repr(text) in str(refused.value)

    @pytest.mark.parametrize("speed", [0.0, -1.0, 0.3, 5.0])
    def test_a_speed_nobody_can_follow_is_refused(
        self, voice: SynthesisedVoice, speed: float
    ) -> None:
        with pytest.raises(VoiceError, match="speed"):
            voice.speak("ten", RATE_HZ, speed)

    def test_the_voice_has_a_name(self, voice: SynthesisedVoice) -> None:
        assert voice.name


def centroid_hz(clip: Clip) -> float:
    """The centre of the spectrum: moves with a tape's speed, stays when only the pace changes."""
    spectrum = np.abs(np.fft.rfft(clip.samples)) ** 2
    pitch_hz = np.fft.rfftfreq(len(clip.samples), 1 / clip.rate_hz)
    return float((spectrum * pitch_hz).sum() / spectrum.sum())

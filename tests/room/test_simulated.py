"""The simulated room: exact, repeatable, and the coach's own voice really comes back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from coach.ports import EAR_RATE_HZ, Audio, Block, Clip, Room
from coach.practice.events import CueDone, CueDue, Event, Interrupted, Rank
from coach.room.people import Moment
from coach.room.scene import Act, Echo, Participant, RoomSpec, Scene
from coach.room.simulated import BLOCK_S, GRACE_S, SimulatedRoom
from coach.room.speaker import Speaker

QUIET = RoomSpec(noise_db=-120.0, echo=Echo(0.05, -20.0, 0.0))


def noise_clip(duration_s: float = 0.5) -> Clip:
    samples = np.random.default_rng(5).uniform(-0.3, 0.3, round(duration_s * EAR_RATE_HZ))
    return Clip("noise", samples.astype(np.float32), EAR_RATE_HZ)


class Noisy:
    """A voice of noise."""

    name = "noisy"

    def speak(self, text: str, rate_hz: int, speed: float = 1.0) -> Clip:
        return noise_clip()


def scene(*acts: Act, room: RoomSpec = QUIET, seed: int = 1, limit_s: float = 3600.0) -> Scene:
    people = (Participant(1, "Ruska", acts=acts, delay_s=0.0),)
    return Scene("try", "first-lesson", seed=seed, limit_s=limit_s, room=room, participants=people)


def opened(script: Scene) -> SimulatedRoom:
    return SimulatedRoom(script, lambda _: Noisy())


def run_to(room: SimulatedRoom, until_s: float) -> tuple[list[Block], list[Event]]:
    blocks: list[Block] = []
    events: list[Event] = []
    for moment in room.moments():
        (blocks if isinstance(moment, Block) else events).append(moment)  # type: ignore[arg-type]
        if room.now_s() >= until_s - 1e-9:
            room.close()
    return blocks, events


def microphone(blocks: list[Block]) -> Audio:
    return np.concatenate([block.microphone for block in blocks])


def played(blocks: list[Block]) -> Audio:
    return np.concatenate([block.played for block in blocks])


def test_it_keeps_the_promise_of_a_room() -> None:
    room: Room = opened(scene())
    assert room.rate_hz == EAR_RATE_HZ
    assert room.now_s() == 0.0


def test_blocks_follow_each_other_without_a_gap() -> None:
    blocks, _ = run_to(opened(scene()), 2.0)
    starts = [block.start_s for block in blocks]
    assert starts == pytest.approx(np.arange(len(blocks)) * BLOCK_S)
    assert all(len(block.microphone) == len(block.played) == 320 for block in blocks)


def test_what_is_played_comes_back_later_and_softer() -> None:
    room = opened(scene())
    room.mixer.play(1, noise_clip(), 0.3)
    blocks, _ = run_to(room, 1.5)
    sent, came = played(blocks).astype(np.float64), microphone(blocks).astype(np.float64)
    lags = np.correlate(came, sent[:EAR_RATE_HZ], "valid")
    assert int(np.argmax(lags)) == round(0.05 * EAR_RATE_HZ)
    energy = np.sum(came**2) / np.sum(sent**2)
    assert 10 * np.log10(energy) == pytest.approx(-20.0, abs=0.1)


def test_participants_noise_and_echo_add_up() -> None:
    room = opened(scene(Act(at_s=0.5, say="x"), room=RoomSpec(-40.0, Echo(0.05, -20.0))))
    blocks, _ = run_to(room, 3.0)
    sound = microphone(blocks).astype(np.float64)
    before, after = sound[: EAR_RATE_HZ // 3], sound[EAR_RATE_HZ // 2 : EAR_RATE_HZ]
    assert 20 * np.log10(np.std(before)) == pytest.approx(-40.0, abs=3.0)
    assert 20 * np.log10(np.std(after)) == pytest.approx(-26.0, abs=0.5)
    assert not played(blocks).any()


def test_the_microphone_never_leaves_full_scale() -> None:
    room = opened(scene(room=RoomSpec(0.0, Echo())))
    blocks, _ = run_to(room, 1.0)
    assert np.abs(microphone(blocks)).max() == 1.0


def test_a_scene_run_twice_gives_the_same_sound_and_events_and_another_seed_another() -> None:
    def once(seed: int) -> tuple[Audio, list[Event], list[float]]:
        act = Act(after="hold:main", delay_s=0.7, knock=2)
        room = opened(scene(act, room=RoomSpec(-50.0, Echo(distortion=0.2)), seed=seed))
        speaker = Speaker(room.mixer, room.calendar, room.now_s, 0.3)
        room.name_cue(1, "hold:main")
        speaker.say(1, noise_clip(), Rank.TIMING, at_s=1.0)
        room.calendar.add(2, 1.5)
        sound: list[Audio] = []
        events: list[Event] = []
        for moment in room.moments():
            if isinstance(moment, Block):
                sound.append(moment.microphone)
                if room.now_s() > 4:
                    room.close()
            elif not (isinstance(moment, CueDue) and speaker.due(moment)):
                events.append(moment)
        return np.concatenate(sound), events, [done.onset_s for done in room.log.acts]

    first, second, other = once(1), once(1), once(2)
    np.testing.assert_array_equal(first[0], second[0])
    assert first[1:] == second[1:] == other[1:]
    assert not np.array_equal(first[0], other[0])
    assert first[1] == [
        CueDone(1.5, 1, 1.0),
        CueDue(1.5, 2),
    ]
    assert first[2] == [pytest.approx(1.7)]


def test_events_come_before_the_block_in_which_they_fell_and_in_order() -> None:
    room = opened(scene())
    room.mixer.play(1, noise_clip(), 0.0)
    for cue, due_s in ((2, 0.509), (3, 0.5), (4, 0.491)):
        room.calendar.add(cue, due_s)
    latest_s = 0.0
    seen: list[int] = []
    for moment in room.moments():
        if isinstance(moment, Block):
            assert latest_s <= moment.start_s + BLOCK_S + 1e-9
            latest_s = moment.start_s + BLOCK_S
        elif isinstance(moment, CueDue | CueDone):
            assert latest_s <= moment.at_s <= room.now_s() + 1e-9
            latest_s = moment.at_s
            seen.append(moment.cue)
        if room.now_s() > 0.8:
            room.close()
    assert seen == [4, 1, 3, 2]


def test_named_cues_become_moments_with_beginning_and_end() -> None:
    room = opened(scene(Act(after="a", edge="end", delay_s=0.25, say="x")))
    for cue, name in ((1, "a"), (2, "never"), (3, "b")):
        room.name_cue(cue, name)
    room.mixer.play(1, noise_clip(), 0.1)
    room.mixer.play(9, noise_clip(), 0.2)
    room.mixer.skip(2)
    room.mixer.play(3, noise_clip(9.0), 2.0)
    run_to(room, 3.0)
    assert room.log.moments == [
        Moment("a", 0.1, 0.6, "noise"),
        Moment("b", 2.0, None, "noise"),
    ]
    assert [done.onset_s for done in room.log.acts] == [pytest.approx(0.85)]


def test_the_saved_sound_is_what_one_would_have_heard(tmp_path: Path) -> None:
    room = opened(scene(Act(at_s=2.0, say="x"), room=RoomSpec(-30.0, Echo(gain_db=0.0))))
    room.mixer.play(1, noise_clip(), 0.5)
    run_to(room, 3.0)
    room.save(tmp_path / "session.wav")
    sound, rate_hz = soundfile.read(tmp_path / "session.wav")
    assert (rate_hz, len(sound)) == (EAR_RATE_HZ, 3 * EAR_RATE_HZ)
    loud = np.flatnonzero(np.abs(sound) > 0.01) / rate_hz
    assert loud[0] == pytest.approx(0.5, abs=0.001)
    assert loud[-1] == pytest.approx(2.5, abs=0.001)
    assert not np.any((loud > 1.01) & (loud < 1.99)), "neither echo nor noise"


def test_saving_where_one_cannot_is_an_os_error(tmp_path: Path) -> None:
    room = opened(scene())
    with pytest.raises(OSError, match="nowhere"):
        room.save(tmp_path / "nowhere" / "session.wav")


def test_closed_in_the_middle_of_a_block_nothing_more_comes() -> None:
    room = opened(scene())
    room.calendar.add(1, 0.1)
    room.calendar.add(2, 0.1)
    after: list[Block | Event] = []
    for moment in room.moments():
        if isinstance(moment, CueDue):
            room.close()
            after = []
        after.append(moment)
    assert after == [CueDue(0.1, 1)]


def test_a_session_past_the_limit_of_its_scene_is_interrupted_then_ended() -> None:
    room = opened(scene(limit_s=1.0))
    events = [moment for moment in room.moments() if not isinstance(moment, Block)]
    assert events == [Interrupted(1.0)]
    assert room.now_s() == pytest.approx(1.0 + GRACE_S)

"""The live room on real PortAudio streams in a real sound server."""

from __future__ import annotations

import re
import time
from pathlib import Path

import numpy as np
import pytest

from coach.room.alignment import AHEAD_S
from tests.room.live.conftest import result, start
from tests.soundserver import SoundServer, end

pytestmark = pytest.mark.sound_server


def test_calls_begin_at_their_marks_on_both_sides_of_the_air(server: SoundServer) -> None:
    found = result(start(server, "onsets", "20"))
    marks_s = np.array(found["marks_s"])
    frame_s = 1 / 48_000
    assert found["promised_s"] == pytest.approx(marks_s, abs=frame_s)
    assert found["done_s"] == pytest.approx(marks_s, abs=frame_s)
    # two samples of the ear: conversion between the rates rounds to one
    assert np.array(found["played_s"]) + AHEAD_S == pytest.approx(marks_s, abs=2 / 16_000)
    late_s = np.array(found["recorded_s"]) - marks_s
    # Bar for a live call: 30 ms. The smallest error people hear is 6 ms (Friberg and Sundberg,
    # "Time discrimination in a monotonic, isochronous sequence", J. Acoust. Soc. Am. 98, 1995).
    assert np.abs(late_s).max() < 0.03
    assert np.ptp(late_s) < 0.006
    assert found["gapless"]


def test_time_goes_on_through_a_lost_device_and_sound_comes_back(server: SoundServer) -> None:
    process = start(server, "loss", "30", "25")
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    time.sleep(1.5)
    server.stop()
    time.sleep(2.0)
    server.start()
    found = result(process)
    names = [name for name, _ in found["events"]]
    assert names == ["RoomLost", "CueDue", "RoomBack"]
    (lost_s, cue_s, back_s) = (at_s for _, at_s in found["events"])
    assert found["what"][0] in ("microphone", "loudspeaker")
    assert lost_s < 3.0
    assert cue_s == pytest.approx(3.5, abs=0.2)  # while there was no device
    assert abs(found["drift_s"]) < 0.02
    assert found["gapless"]
    heard = {
        "before": [level for at_s, level in found["levels"] if 0.7 < at_s < lost_s - 0.3],
        "without": [level for at_s, level in found["levels"] if lost_s + 0.3 < at_s < 3.4],
        "after": [level for at_s, level in found["levels"] if at_s > back_s + 0.3],
    }
    assert min(heard["before"]) > 0.05
    assert max(heard["without"]) < 0.001
    assert min(heard["after"]) > 0.05  # the same clip sounds on: its time has not stood still


def test_a_device_of_nobody_is_a_lost_device(server: SoundServer) -> None:
    """The sound server moves the streams to its dummy, where they run on as if nothing was."""
    process = start(server, "loss", "30", "25")
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(1.0)
    server.unplug()
    time.sleep(3.0)
    server.plug()
    found = result(process)
    assert [name for name, _ in found["events"]] == ["RoomLost", "CueDue", "RoomBack"]
    (lost_s, cue_s, back_s) = (at_s for _, at_s in found["events"])
    assert lost_s < 3.5  # looked for every second
    assert cue_s == pytest.approx(3.5, abs=0.2)
    assert back_s > 4.0
    assert abs(found["drift_s"]) < 0.02
    assert found["gapless"]
    assert min(level for at_s, level in found["levels"] if at_s > back_s + 0.3) > 0.05


def test_without_its_microphone_the_loudspeaker_goes_on(server: SoundServer) -> None:
    """A microphone is gone, and the sound server records what the loudspeaker plays instead."""
    plug = ["load-module", "module-null-source", "source_name=desk", "rate=50000", "channels=1"]
    server.call("pactl", *plug)
    server.call("pactl", "set-default-source", "desk")
    process = start(server, "loss", "30", "25")
    assert process.stdout is not None
    process.stdout.readline()
    heard = server.folder / "heard.raw"
    time.sleep(1.0)
    recorder = server.guest(
        "parecord", "--device=room.monitor", "--latency-msec=10", "--rate=48000", "--channels=1",
        "--format=s16le", "--raw", str(heard),
    )  # fmt: skip
    server.call("pactl", "unload-module", "module-null-source")
    time.sleep(3.0)
    end(recorder)  # the server would give it the microphone that comes back
    server.call("pactl", *plug)
    server.call("pactl", "set-default-source", "desk")
    found = result(process)
    assert [name for name, _ in found["events"]] == ["RoomLost", "CueDue", "RoomBack"]
    assert found["what"] == ["microphone"]
    assert found["events"][0][1] < 3.5
    assert found["events"][2][1] > 4.0
    assert abs(found["drift_s"]) < 0.02
    assert found["gapless"]
    tone = np.frombuffer(heard.read_bytes(), np.int16)[4800:] / 32768
    assert len(tone) > 2.5 * 48_000
    assert tone.min() > 0.05  # it is one level, 0.1


def test_a_session_does_not_begin_with_a_device_of_nobody(server: SoundServer) -> None:
    server.unplug()
    line = result(start(server, "refused", ""))
    assert line.startswith("there is no loudspeaker: plug one in")
    assert "\n" not in line


def test_a_device_that_stays_away_ends_the_session_as_an_interruption(
    server: SoundServer,
) -> None:
    process = start(server, "loss", "3", "25")
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(1.0)
    server.stop()
    found = result(process)
    names = [name for name, _ in found["events"]]
    assert names == ["RoomLost", "CueDue", "Interrupted"]
    lost_s, gone_s = found["events"][0][1], found["events"][2][1]
    assert gone_s - lost_s == pytest.approx(3.0, abs=0.3)


def test_a_name_that_no_device_has_is_refused_with_what_there_is(server: SoundServer) -> None:
    line = result(start(server, "refused", "wonderphone"))
    assert line.startswith("room.input = 'wonderphone' is no microphone; there is: ")
    assert "'pulse'" in line
    assert "\n" not in line


def test_without_any_device_one_line_says_so(server: SoundServer) -> None:
    if list(Path("/dev/snd").glob("pcm*")):
        pytest.skip("this machine has a sound card")
    system = Path("/usr/share/alsa/alsa.conf").read_text()
    plugless = re.sub(r"files \[[^]]*\]", 'files [ "/nowhere" ]', system, count=1)
    (server.folder / "asound.conf").write_text(plugless)
    line = result(start(server, "refused", ""))
    assert line.startswith(("there are no sound devices", "there is no loudspeaker"))
    assert "plug one in" in line
    assert "\n" not in line


def test_a_sound_system_that_hangs_is_told_and_does_not_hang_the_program(
    server: SoundServer,
) -> None:
    server.freeze()
    line = result(start(server, "refused", ""))
    assert line.startswith("the sound system does not answer; restart it")
    assert "\n" not in line


def test_a_sound_system_that_hangs_for_a_while_is_a_lost_device(server: SoundServer) -> None:
    process = start(server, "loss", "30", "25")
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(0.8)
    server.freeze()
    time.sleep(4.0)
    server.freeze(False)
    found = result(process)
    assert [name for name, _ in found["events"]] == ["RoomLost", "CueDue", "RoomBack"]
    assert abs(found["drift_s"]) < 0.02
    assert found["gapless"]

"""`coach listen` in a room: ready, deaf to all but its name, ended by SIGTERM."""

from __future__ import annotations

import socket

import pytest

from tests.room.live.conftest import Later
from tests.room.live.person import Person, coach, lived
from tests.soundserver import SoundServer

pytestmark = pytest.mark.sound_server


@pytest.fixture
def echo_db() -> float:
    """A room with an echo."""
    return -15.0


def test_it_is_ready_wakes_at_its_name_only_and_ends_cleanly(
    server: SoundServer, later: Later
) -> None:
    person = Person(server)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address := str(server.folder / "notify"))
        manager.setblocking(False)
        server.environment |= {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "120000000"}
        process = coach(server, "listen")
        lines: list[str] = []

        def react(line: str) -> None:
            lines.append(line)
            if "I am quiet now" in line and len(lines) < 5:
                # an order without the name, then the name; again, should it not be understood
                later(2.0, person.say, "start relaxation")
                for after_s in (8.0, 13.0):
                    later(after_s, person.say, "coach")
                later(40.0, process.kill)
            if "I am here" in line:
                process.terminate()

        text = lived(process, react)
        told = []
        try:
            while True:
                told.append(manager.recv(100).decode())
        except BlockingIOError:
            pass
    assert process.returncode == 0, text
    talk = [line for line in lines if "  coach  " in line]
    assert "I am quiet now" in talk[0]
    assert "I am here" in talk[1], text  # nothing in between: the order alone did nothing
    assert told[0] == "READY=1"
    assert told[-1] == "STOPPING=1"
    assert "WATCHDOG=1" in told

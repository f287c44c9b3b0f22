"""The live room, in this process: PortAudio is led to a sound server of the tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from unittest import mock

import pytest

from coach.room.live import LiveRoom
from coach.room.streams import restart_portaudio
from coach.settings import RoomSettings
from tests.room.conformance import RoomConformance
from tests.room.live.conftest import cannot_run
from tests.soundserver import SoundServer

pytestmark = pytest.mark.sound_server


@pytest.fixture(scope="module")
def quick_server() -> Iterator[SoundServer]:
    """One server for the module: each start takes two seconds."""
    cannot_run()
    server = SoundServer()
    with mock.patch.dict(os.environ, server.environment):
        try:
            server.start()
            restart_portaudio()
            yield server
        finally:
            server.close()


class TestLiveRoom(RoomConformance):
    @pytest.fixture
    def room(self, quick_server: SoundServer) -> Iterator[LiveRoom]:
        room = LiveRoom(RoomSettings())
        yield room
        room.close()

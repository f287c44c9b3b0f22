from __future__ import annotations

import pytest

from coach.room.scene import Echo, RoomSpec, Scene
from coach.room.simulated import SimulatedRoom
from coach.voice.choose import participant_voice
from tests.room.conformance import RoomConformance


class TestSimulatedRoom(RoomConformance):
    @pytest.fixture
    def room(self) -> SimulatedRoom:
        spec = RoomSpec(noise_db=-70.0, echo=Echo(0.03, -10.0, 0.0))
        return SimulatedRoom(
            Scene("try", plan="first-lesson", seed=1, room=spec), participant_voice
        )

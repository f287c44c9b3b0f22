from __future__ import annotations

import pytest

from coach.ear.listener import Listener
from coach.ear.model import SpeechModel
from coach.ear.scripted import ScriptedEar
from tests.ear.conformance import EarConformance, MakeEar


class TestListener(EarConformance):
    @pytest.fixture
    def make_ear(self, model: SpeechModel) -> MakeEar:
        return lambda script: Listener(model)


class TestScriptedEar(EarConformance):
    @pytest.fixture
    def make_ear(self) -> MakeEar:
        return ScriptedEar

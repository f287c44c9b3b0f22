from __future__ import annotations

import pytest

from coach.ear.model import SpeechModel, shipped_model


@pytest.fixture(scope="session")
def model() -> SpeechModel:
    return SpeechModel(shipped_model())

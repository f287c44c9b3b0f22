"""`coach check`: what works here, and how to mend what does not."""

from __future__ import annotations

from pathlib import Path

from coach.app.equipment import Equipment
from coach.ear.own_voice import OwnVoice
from coach.room.check import Kit, run_check
from coach.settings import Settings
from coach.voice.tones import tone


def check(
    settings: Settings,
    model: str | None,
    *,
    as_json: bool,
    ask: bool,
    store: Path | None,
    contact: bool,
) -> int:
    """Check everything; 0 if a practice would work. Raises BadInput."""
    equipment = Equipment.of(settings, model)
    kit = Kit(
        voice=equipment.voice,
        ear=lambda: equipment.ear(),
        canceller=OwnVoice,
        text=lambda line: equipment.lines.text(line, {}),
        tone=tone,
    )
    return run_check(settings, kit, as_json=as_json, ask=ask, store=store, contact=contact)

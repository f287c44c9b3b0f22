"""The one table of transitions: what it allows, and that the page for contributors shows it."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from coach.practice import phases
from coach.practice.phases import TABLE, Because, Phase, allowed, diagram

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
START, END = "<!-- transitions -->", "<!-- /transitions -->"


def shown() -> list[str]:
    """The diagram as it stands in DEVELOPERS.md, without its fence."""
    block = PAGE.read_text(encoding="utf-8").split(START)[1].split(END)[0]
    return [line for line in block.strip().splitlines() if not line.startswith("```")]


def test_the_page_for_contributors_shows_this_very_table() -> None:
    renew = f"{PAGE.name} is stale between {START} and {END}; renew it with the output of"
    assert shown() == diagram().splitlines(), f"{renew} `python -m coach.practice.phases`"


def test_the_command_that_renews_it_prints_the_diagram(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(phases.__file__, run_name="__main__")
    assert capsys.readouterr().out.strip() == diagram()


def test_every_phase_has_a_row_and_nothing_leads_out_of_the_end() -> None:
    assert set(TABLE) == set(Phase)
    assert TABLE[Phase.OVER] == {}
    assert all(Phase.IDLE not in targets for row in TABLE.values() for targets in row.values())


@pytest.mark.parametrize("phase", [p for p in Phase if p is not Phase.OVER])
def test_every_phase_can_be_ended(phase: Phase) -> None:
    assert allowed(phase, Because.END, Phase.OVER)


@pytest.mark.parametrize("phase", [p for p in Phase if p not in (Phase.OVER, Phase.IDLE)])
def test_stop_and_not_well_lead_out_of_every_phase(phase: Phase) -> None:
    assert allowed(phase, Because.STOP, Phase.OVER)
    assert allowed(phase, Because.STOP, Phase.SPEAKING)  # the last words
    assert allowed(phase, Because.UNSAFE, Phase.CHECKING)  # watched and asked


@pytest.mark.parametrize("phase", [Phase.HOLDING, Phase.CHECKING])
def test_a_hold_and_a_check_in_are_never_paused(phase: Phase) -> None:
    assert Because.PAUSE not in TABLE[phase]


def test_a_check_in_does_not_wait_for_a_lost_room() -> None:
    assert Because.LOST not in TABLE[Phase.CHECKING]


def test_out_of_a_pause_leads_only_what_was_meant() -> None:
    assert set(TABLE[Phase.PAUSED]) == {
        Because.GO_ON,
        Because.UNSAFE,
        Because.STOP,
        Because.LOST,
        Because.END,
    }


def test_what_is_not_in_the_table_is_not_allowed() -> None:
    assert not allowed(Phase.OVER, Because.NEXT, Phase.SPEAKING)
    assert not allowed(Phase.SPEAKING, Because.PAUSE, Phase.OVER)
    assert not allowed(Phase.LOST, Because.PAUSE, Phase.PAUSED)

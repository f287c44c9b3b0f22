"""The ear's twin: it hears what a script says is in the air, without sound or recogniser.

It keeps the promises of ports.Ear (tests/ear/conformance.py), so the conductor can be driven
with words at exact times.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coach.ear.grammar import Grammar, grammar_path, load_grammar
from coach.ports import EAR_RATE_HZ, Block, EarEvent
from coach.practice.events import Heard, Knocked, Knocks, Unclear

SURE_AFTER_S = 0.45  # how long after its end an answer is sure ...
STOP_AFTER_S = 0.15  # ... and a stopping word


@dataclass(frozen=True, slots=True)
class Said:
    """Words in the air, in room seconds."""

    onset_s: float
    end_s: float
    text: str


@dataclass(frozen=True, slots=True)
class Knock:
    """One knock or a quick pair; `onset_s` is the first's, in room seconds."""

    onset_s: float
    count: int = 1


class ScriptedEar:
    """An ear that knows beforehand what there will be to hear."""

    def __init__(self, script: Iterable[Said | Knock], name_of_coach: str = "coach") -> None:
        self._script = sorted(script, key=lambda item: item.onset_s)
        self._name_of_coach = name_of_coach
        self._grammar = Grammar("", {})
        self._knocks = Knocks.OFF
        self._from_s = 0.0
        self._now_s = 0.0

    def attend(self, situation: str, knocks: Knocks) -> None:
        """See Ear."""
        self._grammar = load_grammar(grammar_path(situation), self._name_of_coach)
        self._knocks = knocks
        self._from_s = self._now_s

    def feed(self, block: Block) -> list[EarEvent]:
        """See Ear."""
        self._now_s = block.start_s + len(block.microphone) / EAR_RATE_HZ
        events: list[EarEvent] = []
        for item in list(self._script):
            event = self._knocked(item) if isinstance(item, Knock) else self._heard(item)
            if event.at_s <= self._now_s:
                self._script.remove(item)
                known = self._knocks is not Knocks.OFF or not isinstance(item, Knock)
                if known and item.onset_s >= self._from_s:
                    events.append(event)
        return events

    def _heard(self, said: Said) -> Heard | Unclear:
        meaning = self._grammar.meaning(said.text)
        if meaning is None or meaning.is_decoy:
            return Unclear(said.end_s + SURE_AFTER_S, said.onset_s, said.end_s)
        wait_s = STOP_AFTER_S if meaning.stops else SURE_AFTER_S
        return Heard(
            said.end_s + wait_s,
            said.onset_s,
            said.end_s,
            meaning.command,
            meaning.number,
            meaning.participant,
            said.text,
        )

    def _knocked(self, knock: Knock) -> Knocked:
        wait_s = 0.9 if knock.count == 1 else 0.6  # the pair, and the quiet after it
        return Knocked(knock.onset_s + wait_s, knock.onset_s, knock.count)

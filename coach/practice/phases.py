"""The phases of a session and every way from one to another.

This is the one table. The conductor may move only along it; DEVELOPERS.md shows it as a diagram
made from here, and a test fails when that is stale.
"""

from __future__ import annotations

from enum import StrEnum


class Phase(StrEnum):
    """Where a session stands."""

    IDLE = "idle"  # nothing has begun
    SPEAKING = "speaking"  # lines, breathing, rest, relaxation
    ASKING = "asking"  # a question waits for its answer
    HOLDING = "holding"  # somebody holds
    COUNTING = "counting"  # a pulse window runs
    TAKING = "taking"  # a number is taken, read back, corrected
    CHECKING = "checking"  # after a hold: watched, and asked until there is an answer
    PAUSED = "paused"  # everything waits
    LOST = "lost"  # microphone or loudspeaker is gone
    OVER = "over"  # finished; nothing leads out


class Because(StrEnum):
    """What moves a session from phase to phase."""

    BEGIN = "begin"
    NEXT = "act over"  # the act in hand is over, the next begins
    PAUSE = "pause"
    GO_ON = "go on"
    UNSAFE = "unwell, dizzy, tingling, fainted"
    STOP = "stop"
    LOST = "room lost"
    BACK = "room back"
    END = "nothing left, cannot keep, interrupted"


_ACTS = frozenset(
    {
        Phase.SPEAKING, Phase.ASKING, Phase.HOLDING, Phase.COUNTING, Phase.TAKING, Phase.CHECKING,
    }
)  # fmt: skip
_AFTERWARDS = frozenset({Phase.SPEAKING, Phase.CHECKING, Phase.OVER})
_OVER = frozenset({Phase.OVER})


def _row(*, pause: bool) -> dict[Because, frozenset[Phase]]:
    row = {
        Because.NEXT: _ACTS | _OVER,
        Because.UNSAFE: _AFTERWARDS,
        Because.STOP: _AFTERWARDS,
        Because.LOST: frozenset({Phase.LOST}),
        Because.END: _OVER,
    }
    return row | {Because.PAUSE: frozenset({Phase.PAUSED})} if pause else row


TABLE: dict[Phase, dict[Because, frozenset[Phase]]] = {
    Phase.IDLE: {Because.BEGIN: _ACTS | _OVER, Because.END: _OVER},
    Phase.SPEAKING: _row(pause=True),
    Phase.ASKING: _row(pause=True),
    # a hold is not paused and not left: it ends, and a check-in follows; before its mark it waits
    Phase.HOLDING: _row(pause=False),
    Phase.COUNTING: _row(pause=True),
    Phase.TAKING: _row(pause=True),
    # the watch and the check-in are neither paused nor skipped, and go on in a lost room
    Phase.CHECKING: {
        because: targets
        for because, targets in _row(pause=False).items()
        if because is not Because.LOST
    },
    Phase.PAUSED: {
        Because.GO_ON: _ACTS,
        Because.UNSAFE: _AFTERWARDS,
        Because.STOP: _AFTERWARDS,
        Because.LOST: frozenset({Phase.LOST}),
        Because.END: _OVER,
    },
    Phase.LOST: {
        Because.BACK: _ACTS | {Phase.PAUSED},
        Because.UNSAFE: _AFTERWARDS,
        Because.STOP: _AFTERWARDS,
        Because.END: _OVER,
    },
    Phase.OVER: {},
}


def allowed(origin: Phase, because: Because, target: Phase) -> bool:
    """Whether the table has this way."""
    return target in TABLE[origin].get(because, frozenset())


def diagram() -> str:
    """The table as a Mermaid state diagram."""
    lines = ["stateDiagram-v2", "    [*] --> idle"]
    for origin, row in TABLE.items():
        ways: dict[Phase, list[str]] = {}
        for because, targets in row.items():
            for target in targets:
                ways.setdefault(target, []).append(because.value)
        for target in sorted(ways):
            reasons = "; ".join(sorted(ways[target]))
            lines.append(f"    {origin.value} --> {target.value}: {reasons}")
    lines.append("    over --> [*]")
    return "\n".join(lines)


if __name__ == "__main__":
    print(diagram())

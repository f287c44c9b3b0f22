"""What is said of one session afterwards: only what its numbers carry, and like with like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coach.practice.events import Value
from coach.practice.kept import Hold, Pulse
from coach.practice.stage import Ledger

Said = tuple[str, Mapping[str, Value]]

TOLD_TO_ALL = 6  # people in a group of which each one's results are told to all
SAME_HOLD_S = 1.0  # holds this close are called as long as each other
PULSE_ERROR_BPM = 10.0  # two readings a minute apart differ by up to this: no effect is claimed
# (95th percentile of real beat series; tests/reference/test_pulse.py)


def summary_lines(ledger: Ledger, numbers: Sequence[int], group: bool) -> list[Said]:
    """Line names and values, in the order they are spoken.

    In a small group everybody's results are told by number, without ranking; in a larger one
    each asks for his own.
    """
    said: list[Said] = [("sum_start", {})]
    if group:
        holds = {hold.number for hold in ledger.holds}
        said.append(("sum_group", {"people": len(numbers), "holds": len(holds)}))
        for number in numbers if len(numbers) <= TOLD_TO_ALL else ():
            said += [("sum_number", {"participant": number}), *own_lines(ledger, number)]
    else:
        said += [line for number in numbers for line in own_lines(ledger, number)]
    if any(note.what == "alarm" for note in ledger.notes):
        said.append(("sum_alarm", {}))
    if not group and len(ledger.holds) > 1:
        said.append(("sum_caution", {}))
    return said


def own_lines(ledger: Ledger, number: int) -> list[Said]:
    """What one person did in this session."""
    holds = [hold for hold in ledger.holds if hold.participant == number]
    pulses = [pulse for pulse in ledger.pulses if pulse.participant == number]
    return [*_holds(holds), *_pulses(pulses)] or [("sum_nothing", {})]


def _holds(holds: Sequence[Hold]) -> list[Said]:
    said: list[Said] = []
    for hold in holds:
        if hold.duration_s is None:
            said.append(("sum_hold_unknown", {}))
        elif hold.kind in ("baseline", "main"):
            said.append((f"sum_{hold.kind}", {"held": hold.duration_s}))
    said += _gain(holds)
    others = [h for h in holds if h.kind not in ("baseline", "main") and h.duration_s is not None]
    if len(others) == 1:
        said.append(("sum_hold", {"held": others[0].duration_s or 0.0}))
    elif others:
        lengths = [hold.duration_s or 0.0 for hold in others]
        said.append(("sum_several", {"count": len(others), "longest": max(lengths)}))
    first = [hold.contractions_s[0] for hold in holds if hold.contractions_s]
    if first:
        said.append(("sum_contraction", {"onset": first[-1]}))
    return said


def _gain(holds: Sequence[Hold]) -> list[Said]:
    """How the main hold compares with the baseline of the same session."""
    baseline = [h.duration_s for h in holds if h.kind == "baseline" and h.duration_s is not None]
    main = [h.duration_s for h in holds if h.kind == "main" and h.duration_s is not None]
    if not baseline or not main:
        return []
    gain_s = main[-1] - baseline[0]
    if abs(gain_s) < SAME_HOLD_S:
        return [("sum_same", {})]
    return [("sum_longer" if gain_s > 0 else "sum_shorter", {"gain": abs(gain_s)})]


def _pulses(pulses: Sequence[Pulse]) -> list[Said]:
    """Counts of the same session; a small difference is called what it is."""
    by_place = {pulse.place: pulse.bpm for pulse in pulses if pulse.bpm is not None}
    before, after = by_place.get("before"), by_place.get("relaxed")
    morning = [p.bpm for p in pulses if p.place == "morning" and p.bpm is not None]
    if morning:
        return [("sum_morning", {"bpm": round(sum(morning) / len(morning))})]
    if before is None or after is None:
        return [("sum_pulse_one", {"bpm": round(bpm)}) for bpm in list(by_place.values())[-1:]]
    values: Mapping[str, Value] = {
        "before": round(before),
        "after": round(after),
        "difference": round(abs(after - before)),
    }
    if abs(after - before) < PULSE_ERROR_BPM:
        return [("sum_pulse_two", values), ("sum_pulse_same", values)]
    return [("sum_pulse_two", values), ("sum_pulse_differs", values)]

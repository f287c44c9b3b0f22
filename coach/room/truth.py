"""What was kept beside what truly happened in a scene: every hold, count, rate and time call."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypedDict

from coach.practice.kept import Hold, Kept, Pulse
from coach.room.people import Done, SceneLog


class Row(TypedDict):
    """One value; `true` and `kept` in seconds, beats or bpm, None if there is none."""

    what: str
    true: float | None
    kept: float | None
    error: float | None


def truth(log: SceneLog, kept: Iterable[Kept]) -> list[Row]:
    """Holds, then counts and tapped rates, then calls.

    A hold truly lasts from the mark that was sounded to the first audible sound of the act that
    means its end. One that nobody ended before its limit lasts until the coach said so: it stands
    there as `limit`, and its error is how long that word took. A call's true value is its mark,
    its kept value the room time of its first frame. What truly happened and was not kept stands
    there without a kept value.
    """
    latest = {value.key: value for value in kept}.values()
    holds = [value for value in latest if isinstance(value, Hold)]
    pulses = [value for value in latest if isinstance(value, Pulse)]
    return [*_holds(log, holds), *_counts(log, pulses), *_calls(log)]


def table(rows: Iterable[Row]) -> str:
    """The rows as plain text, one line each, for eyes and screen readers alike."""
    rows = list(rows)
    width = max([len(row["what"]) for row in rows], default=0)
    lines = [f"{'what':<{width}}  {'true':>10}  {'kept':>10}  {'error':>8}"]
    for row in rows:
        digits = 0 if row["what"].startswith("count") else 3
        true, kept = (_number(row[key], digits) for key in ("true", "kept"))
        error = _number(row["error"], digits, sign="+")
        lines.append(f"{row['what']:<{width}}  {true:>10}  {kept:>10}  {error:>8}")
    return "\n".join(lines)


def _number(value: float | None, digits: int, sign: str = "") -> str:
    return "none" if value is None else f"{value:{sign}.{digits}f}"


def _row(what: str, true: float | None, kept: float | None) -> Row:
    error = None if true is None or kept is None else round(kept - true, 6)
    return {"what": what, "true": true, "kept": kept, "error": error}


def _named(kind: str, label: str, participant: int, several: bool) -> str:
    return f"{kind} {label}, participant {participant}" if several else f"{kind} {label}"


def _several(log: SceneLog, values: Iterable[Hold | Pulse]) -> bool:
    numbers = {done.participant for done in log.acts if done.participant}
    return len(numbers | {value.participant for value in values}) > 1


def _holds(log: SceneLog, holds: list[Hold]) -> list[Row]:
    several = _several(log, holds)
    ends = [done for done in log.acts if done.act.means]
    own = [done for done in ends if done.act.means == "end"]
    taken: set[int] = set()
    rows = []
    for hold in holds:
        mark_s = _mark_s(log, hold.label, hold.start_s + 0.5)
        mine = [done for done in ends if _ends(done, hold) and id(done) not in taken]
        kept = None if hold.duration_s is None else round(hold.duration_s, 6)
        kind, true = "hold", None
        if mine and mark_s is not None:
            taken |= {id(mine[0])} if mine[0] in own else set()
            true = round(mine[0].onset_s - mark_s, 6)
        elif hold.ended_by == "cap" and mark_s is not None:
            kind, true = "limit", _until_told(log, hold, mark_s)
        rows.append(_row(_named(kind, hold.label, hold.participant, several), true, kept))
    return rows + [_lost(log, done, several) for done in own if id(done) not in taken]


def _ends(done: Done, hold: Hold) -> bool:
    """Whether the act is the end of that hold."""
    mine = done.participant == hold.participant or done.act.means == "end-all"
    return mine and done.act.label == hold.label and done.onset_s >= hold.start_s


def _until_told(log: SceneLog, hold: Hold, mark_s: float) -> float | None:
    """How long a hold lasted that the coach ended."""
    told_s = [m.start_s for m in log.moments if m.name == f"hold-end:{hold.label}"]
    later = [t for t in told_s if t > mark_s]
    return round(later[0] - mark_s, 6) if later else None


def _lost(log: SceneLog, done: Done, several: bool) -> Row:
    """A hold that truly ended and of which nothing was kept."""
    mark_s = _mark_s(log, done.act.label, done.onset_s)
    true = None if mark_s is None else round(done.onset_s - mark_s, 6)
    return _row(_named("hold", done.act.label, done.participant, several), true, None)


def _mark_s(log: SceneLog, label: str, before_s: float) -> float | None:
    """Room time of the last mark of that hold before `before_s`."""
    marks = [m.start_s for m in log.moments if m.name == f"hold:{label}" and m.start_s <= before_s]
    return marks[-1] if marks else None


def _counts(log: SceneLog, pulses: list[Pulse]) -> list[Row]:
    several = _several(log, pulses)
    true: dict[tuple[str, int], float] = {}
    tapped: set[tuple[str, int]] = set()
    for done in log.acts:
        what = done.act.label, done.participant
        if done.act.count is not None:
            true[what] = done.act.count  # the last one is meant
        elif done.act.taps_bpm:
            true[what] = done.act.taps_bpm
            tapped.add(what)
    kept = {
        (pulse.label, pulse.participant): (
            pulse.bpm if (pulse.label, pulse.participant) in tapped else pulse.beats
        )
        for pulse in pulses
    }
    return [
        _row(_named("rate" if what in tapped else "count", *what, several), true.get(what), number)
        for what, number in {**dict.fromkeys(true), **kept}.items()
    ]


def _calls(log: SceneLog) -> list[Row]:
    rows = []
    for moment in log.moments:
        if moment.name.startswith("call:"):
            _, label, seconds = moment.name.split(":")[:3]
            mark_s = _mark_s(log, label, moment.start_s)
            true = None if mark_s is None else round(mark_s + float(seconds), 6)
            rows.append(_row(f"call {label} {seconds} s", true, round(moment.start_s, 6)))
    return rows

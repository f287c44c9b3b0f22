"""Corrections afterwards: the new value is put in place, the old one stays under `corrections`."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from datetime import datetime
from math import isfinite
from typing import Any

from coach.border import BadInput
from coach.practice.pulse import rate_bpm
from coach.practice.safety import UNWELL_ANSWERS
from coach.records.document import LISTS, Document, remember

Value = dict[str, Any]
CHECK_IN_ANSWERS = ("okay", *UNWELL_ANSWERS, "none")


def corrected(made: Document, key: str, field: str, text: str, at: datetime) -> Document:
    """The document with `field` of the value `key` set to what `text` says. Raises BadInput."""
    changed = deepcopy(made)
    name, value = _find(changed, key)
    setters = SETTERS.get(name, {})
    if field not in setters:
        known = ", ".join(setters) or "nothing"
        raise BadInput(f"{made['id']}: {key}: {field} cannot be corrected; {known} can")
    earlier = deepcopy(value)
    try:
        setters[field](value, text)
    except ValueError as error:
        raise BadInput(f"{made['id']}: {key}: {field}: {error}") from None
    value["source"] = {
        "by": "hand", "phrase": "", "confidence": None, "onset_s": None, "noticed_s": None
    }  # fmt: skip
    remember(changed, earlier, "hand", at.isoformat(timespec="seconds"))
    return changed


def _find(made: Document, key: str) -> tuple[str, Value]:
    for name in LISTS.values():
        for value in made[name]:
            if value["key"] == key:
                return name, value
    keys = ", ".join(value["key"] for name in LISTS.values() for value in made[name])
    raise BadInput(f"{made['id']}: has no value {key!r}; it has {keys or 'none'}")


def _number(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not isfinite(number) or number <= 0:
        raise ValueError(f"{text!r} is not a number above zero")
    return number


def _duration(hold: Value, text: str) -> None:
    duration_s = _number(text)
    if any(onset > duration_s for onset in hold["contractions_s"]):
        raise ValueError("is shorter than a contraction that was marked in it")
    hold["duration_s"] = duration_s
    hold["end_s"] = hold["start_s"] + duration_s
    if hold["ended_by"] == "unknown":
        hold["ended_by"] = "hand"


def _contractions(hold: Value, text: str) -> None:
    onsets = sorted(_number(part) for part in text.split(",")) if text != "none" else []
    if onsets and hold["duration_s"] is not None and onsets[-1] > hold["duration_s"]:
        raise ValueError("lies after the end of the hold")
    hold["contractions_s"] = onsets


def _beats(pulse: Value, text: str) -> None:
    beats = _number(text)
    if beats != int(beats):
        raise ValueError(f"{text!r} is not a whole number of beats")
    pulse["beats"] = int(beats)
    pulse["bpm"] = rate_bpm(int(beats), pulse["window_s"])
    pulse["corrected"] = True


def _one_of(field: str, allowed: tuple[str, ...]) -> Callable[[Value, str], None]:
    def put(value: Value, text: str) -> None:
        if text not in allowed:
            raise ValueError(f"{text!r} is not one of {', '.join(allowed)}")
        value[field] = text

    return put


SETTERS: dict[str, dict[str, Callable[[Value, str], None]]] = {
    "holds": {"duration_s": _duration, "contractions_s": _contractions},
    "pulses": {"beats": _beats},
    "check_ins": {"answer": _one_of("answer", CHECK_IN_ANSWERS)},
    "answers": {"answer": _one_of("answer", ("yes", "no", "none"))},
}

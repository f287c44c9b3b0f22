"""What the core is told (events) and what it answers (effects).

Every time is in seconds on the room's clock: frames played or recorded so far, divided by
the sample rate. The core never sees sound, threads or the time of day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from types import MappingProxyType

from coach.practice.kept import Kept

Value = str | int | float
NOTHING: Mapping[str, Value] = MappingProxyType({})


class Rank(IntEnum):
    """Who speaks over whom: a higher rank interrupts a lower one."""

    TALK = 0
    GUIDANCE = 1
    TIMING = 2
    SAFETY = 3


class Knocks(StrEnum):
    """What knocks, tongue clicks and finger snaps mean in a listening situation."""

    OFF = "off"
    MARKS = "marks"  # one marks, two quick ones end
    BEATS = "beats"  # every knock is one beat; pairs are not joined


# --- events -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Begin:
    """The room is open; the session starts."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance that the grammar of the situation allowed.

    "no, fifteen" is one event with a command and a number; "three, up" has a participant.
    """

    at_s: float  # when the ear was sure
    onset_s: float  # when the first word began to sound
    end_s: float
    command: str | None = None
    number: int | None = None
    participant: int | None = None
    text: str = ""
    confidence: float = 1.0


@dataclass(frozen=True, slots=True)
class Unclear:
    """Somebody spoke, and it was nothing that the situation knows."""

    at_s: float
    onset_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Knocked:
    """A knock, click or snap; `count` is 2 for a quick pair, whose onset is the first's."""

    at_s: float
    onset_s: float
    count: int = 1


@dataclass(frozen=True, slots=True)
class CueDue:
    """A `Wait` has run out."""

    at_s: float
    cue: int


@dataclass(frozen=True, slots=True)
class CueDone:
    """A `Say` or `Sound` has ended in the room, or was cut short, or never began.

    `started_s` is the room time of its first frame; None if it was dropped before it began.
    """

    at_s: float
    cue: int
    started_s: float | None
    complete: bool = True


@dataclass(frozen=True, slots=True)
class RoomLost:
    """The microphone or the loudspeaker is gone; `at_s` goes on by the machine's own clock."""

    at_s: float
    what: str


@dataclass(frozen=True, slots=True)
class RoomBack:
    """Sound is back."""

    at_s: float


@dataclass(frozen=True, slots=True)
class KeepFailed:
    """The last `Keep` is not on the disk; effects that followed it were not carried out."""

    at_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Interrupted:
    """Somebody ended the program (Ctrl-C, SIGTERM)."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Remind:
    """A planned practice time has come; `late` if it was more than an hour ago."""

    at_s: float
    late: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What the records answer to a `Tell`: lines to be spoken, in order.

    `plan` is what they propose to begin now, if anything.
    """

    at_s: float
    lines: tuple[tuple[str, Mapping[str, Value]], ...]
    plan: str = ""


@dataclass(frozen=True, slots=True)
class Returned:
    """A `Start` is over; `refusal` says why it never began."""

    at_s: float
    code: int
    refusal: str = ""


Event = (
    Begin | Heard | Unclear | Knocked | CueDue | CueDone | RoomLost | RoomBack | KeepFailed
    | Interrupted | Remind | Told | Returned
)  # fmt: skip


# --- effects ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Say:
    """Speak the line named `line` (config/lines) with `values` filled in.

    With `at_s` its first frame sounds at exactly that time; without, as soon as the voice is
    free. `moment` names the instant it begins for scenes and timelines. `CueDone` follows.
    """

    cue: int
    line: str
    values: Mapping[str, Value] = field(default_factory=lambda: NOTHING)
    rank: Rank = Rank.GUIDANCE
    at_s: float | None = None
    gain_db: float = 0.0
    moment: str = ""


@dataclass(frozen=True, slots=True)
class Sound:
    """Play the tone named `name` (made without the synthesiser); else like `Say`."""

    cue: int
    name: str
    rank: Rank = Rank.TIMING
    at_s: float | None = None
    gain_db: float = 0.0
    moment: str = ""


@dataclass(frozen=True, slots=True)
class Wait:
    """Send `CueDue` at `at_s` (at once if that is past)."""

    cue: int
    at_s: float


@dataclass(frozen=True, slots=True)
class Drop:
    """Forget the cue: a wait is cancelled, a clip not begun is not played, a running one fades."""

    cue: int


@dataclass(frozen=True, slots=True)
class Hush:
    """Fade whatever is sounding and forget what is queued, up to and including `rank`."""

    rank: Rank = Rank.TIMING


@dataclass(frozen=True, slots=True)
class Listen:
    """From now on the ear uses grammars/<situation>.jsgf."""

    situation: str
    knocks: Knocks = Knocks.OFF


@dataclass(frozen=True, slots=True)
class Keep:
    """Put the value on the disk, synced, before the next effect is carried out."""

    kept: Kept


@dataclass(frozen=True, slots=True)
class Adjust:
    """Change the voice for the rest of the session: `what` is "volume" or "speed"."""

    what: str
    step: int  # +1 louder or faster, -1 softer or slower


@dataclass(frozen=True, slots=True)
class Escalate:
    """Nobody answers: do what the configuration says for this participant."""

    participant: int
    reason: str


@dataclass(frozen=True, slots=True)
class Finish:
    """The session is over; `code` is the exit code, `reason` a word for the record."""

    code: int
    reason: str


@dataclass(frozen=True, slots=True)
class Start:
    """Run this plan now for these participants; `Returned` follows."""

    plan: str
    participants: tuple[int, ...]
    alone: bool


@dataclass(frozen=True, slots=True)
class Tell:
    """Look the question up in the records; `Told` follows. `declined`: plans not wanted now."""

    question: str
    participant: int
    declined: frozenset[str] = frozenset()
    slept_badly: bool = False


@dataclass(frozen=True, slots=True)
class Schedule:
    """Remind on this day of the week too ("mo" to "su"), or on none ("never"); `Told` follows."""

    day: str


@dataclass(frozen=True, slots=True)
class Prefer:
    """From now on this participant's knocks count in a hold, or not; `Told` follows."""

    participant: int
    knocks: bool


Errand = Start | Tell | Schedule | Prefer
Effect = Say | Sound | Wait | Drop | Hush | Listen | Keep | Adjust | Escalate | Finish | Errand

"""The phone set and its numbering, shared by the graph, the trainer and the exporter.

Every phone is one state that is entered once (its *forward* output) and may then be held
(its *self-loop* output); the network has one output for each. The four word positions of a
phone share both outputs: position only tells the decoder where words begin and end.

Identifiers follow Kaldi's: phones count from 1, phone ``p`` has the transition ids ``2p - 1``
(self-loop) and ``2p`` (forward), outputs ("pdfs") count from 0.
"""

from collections.abc import Sequence

SILENCE = "SIL"
GARBAGE = "SPN"
_SPEECH = """AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH
UH UW V W Y Z ZH"""
SPEECH = tuple(_SPEECH.split())
GROUPS = (SILENCE, GARBAGE, *SPEECH)
OUTPUTS = 2 * len(GROUPS)
POSITIONS = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
PHONES = (SILENCE, f"{GARBAGE}_S", *(f"{base}_{where}" for base in SPEECH for where in "BEIS"))
PHONE_ID = {phone: number for number, phone in enumerate(PHONES, start=1)}
TRANSITIONS = 2 * len(PHONES)


def forward_transition(phone: str) -> int:
    """The transition id of entering ``phone`` (a member of PHONES)."""
    return 2 * PHONE_ID[phone]


def loop_transition(phone: str) -> int:
    """The transition id of staying in ``phone`` for another frame."""
    return 2 * PHONE_ID[phone] - 1


def group(phone: str) -> int:
    """The index in GROUPS of a phone with or without its position; outputs are 2g and 2g + 1."""
    return GROUPS.index(phone.split("_")[0])


def with_positions(bases: Sequence[str]) -> list[str]:
    """Phones of one word, e.g. ``["S", "T"]``, as members of PHONES (``["S_B", "T_E"]``)."""
    last = len(bases) - 1
    if last == 0:
        return [f"{bases[0]}_S"]
    return [
        f"{base}_{'B' if i == 0 else 'E' if i == last else 'I'}" for i, base in enumerate(bases)
    ]

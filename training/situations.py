"""Listening situations for evaluation: what may be said, as the decoder is told it."""

from training.texts import DIGITS, TEENS, TENS, below_hundred, number_words

HOLD = ["stop", "done", "out", "up", "help", "contraction"]
_COMMANDS = """
yes | no | okay | stop | start | go | go on | done | ready | not yet | repeat | again |
skip | next | pause | resume | cancel | help | time | how long | louder | softer | slower
| faster | up | down | left | right | on | off | out | wrong | correct | lost count |
everyone | who is still | add ten seconds | summary | progress | finish | delete | undo |
one more"""
COMMANDS = [" ".join(phrase.split()) for phrase in _COMMANDS.split("|")]
DIGIT_WORDS = [*DIGITS, "oh"]
TEN_COMMANDS = ["yes", "no", "up", "down", "left", "right", "on", "off", "stop", "go"]


def number_phrases() -> list[str]:
    """0..300 as people say them: with and without "and", digit by digit, "one twenty"."""
    phrases = [" ".join(below_hundred(n)) for n in range(100)]
    for number in range(100, 301):
        for link in ("and", ""):
            for one in ("one", "a"):
                phrases.append(" ".join(number_words(number, link, one)))
    for first in ("one", "two"):
        phrases += [f"{first} {' '.join(below_hundred(n))}" for n in range(10, 100)]
        phrases += [f"{first} oh {digit}" for digit in DIGITS]
    phrases += [f"{a} {b}" for a in DIGIT_WORDS for b in DIGIT_WORDS]
    return list(dict.fromkeys([*phrases, *DIGIT_WORDS, *TEENS, *TENS, "double", "hundred"]))


def number_values() -> dict[str, int]:
    """What each phrase for a whole number 0..300 is worth."""
    values = {" ".join(below_hundred(n)): n for n in range(100)}
    for number in range(100, 301):
        for link in ("and", ""):
            for one in ("one", "a"):
                values[" ".join(number_words(number, link, one))] = number
    return values


GRAMMARS = {
    "hold": HOLD,
    "ten commands": TEN_COMMANDS,
    "commands": COMMANDS,
    "digits": DIGIT_WORDS,
    "numbers": number_phrases(),
}

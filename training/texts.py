"""What the synthesisers are made to say: numbers, commands, phrases and other words."""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from training.lexicon import HERE, read_words

DIGITS = "zero one two three four five six seven eight nine".split()  # noqa: SIM905
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()  # noqa: SIM905
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()  # noqa: SIM905
UNITS = "second seconds minute minutes beats".split()  # noqa: SIM905


def below_hundred(number: int) -> list[str]:
    """The words of 0..99."""
    if number < 10:
        return [DIGITS[number]]
    if number < 20:
        return [TEENS[number - 10]]
    tens, ones = divmod(number, 10)
    return [TENS[tens - 2], *([DIGITS[ones]] if ones else [])]


def number_words(number: int, link: str = "and", one: str = "one") -> list[str]:
    """The words of 0..999; ``link`` stands after "hundred" ("" for none), ``one`` before it."""
    hundreds, rest = divmod(number, 100)
    if not hundreds:
        return below_hundred(rest)
    head = [one if hundreds == 1 else DIGITS[hundreds], "hundred"]
    return head + ([link] if rest and link else []) + (below_hundred(rest) if rest else [])


def _digit(rng: random.Random) -> str:
    digit = rng.choice(DIGITS)
    return "oh" if digit == "zero" and rng.random() < 0.6 else digit


def _digit_string(rng: random.Random) -> list[str]:
    words = [_digit(rng) for _ in range(rng.randint(2, 4))]
    if rng.random() < 0.25:
        words.insert(rng.randrange(len(words)), rng.choice(["double", "double", "triple"]))
    return words


def _pair_like_one_twenty(rng: random.Random) -> list[str]:
    rest = rng.randint(0, 99)
    tail = ["oh", DIGITS[rest]] if 0 < rest < 10 else below_hundred(rest) if rest else ["hundred"]
    return [rng.choice(["one", "two", "three"]), *tail]


def random_number(rng: random.Random) -> list[str]:
    """A number as people say it: whole, digit by digit, "one twenty", with or without units."""
    kind = rng.random()
    if kind < 0.15:
        return rng.choice([[rng.choice(TEENS[3:])], [rng.choice(TENS)]])
    if kind < 0.40:
        return below_hundred(rng.randint(10, 99))
    if kind < 0.60:
        link = "and" if rng.random() < 0.6 else ""
        return number_words(rng.randint(100, 300), link, rng.choice(["one", "one", "a"]))
    if kind < 0.78:
        return _digit_string(rng)
    if kind < 0.86:
        return _pair_like_one_twenty(rng)
    if kind < 0.94:
        return [*number_words(rng.randint(0, 120)), rng.choice(UNITS)]
    minutes = rng.randint(1, 9)
    return [
        DIGITS[minutes],
        "minute" if minutes == 1 else "minutes",
        *below_hundred(rng.randint(1, 59)),
    ]


def read_phrases(path: Path = HERE / "phrases.txt") -> list[list[str]]:
    """The phrases of a file, one to a line."""
    lines = path.read_text("utf-8").splitlines()
    return [line.split() for line in lines if line.strip() and not line.startswith("#")]


@dataclass(frozen=True, slots=True)
class Shares:
    """How often each kind of text comes up; the rest are other words alone or around ours."""

    word: float = 0.36
    number: float = 0.24
    phrase: float = 0.16
    mixed: float = 0.07


def random_texts(seed: int, shares: Shares = Shares()) -> Iterator[list[str]]:
    """Texts without end. Single words come from a shuffled deck, so none is left out."""
    rng = random.Random(seed)
    vocabulary = read_words()
    others = read_words(HERE / "other_words.txt")
    phrases = read_phrases()
    deck: list[str] = []
    while True:
        kind = rng.random()
        if kind < shares.word:
            if not deck:
                deck = vocabulary + 2 * (DIGITS + TEENS + TENS + ["oh", "hundred"])
                rng.shuffle(deck)
            yield [deck.pop()]
        elif (kind := kind - shares.word) < shares.number:
            yield random_number(rng)
        elif (kind := kind - shares.number) < shares.phrase:
            yield rng.choice(phrases)
        elif (kind := kind - shares.phrase) < shares.mixed:
            yield rng.choices(vocabulary, k=rng.randint(2, 3))
        else:
            yield rng.choices(others, k=rng.randint(1, 3))


def evaluation_texts(seed: int = 0) -> Iterator[list[str]]:
    """What held-out voices say: every word, 0..300 with and without "and", every phrase, digits."""
    rng = random.Random(seed)
    for word in read_words():
        yield [word]
    for number in range(301):
        yield number_words(number, "and" if number % 2 else "", "one")
    yield from read_phrases()
    for _ in range(150):
        yield _digit_string(rng)

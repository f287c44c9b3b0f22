"""What is counted: right and wrong, confusions, missed against taken, false accepts in an hour."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from training.conditions import CONDITIONS
from training.recognisers import Recogniser, Word, confidence, text
from training.situations import number_values
from training.testsets import Item, Stream, Trial

NOT_A_NUMBER = -1


def percent(part: int, whole: int) -> float:
    return round(100 * part / whole, 1) if whole else 0.0


@dataclass(slots=True)
class Score:
    """Of ``count`` utterances ``right`` were understood and ``wrong`` taken for something else."""

    trial: str
    grammar: str
    condition: str
    count: int = 0
    right: int = 0
    wrong: int = 0
    confusions: dict[str, int] = field(default_factory=dict)

    def add(self, said: str, heard: str) -> None:
        self.count += 1
        self.right += heard == said
        self.wrong += heard not in (said, "")
        if heard != said:
            swap = f"{said} > {heard or '-'}"
            self.confusions[swap] = self.confusions.get(swap, 0) + 1

    @property
    def line(self) -> str:
        name = f"{self.trial:18} {self.grammar:13} {self.condition:10} {self.count:5}"
        shares = f"{percent(self.right, self.count):6.1f} {percent(self.wrong, self.count):6.1f}"
        often = Counter(self.confusions).most_common(4)
        return f"{name} {shares}  {', '.join(f'{swap} {n}' for swap, n in often)}"


def score(recogniser: Recogniser, trial: Trial, condition: str, unknown: str) -> Score:
    """Hear a trial under one condition."""
    found = Score(trial.name, trial.grammar, condition)
    for item in trial.items:
        found.add(item.said, text(hear(recogniser, item, trial.phrases, unknown, condition)))
    return found


def hear(
    recogniser: Recogniser,
    item: Item,
    phrases: Sequence[str],
    unknown: str,
    condition: str = "clean",
) -> list[Word]:
    """The words of one utterance, foreign words allowed at the price of ``unknown``."""
    sound = CONDITIONS[condition](item.sound, item.key)
    return recogniser.words(sound, with_unknown(recogniser, phrases, unknown))


def with_unknown(recogniser: Recogniser, phrases: Sequence[str], unknown: str) -> Sequence[str]:
    """The phrases and the word for foreign words, if the recogniser has one."""
    word = recogniser.unknown(unknown)
    return [*phrases, word] if word else phrases


@dataclass(frozen=True, slots=True)
class Rejection:
    """A point of the curve: percent of own utterances missed or wrong, of foreign ones taken."""

    grammar: str
    who: str
    unknown: str
    cut: float
    own: int
    foreign: int
    missed: float
    taken: float


def rejections(
    recogniser: Recogniser,
    trial: Trial,
    foreign: Sequence[Item],
    unknowns: Iterable[str],
    cuts: Sequence[float],
) -> list[Rejection]:
    """The curve of one grammar: for every price of foreign words and every confidence cut."""
    points = []
    for unknown in unknowns:
        ours = [(hear(recogniser, i, trial.phrases, unknown), i.said) for i in trial.items]
        theirs = [hear(recogniser, item, trial.phrases, unknown) for item in foreign]
        for cut in cuts:
            missed = sum(text(words) != said or confidence(words) < cut for words, said in ours)
            taken = sum(bool(words) and confidence(words) >= cut for words in theirs)
            points.append(
                Rejection(
                    trial.grammar,
                    trial.name,
                    unknown,
                    cut,
                    len(ours),
                    len(theirs),
                    percent(missed, len(ours)),
                    percent(taken, len(theirs)),
                )
            )
    return points


Confusions = dict[int, Counter[int]]


def number_confusions(
    recogniser: Recogniser, items: Iterable[Item], phrases: Sequence[str], unknown: str
) -> Confusions:
    """Of each number said, how often which was heard (-1: nothing, or no whole number)."""
    values = number_values()
    heard: Confusions = {}
    for item in items:
        if item.said in values:
            words = text(hear(recogniser, item, phrases, unknown))
            row = heard.setdefault(values[item.said], Counter())
            row[values.get(words, NOT_A_NUMBER)] += 1
    return heard


def number_summary(heard: Mapping[int, Counter[int]]) -> dict[str, float]:
    """Percent right of a confusion matrix by kind of number, and what was swapped or lost."""

    def share(numbers: Iterable[int]) -> float:
        kept = [(n, heard[n]) for n in numbers if n in heard]
        return percent(sum(c[n] for n, c in kept), sum(c.total() for _, c in kept))

    pairs = {n for ones in range(3, 10) for n in (10 + ones, 10 * ones)}
    return {
        "utterances": sum(c.total() for c in heard.values()),
        "all": share(range(301)),
        "two words": share(n for n in range(21, 100) if n % 10),
        "teens and tens": share(pairs),
        "a hundred and more": share(range(100, 301)),
        "teen heard as ten or back": sum(heard[n][_partner(n)] for n in pairs if n in heard),
        "nothing heard": sum(c[NOT_A_NUMBER] for c in heard.values()),
    }


def _partner(number: int) -> int:
    """13 for 30, 30 for 13."""
    return 10 * (number - 10) if number < 20 else number // 10 + 10


@dataclass(frozen=True, slots=True)
class Accepts:
    """Words of a grammar heard in speech that does not hold them."""

    speech: str
    grammar: str
    unknown: str
    cut: float
    hours: float
    false: int
    per_hour: float
    really_said: int
    words: dict[str, int]


def accepts(
    recogniser: Recogniser,
    streams: Sequence[Stream],
    grammar: str,
    phrases: Sequence[str],
    unknown: str,
    cuts: Sequence[float],
) -> list[Accepts]:
    """Count what is heard in ``streams`` at every confidence cut, apart what was really said."""
    hours = sum(stream.hours for stream in streams)
    asked = with_unknown(recogniser, phrases, unknown)
    heard = [
        (word, stream.really_said(word.text, (word.start_s + word.end_s) / 2))
        for stream in streams
        for word in recogniser.words(stream.sound, asked)
    ]
    rows = []
    for cut in cuts:
        false = Counter(w.text for w, said in heard if not said and w.confidence >= cut)
        said_too = sum(said and w.confidence >= cut for w, said in heard)
        number = false.total()
        rows.append(
            Accepts(
                ", ".join(dict.fromkeys(stream.name for stream in streams)),
                grammar,
                unknown,
                cut,
                round(hours, 2),
                number,
                round(number / hours, 1),
                said_too,
                dict(false.most_common()),
            )
        )
    return rows

"""Grammars: JSGF files become finite phrases, each with what it means.

A tag in a grammar is a command (coach/practice/words.py) or one of three marks: `{count}` and
`{who}` say that the words under them are a number (a count, a participant), `{decoy}` that the
phrase is known but means nothing, so that it is not pressed into a neighbour.
JSGF: W3C Note, 5 June 2000.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from pathlib import Path

import jsgf
from jsgf.expansions import (
    AlternativeSet,
    Expansion,
    Literal,
    NamedRuleRef,
    NullRef,
    OptionalGrouping,
    Repeat,
    Sequence,
)
from pyparsing import ParseBaseException

from coach.border import BadInput, data_path
from coach.ear.numbers import spoken_number
from coach.practice.words import Command

COUNT, WHO, DECOY = "count", "who", "decoy"
MOST_PHRASES = 50_000
MOST_DEPTH = 40
# Taken after a short pause, and also while the coach speaks.
STOPPING = frozenset(
    {
        Command.STOP,
        Command.STOP_ALL,
        Command.UNWELL,
        Command.DIZZY,
        Command.TINGLING,
        Command.FAINTED,
        Command.DONE,
    }
)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a phrase means; all None: nothing (a decoy)."""

    command: Command | None = None
    number: int | None = None
    participant: int | None = None

    @property
    def stops(self) -> bool:
        """Whether it may not wait."""
        return self.command in STOPPING

    @property
    def is_decoy(self) -> bool:
        """Whether the phrase is known only to be told from others."""
        return self.command is None and self.number is None


@dataclass(frozen=True, slots=True, eq=False)
class Grammar:
    """A listening situation: every phrase that is understood, lower case, and its meaning."""

    name: str
    meanings: Mapping[str, Meaning]

    @property
    def words(self) -> frozenset[str]:
        """Every word of every phrase."""
        return frozenset(word for phrase in self.meanings for word in phrase.split())

    @property
    def is_numbered(self) -> bool:
        """Whether somebody of a group says who they are with what they mean."""
        return any(meaning.participant is not None for meaning in self.meanings.values())

    def meaning(self, text: str) -> Meaning | None:
        """What `text` means here, or None."""
        return self.meanings.get(" ".join(text.lower().split()))


@dataclass(frozen=True, slots=True)
class _Phrase:
    """Words with the tags that lie on stretches of them."""

    words: tuple[str, ...] = ()
    tags: tuple[tuple[str, str], ...] = ()  # (tag, the words under it)

    def __add__(self, other: _Phrase) -> _Phrase:
        return _Phrase(self.words + other.words, self.tags + other.tags)


def grammar_path(name: str) -> Path:
    """The file of a grammar: a path as it is, else a name in grammars/, with or without .jsgf."""
    path = Path(name)
    if path.is_file():
        return path
    shipped = data_path("grammars", f"{name.removesuffix('.jsgf')}.jsgf")
    if shipped.is_file():
        return shipped
    known = ", ".join(sorted(file.stem for file in shipped.parent.glob("*.jsgf")))
    raise BadInput(f"{name}: there is no such grammar (known: {known})")


@lru_cache(maxsize=64)
def load_grammar(path: Path, name_of_coach: str = "coach") -> Grammar:
    """The grammar of a file; rules called `name` become `name_of_coach`. Raises BadInput."""
    files = _Files(path.parent, name_of_coach)
    grammar = files.parsed(path.stem, path)
    public = [rule.name for rule in grammar.rules if rule.visible]
    if not public:
        raise BadInput(f"{path}: has no public rule")
    meanings: dict[str, Meaning] = {}
    for rule in public:
        for phrase in files.phrases_of(path.stem, rule, 0):
            text = " ".join(phrase.words)
            meaning = _meaning(phrase, path)
            if meanings.setdefault(text, meaning) != meaning:
                raise BadInput(f"{path}: '{text}' has two meanings")
    meanings.pop("", None)
    if not meanings:
        raise BadInput(f"{path}: no phrase can be said")
    return Grammar(path.stem, meanings)


def _meaning(phrase: _Phrase, path: Path) -> Meaning:
    text = " ".join(phrase.words)
    command: Command | None = None
    numbers: dict[str, int] = {}
    decoy = False
    for tag, words in phrase.tags:
        if tag in (COUNT, WHO):
            value = spoken_number(words)
            if value is None:
                raise BadInput(f"{path}: '{words}' in '{text}' is tagged {{{tag}}}: not a number")
            numbers[tag] = value
        elif tag == DECOY:
            decoy = True
        elif tag not in list(Command):
            raise BadInput(f"{path}: '{text}' is tagged {{{tag}}}: there is no such command")
        elif command not in (None, Command(tag)):
            raise BadInput(f"{path}: '{text}' is tagged {{{command}}} and {{{tag}}}")
        else:
            command = Command(tag)
    if decoy and not numbers and command is None:
        return Meaning()
    if command is None and COUNT in numbers:
        command = Command.NUMBER
    if decoy or command is None:
        raise BadInput(f"{path}: '{text}' needs one tag that gives its command")
    return Meaning(command, numbers.get(COUNT), numbers.get(WHO))


class _Files:
    """The grammar files of a folder, parsed once, and the phrases of their rules."""

    def __init__(self, folder: Path, name_of_coach: str) -> None:
        self._folder = folder
        self._name_of_coach = name_of_coach
        self._grammars: dict[str, jsgf.Grammar] = {}

    def parsed(self, name: str, path: Path | None = None) -> jsgf.Grammar:
        """The grammar called `name`, from `path` or from the folder."""
        if name not in self._grammars:
            file = path or self._folder / f"{name}.jsgf"
            if not file.is_file():  # a user's own file may import the shipped rules
                file = grammar_path(name)
            self._grammars[name] = _parse(file)
        return self._grammars[name]

    def phrases_of(self, grammar: str, rule: str, depth: int) -> list[_Phrase]:
        """Every phrase of a rule, seen from `grammar`."""
        if depth > MOST_DEPTH:
            raise BadInput(f"{grammar}.jsgf: <{rule}> never ends: it leads back to itself")
        if rule == "name":
            return [_Phrase(tuple(self._name_of_coach.lower().split()))]
        home = self._home_of(grammar, rule)
        for found in self.parsed(home).rules:
            if found.name == rule.rpartition(".")[2]:
                return self._expand(found.expansion, home, depth)
        raise AssertionError("_home_of answers with a grammar that has the rule")

    def _home_of(self, grammar: str, rule: str) -> str:
        """Which file a rule name means: this one, or an imported one."""
        parsed = self.parsed(grammar)
        if "." in rule:
            candidates = [rule.rpartition(".")[0]]
        else:
            candidates = [grammar] + [
                each.grammar_name
                for each in parsed.imports
                if each.wildcard_import or each.rule_name == rule
            ]
        short = rule.rpartition(".")[2]
        for home in candidates:
            for found in self.parsed(home).rules:
                if found.name == short and (home == grammar or found.visible):
                    return str(home)
        raise BadInput(f"{grammar}.jsgf: there is no rule <{rule}>")

    def _expand(self, node: Expansion, home: str, depth: int) -> list[_Phrase]:
        phrases = self._expand_untagged(node, home, depth)
        if len(phrases) > MOST_PHRASES:
            raise BadInput(f"{home}.jsgf: more than {MOST_PHRASES} phrases")
        if not node.tag:
            return phrases
        return [_Phrase(p.words, (*p.tags, (node.tag, " ".join(p.words)))) for p in phrases]

    def _expand_untagged(self, node: Expansion, home: str, depth: int) -> list[_Phrase]:
        match node:
            case NullRef():
                return [_Phrase()]
            case NamedRuleRef():
                return self.phrases_of(home, node.name, depth + 1)
            case Literal():
                return [_Phrase(tuple(node.text.lower().split()))]
            case Repeat():
                raise BadInput(f"{home}.jsgf: '*' and '+' have no end; write the phrases out")
            case OptionalGrouping():
                return [_Phrase(), *self._expand(node.child, home, depth)]
            case AlternativeSet():
                return [p for child in node.children for p in self._expand(child, home, depth)]
            case Sequence():
                parts = [self._expand(child, home, depth) for child in node.children]
                return [_joined(each) for each in product(*parts)]
        raise BadInput(f"{home}.jsgf: {node} can never be said")


def _joined(parts: Iterable[_Phrase]) -> _Phrase:
    return sum(parts, start=_Phrase())


def _parse(path: Path) -> jsgf.Grammar:
    try:
        return jsgf.parse_grammar_file(str(path))
    except ParseBaseException as error:
        reason = str(error).partition("  (at char")[0]
        raise BadInput(f"{path}:{error.lineno}: {reason}") from None
    except jsgf.GrammarError as error:
        raise BadInput(f"{path}: {error}") from None
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: cannot be read ({error})") from None

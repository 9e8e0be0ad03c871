"""The grammar of the drills as data: rows of tokens (role and length) that exercises are filled from."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random

_TOKEN = re.compile(r"([abnr])(\d+(?:/\d+)?)")


@dataclass(frozen=True, slots=True)
class Token:
    """One place of a measure: `role` is a, b, n or r (rest), `length` in quarter notes."""

    role: str
    length: Fraction


Measure = tuple[Token, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grammar:
    """`kinds` name the measures of an exercise in order; `measures` hold the alternatives of each name."""

    kinds: Mapping[str, tuple[str, ...]]
    measures: Mapping[str, tuple[Measure, ...]]

    def drawn(self, kind: str, chance: Random) -> tuple[Measure, ...]:
        """Draw one alternative of each measure of a kind.

        Raises
        ------
        KeyError
            If the grammar has no such kind.
        """
        return tuple(chance.choice(self.measures[name]) for name in self.kinds[kind])

    def row(self, kind: str, count: int, chance: Random) -> tuple[Measure, ...]:
        """Draw measures until `count` places of role n are there; places beyond become rests.

        Raises
        ------
        ValueError
            If the kind has no place of role n.
        """
        result: list[Measure] = []
        left = count
        while left > 0:
            before = left
            for measure in self.drawn(kind, chance):
                if left <= 0:
                    break
                filled = []
                for token in measure:
                    if token.role == "n" and left > 0:
                        left -= 1
                        filled.append(token)
                    else:
                        filled.append(Token("r", token.length))
                result.append(tuple(filled))
            if left == before:
                raise ValueError(f"the kind '{kind}' has no place for a row of notes")
        return tuple(result)


def parse_measure(text: str) -> Measure:
    """Read one measure.

    Raises
    ------
    ValueError
        If a token has another form, or the lengths do not add up to four quarters.

    Examples
    --------
    >>> [(token.role, str(token.length)) for token in parse_measure("a2 b3/2 r1/2")]
    [('a', '2'), ('b', '3/2'), ('r', '1/2')]
    """
    tokens = []
    for word in text.split():
        match = _TOKEN.fullmatch(word)
        if match is None:
            raise ValueError(f"'{word}' in '{text}' is no token; write a role (a, b, n, r) and a length, such as a1/2")
        tokens.append(Token(match[1], Fraction(match[2])))
    if sum((token.length for token in tokens), Fraction(0)) != 4:
        raise ValueError(f"'{text}' does not hold four quarters")
    return tuple(tokens)


def grammar_from(text: str) -> Grammar:
    """Read a grammar.

    Raises
    ------
    ValueError
        If a measure is wrong, or a kind names one that is not there.
    """
    table = tomllib.loads(text)
    measures = {name: tuple(parse_measure(one) for one in texts) for name, texts in table["measure"].items()}
    kinds: dict[str, tuple[str, ...]] = {}
    for kind, names in table["kind"].items():
        missing: Sequence[str] = [name for name in names if not measures.get(name)]
        if missing:
            raise ValueError(f"the kind '{kind}' names a measure that is not there: {missing[0]}")
        kinds[kind] = tuple(names)
    return Grammar(kinds=kinds, measures=measures)


@cache
def default_grammar() -> Grammar:
    """Return the grammar of the data file."""
    return grammar_from(Path(__file__).with_name("patterns.toml").read_text(encoding="utf-8"))

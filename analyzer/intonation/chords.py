"""The name of a chord, where it is certain, and the pure place of each of its members.

Triads, sevenths and open fifths are named in any inversion; everything else (clusters, suspensions, bare thirds, added
notes) is not, and stays in equal temperament.
"""

import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import log2
from pathlib import Path

from analyzer.pitch import Pitch

_STEPS = "CDEFGAB"
_MEMBERS = {0: "root", 3: "third", 4: "third", 6: "fifth", 7: "fifth", 8: "fifth", 9: "seventh", 10: "seventh",
            11: "seventh"}
_THIRDS = {0: 0, 3: 2, 4: 2, 6: 4, 7: 4, 8: 4, 9: 6, 10: 6, 11: 6}          # letters above the root


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordKind:
    """A kind of chord: `cents` above equal temperament by semitones above the root; `spelled` where letters decide."""

    name: str
    cents: dict[int, float]
    shapes: tuple[frozenset[int], ...]
    spelled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Chord:
    """A named chord. `root` is a letter with its sign such as ``Bb``, `root_class` its pitch class (C = 0)."""

    root: str
    root_class: int
    kind: ChordKind

    def has(self, midi: int) -> bool:
        """Tell whether a pitch is a member."""
        return (midi - self.root_class) % 12 in self.kind.cents

    def member(self, midi: int) -> str:
        """Return what a member is: root, third, fifth or seventh."""
        return _MEMBERS[(midi - self.root_class) % 12]

    def target_cents(self, midi: int) -> float:
        """Return how far a member's pure place lies above equal temperament, counted from the root. [cents]"""
        return self.kind.cents[(midi - self.root_class) % 12]


@cache
def kinds() -> tuple[ChordKind, ...]:
    """Return the kinds of chords that are named, from the data file."""
    table = tomllib.loads(Path(__file__).with_name("just.toml").read_text(encoding="utf-8"))
    found = []
    for row in table["kind"]:
        cents = {semitones: pure_cents(ratio) - 100 * semitones for semitones, ratio in row["members"]}
        whole = frozenset(cents)
        shapes = (whole, *(whole - {left} for left in row.get("without", ())))
        found.append(ChordKind(name=row["name"], cents=cents, shapes=shapes, spelled=row.get("spelled", False)))
    return tuple(found)


def pure_cents(ratio: str) -> float:
    """Return the size of an interval of two frequencies, such as ``5:4``. [cents]

    Examples
    --------
    >>> round(pure_cents("3:2"), 2)
    701.96
    """
    upper, lower = ratio.split(":")
    return 1200 * log2(int(upper) / int(lower))


def chord_of(pitches: Sequence[Pitch]) -> Chord | None:
    """Name the chord that these pitches make, None where that is not certain.

    Parameters
    ----------
    pitches : sequence of Pitch
        What sounds together, in any order, octaves and doublings included.
    """
    return _named(frozenset((pitch.step, pitch.alter, pitch.midi % 12) for pitch in pitches))


@cache
def _named(spelled: frozenset[tuple[str, int, int]]) -> Chord | None:
    classes = frozenset(cls for _, _, cls in spelled)
    found = []
    for root in sorted(classes):
        shape = frozenset((cls - root) % 12 for cls in classes)
        for kind in kinds():
            if shape in kind.shapes and (not kind.spelled or _in_thirds(spelled, root)):
                found.append((root, kind))
    if len(found) != 1:
        return None
    root, kind = found[0]
    names = Counter((step, alter) for step, alter, cls in spelled if cls == root)
    step, alter = min(names, key=lambda name: (-names[name], abs(name[1]), name))
    return Chord(root=step + ("#" * alter if alter > 0 else "b" * -alter), root_class=root, kind=kind)


def _in_thirds(spelled: frozenset[tuple[str, int, int]], root: int) -> bool:
    """Tell whether the letters stand in thirds above those of the root."""
    letters = {_STEPS.index(step) for step, _, cls in spelled if cls == root}
    if len(letters) != 1:
        return False
    (base,) = letters
    return all((_STEPS.index(step) - base) % 7 == _THIRDS[(cls - root) % 12] for step, _, cls in spelled)

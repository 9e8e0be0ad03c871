"""How familiar a way to sound a note is: its rank and the level at which it is taught, from ``familiarity.toml``.

The usual choice is the chart's. What else players know is data with sources, not acoustics: two places may sound the
same and yet one is in every method and the other in none.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.pitch import parse_pitch

Rank = Literal["usual", "common", "rare", "avoid"]
Level = Literal["beginner", "intermediate", "advanced"]
RANKS: tuple[Rank, ...] = ("usual", "common", "rare", "avoid")
LEVELS: tuple[Level, ...] = ("beginner", "intermediate", "advanced")
_FILE = Path(__file__).with_name("familiarity.toml")
_B_FLAT_1 = 34
_ANY = "any"


@dataclass(frozen=True, slots=True, kw_only=True)
class Familiarity:
    """Rank of a choice, the level from which it is taught, and who says so (empty for the usual choice).

    The rank is that of notes of `from_s` or more [s].
    """

    rank: Rank
    level: Level = "beginner"
    source: str = ""
    from_s: float = 0.0

    def rank_in(self, sounds_s: float) -> Rank:
        """Return the rank in a note of this length: one less where the sources speak of longer notes only."""
        short = sounds_s < self.from_s and self.rank != RANKS[-1]
        return RANKS[RANKS.index(self.rank) + 1] if short else self.rank


_USUAL = Familiarity(rank="usual")


def familiarity(horn: Horn, choice: Candidate, usual: Candidate | None) -> Familiarity:
    """Return how familiar `choice` is on `horn`, whose chart plays the note as `usual`.

    A choice for a note that the chart does not have counts as usual: there is no other habit.

    Examples
    --------
    >>> from analyzer.horns.candidates import candidates
    >>> from analyzer.horns.profiles import load_horn
    >>> tenor = load_horn("tenor")
    >>> [(one.label, familiarity(tenor, one, candidates(tenor, 52)[0]).rank) for one in candidates(tenor, 52)][:2]
    [('2', 'usual'), ('7', 'avoid')]
    """
    if usual is None or choice.label == usual.label:
        return _USUAL
    return known_as(horn, choice)


@cache
def known_as(horn: Horn, choice: Candidate) -> Familiarity:
    """Return what the data say of a choice that is not the usual one."""
    table = _table()
    if horn.family == "slide":
        kinds = ["".join(choice.valves) or "slide"]
        bare = choice.label.rstrip("#b")
    else:
        kinds = [*(["compensating"] if horn.master else []), *(["four"] if "4" in horn.loop_names else []), "valves"]
        bare = choice.label
    midi = str(choice.midi - horn.fundamental_midi + _B_FLAT_1)
    for keys in ((midi, bare), (midi, _ANY), (_ANY, bare), (_ANY, _ANY)):
        for kind in kinds:
            found = table.get((kind, *keys))
            if found is not None:
                return found
    return Familiarity(rank="avoid", level="advanced", source="no chart, method or passage that we know has it")


@cache
def _table() -> dict[tuple[str, str, str], Familiarity]:
    rows = tomllib.loads(_FILE.read_text(encoding="utf-8"))["choice"]
    return {
        (row["on"], row["note"] if row["note"] == _ANY else str(parse_pitch(row["note"]).midi), row["label"]):
            Familiarity(rank=row["rank"], level=row["level"], source=row["source"], from_s=row.get("from_s", 0.0))
        for row in rows
    }


@cache
def data_digest() -> str:
    """Return a digest of the judgement's data files: weights and familiarity."""
    import hashlib  # not paid for by a plan

    parts = [_FILE.read_bytes(), Path(__file__).with_name("weights.toml").read_bytes()]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()

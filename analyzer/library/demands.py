"""What the lines of a survey ask of a slide and of valves, piece by piece: the ground of its pictures."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from typing import Literal

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.horns.usual import FAR_POSITION
from analyzer.library.survey import Record, Survey

Demand = Literal["near", "far", "beyond"]
DEMANDS: tuple[Demand, ...] = ("near", "far", "beyond")
EASIEST = ("file", "title", "part", "family", "line", "of", "horn", "unplayable", "midi_low", "midi_high", "difficulty",
           "hardest_measure", "hardest_why")


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """A line on a plain valved horn and on its compensating like: cents off on average, and notes out of tune."""

    file: str
    title: str
    part: str
    notes: int
    plain_cents: float
    with_cents: float
    plain_out: int
    with_out: int

    @property
    def saved_cents(self) -> float:
        """What the compensating horn saves on average. [cents a note]"""
        return self.plain_cents - self.with_cents


def lines_of(survey: Survey) -> Iterator[list[Record]]:
    """Yield the rows of each line (one on each horn), in the order of the survey; a file at a time is in memory."""
    for _, file in groupby(survey.lines, key=lambda row: row["file"]):
        lines: dict[tuple[str, int], list[Record]] = defaultdict(list)
        for row in file:
            lines[row["part_id"], row["line"]].append(row)
        yield from lines.values()


@cache
def slide_demand(midi: int) -> Demand:
    """Say what a sounding pitch asks of a plain slide in B flat: near, only far out, or beyond (pedals count as far).

    Examples
    --------
    >>> [slide_demand(midi) for midi in (46, 48, 47, 36)]
    ['near', 'far', 'far', 'beyond']
    """
    found = [one.position or 0 for one in candidates(load_horn("tenor"), midi) if one.partial > 1]
    if not found:
        return "far" if candidates(load_horn("tenor"), midi) else "beyond"
    return "near" if min(found) < FAR_POSITION else "far"


def slide_pitches(survey: Survey) -> Counter[int]:
    """Return how often each pitch stands in the lines for slides. [MIDI]"""
    found: Counter[int] = Counter()
    for row in _slide_lines(survey):
        found.update({int(midi): count for midi, count in row["notes_by_pitch"].items()})
    return found


def pieces_by_demand(survey: Survey) -> dict[Demand, list[str]]:
    """Return the files with lines for a slide by the utmost that any of their notes asks of it."""
    utmost: dict[str, int] = {}
    for row in _slide_lines(survey):
        asks = max((DEMANDS.index(slide_demand(int(midi))) for midi in row["notes_by_pitch"]), default=0)
        utmost[row["file"]] = max(utmost.get(row["file"], 0), asks)
    return {one: [file for file, asks in utmost.items() if asks == k] for k, one in enumerate(DEMANDS)}


def _slide_lines(survey: Survey) -> Iterable[Record]:
    for rows in lines_of(survey):
        slide = [row for row in rows if row["horn_family"] == "slide"]
        yield from slide[:1]


def easiest(survey: Survey) -> list[Record]:
    """Return each line that has notes, on the horn that misses fewest, or else has the easiest hardest measure.

    Of its row only the columns of `EASIEST` are kept.
    """
    best = (min(rows, key=lambda row: (row["unplayable"], row["difficulty"]))
            for rows in lines_of(survey) if rows[0]["notes"])
    return [{key: row[key] for key in EASIEST} for row in best]


def compensating_pairs(rows: Iterable[Record]) -> tuple[Record, Record] | None:
    """Return a line's rows on a plain valved horn and on its compensating like (kind and valves the same).

    Of several pairs that with the most valves counts.
    """
    rows = list(rows)
    plain = [row for row in rows if row["horn_family"] == "valves" and not row["horn_compensating"]]
    pairs = [(a, b) for a in plain for b in rows if b["horn_compensating"]
             and (a["horn_kind"], a["horn_valves"]) == (b["horn_kind"], b["horn_valves"])]
    return max(pairs, key=lambda pair: int(pair[0]["horn_valves"]), default=None)


def savings(survey: Survey) -> list[Saving]:
    """Return what a compensating horn saves on each line that was planned on both, the most first."""
    found = []
    for rows in lines_of(survey):
        pair = compensating_pairs(rows)
        played = 0 if pair is None else min(row["notes"] - row["unplayable"] for row in pair)
        if pair is not None and played:
            plain, loops = pair
            found.append(Saving(
                file=plain["file"], title=plain["title"], part=plain["part"], notes=plain["notes"],
                plain_cents=plain["off_sum_cents"] / (plain["notes"] - plain["unplayable"]),
                with_cents=loops["off_sum_cents"] / (loops["notes"] - loops["unplayable"]),
                plain_out=plain["out_of_tune"], with_out=loops["out_of_tune"]))
    return sorted(found, key=lambda one: (-one.saved_cents, one.file, one.part))

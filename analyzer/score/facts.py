"""What the notes of one part amount to: clefs, range, how many notes and lines."""

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from analyzer.pitch import Pitch
from analyzer.problem import Problem
from analyzer.score.document import Document
from analyzer.score.lines import lines_of
from analyzer.score.parts import PartInfo
from analyzer.score.reader import read_part


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFacts:
    """Clefs in order of appearance; lowest and highest pitch (None without notes); attacks, a tie counted once."""

    clefs: tuple[str, ...]
    written_low: Pitch | None
    written_high: Pitch | None
    sounding_low: Pitch | None
    sounding_high: Pitch | None
    notes: int
    lines: int


NO_NOTES = PartFacts(clefs=(), written_low=None, written_high=None, sounding_low=None, sounding_high=None, notes=0,
                     lines=0)


def part_facts(document: Document, info: PartInfo) -> tuple[PartFacts, tuple[Problem, ...]]:
    """Read the notes of one part and say what they amount to (problems only of low-brass parts)."""
    if not document.part_measures(info.id):
        return NO_NOTES, ()
    part, problems = read_part(document, info.id)
    lines, more = lines_of(part, info.family)
    attacks = {note.refs[0] for line in lines for note in line.notes}
    written = _ends([note.written for note in part.notes])
    sounding = _ends([note.sounding for note in part.notes])
    facts = PartFacts(
        clefs=tuple(dict.fromkeys(note.clef for note in part.notes)),
        written_low=written[0], written_high=written[1], sounding_low=sounding[0], sounding_high=sounding[1],
        notes=len(attacks), lines=sum(bool(line.notes) for line in lines))
    return facts, (*problems, *more) if info.low_brass else ()


def _ends(pitches: Sequence[Pitch]) -> tuple[Pitch | None, Pitch | None]:
    """Return the lowest pitch (the first of those) and the highest (the last)."""
    midi = attrgetter("midi")
    return min(pitches, key=midi, default=None), max(reversed(pitches), key=midi, default=None)

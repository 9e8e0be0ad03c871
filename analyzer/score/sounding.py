"""What sounds in a score, over all its parts: the one reader for who asks about chords, doublings and cues.

A place is a measure's index and quarter notes from its beginning: onsets from the start of a part will not do. Real
files have measures that are too long in one part alone, and from there on its onsets differ from those of the others.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from analyzer.pitch import Pitch
from analyzer.problem import Unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.reader import read_part
from analyzer.score.timeline import Measure, Part
from analyzer.score.transposing import Reads

Moment = tuple[int, Fraction]
"""A place that all parts share: a measure's index, and quarter notes from its beginning."""


def moment(measures: Sequence[Measure], index: int, onset: Fraction) -> Moment:
    """Return the moment of an onset in the measure of this index; `measures` may be cut, but has no gaps."""
    return index, onset - measures[index - measures[0].index].onset


def moment_of(line: Line, k: int) -> Moment:
    """Return the moment at which a note of a line begins."""
    note = line.notes[k]
    return moment(line.measures, note.measure_index, note.onset)


@dataclass(frozen=True, slots=True)
class Sounded:
    """One printed note: its part and place there (`ref`), its pitch, and when it sounds in its measure [quarters]."""

    part_id: str
    ref: int
    begin: Fraction
    end: Fraction
    pitch: Pitch


class Sounding:
    """Every part of a score, and its sounding notes by measure; read when somebody first asks.

    Parts that cannot be read are left out: the harmony of the rest still holds. `reads` is how treble-clef low brass is
    read, as for the lines that are planned: else a line would sound against its own part.
    """

    def __init__(self, document: Document, reads: Reads | None = None) -> None:
        """Take the score."""
        self.document = document
        self._reads = reads
        self._parts: dict[str, Part] | None = None
        self._measures: dict[int, list[Sounded]] | None = None

    def parts(self) -> dict[str, Part]:
        """Return the parts that can be read, by id, in the order of the score."""
        if self._parts is None:
            self._parts = {}
            for part_id in self.document.part_ids:
                try:
                    self._parts[part_id], _ = read_part(self.document, part_id, reads=self._reads)
                except Unreadable:
                    continue
        return self._parts

    def measure(self, index: int) -> Sequence[Sounded]:
        """Return what sounds in a measure. Grace notes, notes in brackets and slashes are not counted as harmony."""
        if self._measures is None:
            found: dict[int, list[Sounded]] = defaultdict(list)
            for part_id, part in self.parts().items():
                for note in part.notes:
                    if not note.grace and not note.optional and not note.slash and note.duration:
                        _, begin = moment(part.measures, note.measure, note.onset)
                        found[note.measure].append(
                            Sounded(part_id, note.ref, begin, begin + note.duration, note.sounding))
            self._measures = dict(found)
        return self._measures.get(index, ())

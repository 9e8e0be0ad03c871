"""What sounds in a score at a moment; the other parts are read only when somebody asks."""

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction

from analyzer.pitch import Pitch
from analyzer.problem import Unreadable
from analyzer.score.document import Document
from analyzer.score.line import Line
from analyzer.score.reader import read_part
from analyzer.score.timeline import Measure, Note

Moment = tuple[int, Fraction]
"""A place that all parts share: a measure's index, and quarter notes from its begin.

Onsets from the start of a part will not do: real files have measures that are too long in one part alone, and from
there on its onsets differ from those of the others.
"""


def moment(measures: Sequence[Measure], index: int, onset: Fraction) -> Moment:
    """Return the moment of an onset in the measure of this index; `measures` may be cut, but has no gaps."""
    return index, onset - measures[index - measures[0].index].onset


def moment_of(line: Line, k: int) -> Moment:
    """Return the moment at which a note of a line begins."""
    note = line.notes[k]
    return moment(line.measures, note.measure_index, note.onset)


class Harmony:
    """Sounding pitches of every part of a score.

    Parts that cannot be read are left out: the harmony of the rest still holds.
    """

    def __init__(self, document: Document) -> None:
        self._document = document
        self._measures: dict[int, list[tuple[str, Fraction, Note]]] | None = None

    def _read(self) -> dict[int, list[tuple[str, Fraction, Note]]]:
        """Return the notes by measure, with their part and their begin within it."""
        if self._measures is None:
            found: dict[int, list[tuple[str, Fraction, Note]]] = defaultdict(list)
            for part_id in self._document.part_ids:
                try:
                    part, _ = read_part(self._document, part_id)
                except Unreadable:
                    continue
                for note in part.notes:
                    if not note.grace and not note.optional:
                        index, begin = moment(part.measures, note.measure, note.onset)
                        found[index].append((part_id, begin, note))
            self._measures = dict(found)
        return self._measures

    def sounding(self, at: Moment, *, but: tuple[str, Sequence[int]]) -> tuple[Pitch, ...]:
        """Return the pitches that sound at a moment, low to high, each name once.

        `but` is a part's id and the refs of notes in it that do not count: the note in question.
        """
        own, refs = but
        index, place = at
        found = {
            note.sounding for part_id, begin, note in self._read().get(index, [])
            if begin <= place < begin + note.duration and not (part_id == own and note.ref in refs)
        }
        return tuple(sorted(found, key=lambda pitch: (pitch.midi, pitch.name)))

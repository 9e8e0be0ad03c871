"""What sounds in a score with a note, and for how long; the other parts are read only when somebody asks."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction

from analyzer.pitch import Pitch, signature
from analyzer.problem import Unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.reader import read_part
from analyzer.score.timeline import Measure, Note

NoteName = tuple[str, int]
"""Letter and alteration of a pitch, whatever the octave."""
_LEAST_QUARTERS = Fraction(1)
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
        self._keys: dict[str, list[int]] = {}

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

    def held(self, line: Line, k: int) -> dict[NoteName, float]:
        """Return what sounds with a note of a line: each letter and alteration, with its share of the note's time.

        Not the instant of the attack counts: a passing note that falls on the beat sounds for a part of the time only.
        A note shorter than a quarter is heard with the rest of its quarter; one that goes on over the bar line, within
        its measure. The note itself does not count. [share above 0, to 1]
        """
        index, begin = moment_of(line, k)
        note = line.notes[k]
        measure = line.measures[index - line.measures[0].index]
        end = min(begin + max(note.duration, _LEAST_QUARTERS), max(measure.duration, begin + note.duration))
        spans: dict[NoteName, list[tuple[Fraction, Fraction]]] = defaultdict(list)
        for part_id, start, other in self._read().get(index, []):
            a, b = max(start, begin), min(start + other.duration, end)
            if a < b and not (part_id == line.part_id and other.ref in note.refs):
                spans[other.sounding.step, other.sounding.alter].append((a, b))
        return {name: float(_together(each) / (end - begin)) for name, each in spans.items()}

    def signature(self, line: Line, k: int) -> dict[str, int]:
        """Return the key signature over a note as printed in its part: letter to alteration."""
        if line.part_id not in self._keys:
            keys, now = [], 0
            for measure in self._document.part_measures(line.part_id):
                for key in measure.iterfind("attributes/key/fifths"):
                    now = int(float(key.text or "0"))
                keys.append(now)
            self._keys[line.part_id] = keys
        keys = self._keys[line.part_id]
        index = line.notes[k].measure_index
        return signature(keys[index] if index < len(keys) else 0)


def _together(spans: Iterable[tuple[Fraction, Fraction]]) -> Fraction:
    """Return how long at least one of these spans lasts."""
    total, reached = Fraction(0), Fraction(0)
    for a, b in sorted(spans):
        total += max(Fraction(0), b - max(a, reached))
        reached = max(reached, b)
    return total

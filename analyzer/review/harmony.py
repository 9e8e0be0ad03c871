"""What sounds in a score with a note, and for how long; the other parts are read only when somebody asks."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction

from analyzer.pitch import Pitch, signature
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.sounding import Moment, Sounding, moment_of

NoteName = tuple[str, int]
"""Letter and alteration of a pitch, whatever the octave."""
_LEAST_QUARTERS = Fraction(1)


class Harmony:
    """Sounding pitches of every part of a score.

    Parts that cannot be read are left out: the harmony of the rest still holds.
    """

    def __init__(self, document: Document) -> None:
        """Take the score."""
        self._all = Sounding(document)
        self._keys: dict[str, list[int]] = {}

    def sounding(self, at: Moment, *, but: tuple[str, Sequence[int]]) -> tuple[Pitch, ...]:
        """Return the pitches that sound at a moment, low to high, each name once.

        `but` is a part's id and the refs of notes in it that do not count: the note in question.
        """
        own, refs = but
        index, place = at
        found = {
            note.pitch for note in self._all.measure(index)
            if note.begin <= place < note.end and not (note.part_id == own and note.ref in refs)
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
        for other in self._all.measure(index):
            a, b = max(other.begin, begin), min(other.end, end)
            if a < b and not (other.part_id == line.part_id and other.ref in note.refs):
                spans[other.pitch.step, other.pitch.alter].append((a, b))
        return {name: float(_together(each) / (end - begin)) for name, each in spans.items()}

    def signature(self, line: Line, k: int) -> dict[str, int]:
        """Return the key signature over a note as printed in its part: letter to alteration."""
        if line.part_id not in self._keys:
            keys, now = [], 0
            for measure in self._all.document.part_measures(line.part_id):
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

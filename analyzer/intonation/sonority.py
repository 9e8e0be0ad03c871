"""What sounds with each note of a line, over all parts of the score, and the chord that it makes.

A note is cut where anything begins or ends, over bar lines and ties; each stretch is named by itself, and the note has
the chord that holds for most of it.
"""

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from analyzer.intonation.chords import Chord, chord_of
from analyzer.pitch import Pitch
from analyzer.score.document import Document
from analyzer.score.lines import Line, LineNote
from analyzer.score.sounding import Sounding
from analyzer.score.transposing import Reads

_MOST_OF_NOTE = Fraction(3, 5)
"""Share of a note during which its chord, or part of it, must sound. Judged: less and a passing chord would bend a held
note, more and passing notes of others would leave it unnamed. A count against chords named by ear would change it."""
_PLAIN_SHARE = Fraction(3, 10)
"""Share of a note during which the whole chord must sound; the rest may be parts of it. Judged with the above."""


class Sonorities:
    """The chords of a score's notes. `reads` is how its treble-clef low brass is read, as for the lines."""

    def __init__(self, document: Document, reads: Reads | None = None) -> None:
        """Take the score; its parts are read when the first note asks."""
        self._sounding = Sounding(document, reads)

    def slices(self, line: Line, note: LineNote) -> Iterator[tuple[Fraction, tuple[Pitch, ...]]]:
        """Yield (length, pitches) of every stretch of a note in which nothing changes, its own pitch among them."""
        onset, end = note.onset, note.onset + note.duration
        for measure in line.measures:
            if measure.onset + measure.duration <= onset or measure.onset >= end or not measure.duration:
                continue
            begin = max(onset - measure.onset, Fraction(0))
            stop = min(end - measure.onset, measure.duration)
            here = [sound for sound in self._sounding.measure(measure.index)
                    if sound.begin < stop and sound.end > begin]
            cuts = sorted({begin, stop, *(cut for sound in here for cut in (sound.begin, sound.end)
                                          if begin < cut < stop)})
            for left, right in pairwise(cuts):
                pitches = {sound.pitch for sound in here if sound.begin <= left and sound.end >= right}
                yield right - left, (*sorted(pitches | {note.sounding}, key=lambda pitch: (pitch.midi, pitch.name)),)

    def chord(self, line: Line, index: int) -> Chord | None:
        """Return the chord of a line's note, None where no one chord holds for most of it."""
        note = line.notes[index]
        if not note.duration:
            return None
        named: dict[tuple[str, str], Fraction] = defaultdict(Fraction)
        chords: dict[tuple[str, str], Chord] = {}
        parts = list(self.slices(line, note))
        for length, pitches in parts:
            chord = chord_of(pitches)
            if chord is not None and chord.has(note.midi):
                key = (chord.root, chord.kind.name)
                named[key] += length
                chords[key] = chord
        best: tuple[Fraction, int, Chord] | None = None
        for key, chord in chords.items():
            within = sum((length for length, pitches in parts
                          if all(chord.has(pitch.midi) for pitch in pitches)), Fraction(0))
            if within >= _MOST_OF_NOTE * note.duration and named[key] >= _PLAIN_SHARE * note.duration:
                rank = (named[key], len(chord.kind.cents), chord)
                if best is None or rank[:2] > best[:2]:
                    best = rank
        return best[2] if best is not None else None

"""What sounds with each note of a line, over all parts of the score, and the chord that it makes.

A note is cut where anything begins or ends, over bar lines and ties; each stretch is named by itself, and the note has
the chord that holds for most of it.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from itertools import islice, pairwise

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
_RIVAL_SHARE = Fraction(1, 2)
"""A chord that asks for another place of the note and sounds for this share of the best one's time makes it uncertain:
the third of D in D major seventh is the root of an F sharp minor triad. Judged; from a third to two thirds, 3 of 1,723
long notes of twelve real scores change (without the rule 22)."""
_SAME_CENTS = 2.0                      # places nearer than this are one place (judged)


class Sonorities:
    """The chords of a score's notes. `reads` is how its treble-clef low brass is read, as for the lines."""

    def __init__(self, document: Document, reads: Reads | None = None) -> None:
        """Take the score; its parts are read when the first note asks."""
        self._sounding = Sounding(document, reads)

    def slices(self, line: Line, note: LineNote) -> Iterator[tuple[Fraction, tuple[Pitch, ...]]]:
        """Yield (length, pitches) of every stretch of a note in which nothing changes, its own pitch among them."""
        onset, end = note.onset, note.onset + note.duration
        first = max(0, bisect_right(line.measures, onset, key=lambda measure: measure.onset) - 1)
        for measure in islice(line.measures, first, None):
            if measure.onset >= end:
                break
            if measure.onset + measure.duration <= onset or not measure.duration:
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
        """Return the chord of a line's note, None where no one chord holds for most of it, or two could claim it."""
        note = line.notes[index]
        if not note.duration:
            return None
        named: dict[tuple[str, str], Fraction] = defaultdict(Fraction)
        chords: dict[tuple[str, str], Chord] = {}
        stretches = list(self.slices(line, note))
        for length, pitches in stretches:
            chord = chord_of(pitches)
            if chord is not None and chord.has(note.midi):
                key = (chord.root, chord.kind.name)
                named[key] += length
                chords[key] = chord
        _join_nested(chords, named)
        fits = [key for key, chord in chords.items() if named[key] >= _PLAIN_SHARE * note.duration
                and sum(length for length, pitches in stretches if all(chord.has(pitch.midi) for pitch in pitches))
                >= _MOST_OF_NOTE * note.duration]
        if not fits:
            return None
        best = max(fits, key=lambda key: (named[key], len(chords[key].kind.cents)))
        place = chords[best].target_cents(note.midi)
        rivals = (key for key, chord in chords.items() if named[key] >= _RIVAL_SHARE * named[best]
                  and abs(chord.target_cents(note.midi) - place) > _SAME_CENTS)
        return chords[best] if next(rivals, None) is None else None


def _join_nested(chords: dict[tuple[str, str], Chord], named: dict[tuple[str, str], Fraction]) -> None:
    """Count a diminished triad as the dominant seventh whose upper notes it has, where both sound with one note.

    It is heard as that chord without its root: common practice, textbooks of harmony call it the incomplete dominant
    seventh (from memory).
    """
    for key, chord in list(chords.items()):
        if chord.kind.name == "dominant seventh":
            for other, top in list(chords.items()):
                if top.kind.name == "diminished" and top.root_class == (chord.root_class + 4) % 12:
                    named[key] += named[other]
                    del chords[other]

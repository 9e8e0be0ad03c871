"""Lines made by hand, for tests that need no file."""

from fractions import Fraction

from analyzer.pitch import parse_pitch
from analyzer.score.lines import Line, LineNote
from analyzer.score.timeline import Measure, Tempo


def line_of(names: str, quarters: Fraction | float = Fraction(1), *, bpm: float = 60.0, slur: bool = False,
            gliss: bool = False, family: str = "trombone") -> Line:
    """A line of equal notes; a name with ``~`` behind it is slurred to the next, with ``/`` glides to it."""
    length = Fraction(quarters).limit_denominator(10**6)
    notes = []
    for k, text in enumerate(names.split()):
        pitch = parse_pitch(text.rstrip("~/"))
        notes.append(LineNote(
            refs=(k,), measure=str(k // 4 + 1), measure_index=k // 4, onset=length * k, duration=length, written=pitch,
            sounding=pitch, midi=pitch.midi, slur_after=slur or "~" in text, gliss_after=gliss or "/" in text))
    count = (len(notes) + 3) // 4
    measures = tuple(
        Measure(index=m, number=str(m + 1), onset=length * 4 * m, duration=length * 4) for m in range(count))
    return Line(part_id="P1", part_name="Test", family=family, number=1, of=1, notes=tuple(notes), measures=measures,
                tempi=(Tempo(onset=Fraction(0), bpm=bpm),))

"""The line that one player plays: ties joined, chords and voices divided, in playing order as printed."""

from dataclasses import dataclass
from fractions import Fraction

from analyzer.pitch import Pitch
from analyzer.score.timeline import Measure, Tempo


@dataclass(frozen=True, slots=True, kw_only=True)
class LineNote:
    """One attack of a line. `refs` are the ``<note>`` elements it covers (first the attack, then what is tied to it).

    `onset` and `duration` in quarter notes; a grace note has duration 0. `measure` is the number as printed,
    `measure_index` its place in the part.
    """

    refs: tuple[int, ...]
    measure: str
    measure_index: int
    onset: Fraction
    duration: Fraction
    written: Pitch
    sounding: Pitch
    midi: int
    grace: bool = False
    slur_after: bool = False
    gliss_after: bool = False
    staccato: bool = False
    tenuto: bool = False
    breath_after: bool = False
    fermata: bool = False
    optional: bool = False
    harmonic: bool = False
    given: str | None = None
    instrument: str | None = None
    clef: str = "bass"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What one player plays of a part. `number` counts from 1, `of` is how many lines the part has.

    `jumps` are pairs of note indices (i, j): after note i playing may go on at note j (a repeat).
    """

    part_id: str
    part_name: str
    family: str                        # trombone, bass trombone, euphonium, baritone, other
    number: int
    of: int
    notes: tuple[LineNote, ...]
    measures: tuple[Measure, ...]
    tempi: tuple[Tempo, ...]
    jumps: tuple[tuple[int, int], ...] = ()

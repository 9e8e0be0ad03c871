"""What is printed in one part: measures, notes, tempo, jumps. Plain values; no XML, no horn."""

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from analyzer.assumption import Assumption
from analyzer.pitch import Pitch

LENGTHS = {
    "1024th": Fraction(1, 256), "512th": Fraction(1, 128), "256th": Fraction(1, 64), "128th": Fraction(1, 32),
    "64th": Fraction(1, 16), "32nd": Fraction(1, 8), "16th": Fraction(1, 4), "eighth": Fraction(1, 2),
    "quarter": Fraction(1), "half": Fraction(2), "whole": Fraction(4), "breve": Fraction(8), "long": Fraction(16),
    "maxima": Fraction(32),
}
"""Note values of the MusicXML standard [quarter notes]."""
_OF_UNIT = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th"}
_LONGER = {"eighth": "quarter", "16th": "eighth", "32nd": "16th", "quarter": "half", "half": "whole"}


def real(quarters: Fraction) -> float:
    """Return a length as a float: what ``float()`` gives, in a third of the time."""
    numerator, denominator = quarters.as_integer_ratio()
    return numerator / denominator


class Beat(NamedTuple):
    """One beat: a note value (`unit`, as MusicXML names it) and its augmentation dots."""

    unit: str = "quarter"
    dots: int = 0

    @property
    def quarters(self) -> Fraction:
        """How long it lasts [quarter notes]."""
        return LENGTHS[self.unit] * (2 - Fraction(1, 2**self.dots))

    @property
    def text(self) -> str:
        """Its name in words: ``half note``, ``dotted quarter note``."""
        dotted = {0: "", 1: "dotted ", 2: "double-dotted "}.get(self.dots, "dotted ")
        return f"{dotted}{self.unit} note"


QUARTER = Beat()


def beat_of(beats: int, unit: int, *, cut: bool = False) -> Beat:
    """Return the beat of a time signature: a half note in cut time, dotted in compound time.

    Compound time is 6, 9 or 12 of a value, counted in threes (common practice, no source).

    Examples
    --------
    >>> beat_of(4, 4), beat_of(4, 4, cut=True).unit, beat_of(2, 2).unit, beat_of(6, 8), beat_of(7, 8).unit
    (Beat(unit='quarter', dots=0), 'half', 'half', Beat(unit='quarter', dots=1), 'eighth')
    """
    if cut:
        return Beat("half")
    name = _OF_UNIT.get(unit, "quarter")
    if beats > 3 and beats % 3 == 0 and unit >= 4 and name in _LONGER:
        return Beat(_LONGER[name], 1)
    return Beat(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One measure as printed. `number` is the score's own text, `onset` and `duration` in quarter notes.

    `beat` is that of the time signature.
    """

    index: int
    number: str
    onset: Fraction
    duration: Fraction
    beat: Beat = QUARTER


# Not frozen, as all other values are: that takes three times as long to make, and there is one for every note. Nothing
# changes it.
@dataclass(slots=True, kw_only=True, unsafe_hash=True)
class Note:
    """One sounding ``<note>`` of the part, as printed (a chord is several, a tie is two).

    `ref` is the ordinal of the element among all ``<note>`` elements of its part, in document order from 0.
    `onset` and `duration` count quarter notes from the start of the part; a grace note has duration 0 and the
    onset of the note it leans on.
    """

    ref: int
    measure: int                       # index into Part.measures
    onset: Fraction
    duration: Fraction
    written: Pitch
    sounding: Pitch
    voice: str
    staff: int
    chord: bool                        # sounds with the note before it
    grace: bool = False
    tie_start: bool = False
    tie_stop: bool = False
    slur_after: bool = False           # inside a slur that goes on to the next note of the voice
    gliss_after: bool = False          # a glissando or slide line leads to the next note
    staccato: bool = False
    tenuto: bool = False
    breath_after: bool = False         # breath mark or caesura
    fermata: bool = False
    optional: bool = False             # in brackets
    harmonic: bool = False             # printed as a harmonic or a multiphonic
    given: str | None = None           # a fingering that was in the file and is not ours
    instrument: str | None = None      # id of the score-instrument in force, where the part names several
    clef: str = "bass"                 # clef in force: bass, tenor, alto, treble, ...
    family: str | None = None          # of the horn that the player has taken up, None: that of the part
    slash: bool = False                # slash notation: rhythm without pitch


@dataclass(frozen=True, slots=True, kw_only=True)
class Tempo:
    """A tempo from `onset` on [quarter notes per minute]; `ramp` where the tempo glides to the next mark.

    `word` is the tempo word that it was taken from, `playback` tells that only the file's playback has it; neither
    where a number is printed, and `beat` is then the value that the number counts.
    """

    onset: Fraction
    bpm: float
    ramp: bool = False
    word: str = ""
    playback: bool = False
    beat: Beat | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """Playing may leave `from_measure` and go on in `to_measure` (indices): repeats, D.C., D.S., endings.

    The offsets count inside these measures [quarter notes]: a repeat may begin and end in the middle of one.
    """

    from_measure: int
    to_measure: int
    from_offset: Fraction | None = None          # None: at the end of the measure
    to_offset: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """One printed rest; kept where voices share a part, as it tells that a player is silent there."""

    measure: int
    onset: Fraction
    duration: Fraction
    voice: str
    staff: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """A word that says how many play, from `onset` on in `staff`: ``a2``, ``unis``, ``div``, ``1``, ``2``."""

    onset: Fraction
    staff: int
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Everything printed in one part that matters to its players."""

    id: str
    name: str
    measures: tuple[Measure, ...]
    notes: tuple[Note, ...]            # document order
    tempi: tuple[Tempo, ...]           # from the whole score, by onset; empty where none is marked
    jumps: tuple[Jump, ...] = ()
    players: tuple[Direction, ...] = ()
    rests: tuple[Rest, ...] = ()       # only of parts with several voices
    assumptions: tuple[Assumption, ...] = ()

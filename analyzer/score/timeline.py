"""What is printed in one part: measures, notes, tempo, jumps. Plain values; no XML, no horn."""

from dataclasses import dataclass
from fractions import Fraction

from analyzer.assumption import Assumption
from analyzer.pitch import Pitch
from analyzer.score.beat import QUARTER, Beat


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


@dataclass(frozen=True, slots=True, kw_only=True)
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

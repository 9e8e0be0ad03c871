"""The line that one player plays: ties joined, chords and voices divided, in playing order as printed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from analyzer.assumption import Assumption
from analyzer.pitch import Pitch
from analyzer.score.beat import Beat
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
    family: str | None = None          # of the horn that the player has taken up, None: that of the part
    free: bool = False                 # too short to be played in time: free time, as in a cadenza


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What one player plays of a part on one horn. `number` counts from 1, `of` is how many lines the part has.

    Where a player changes horns, each horn has a line, and `player` is (number of the player, how many players).
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
    player: tuple[int, int] | None = None
    assumptions: tuple[Assumption, ...] = ()

    def beat_at(self, onset: Fraction) -> Beat:
        """Return the beat that is printed at an onset: that of the metronome mark, else of the time signature.

        A metronome mark tells the beat until the time signature changes to another.
        """
        here = next((one for one in reversed(self.measures) if one.onset <= onset), None)
        meter = here.beat if here else Beat()
        told = next((tempo for tempo in reversed(self.tempi) if tempo.onset <= onset), None)
        if told is None or told.beat is None:
            return meter
        before = next((one.beat for one in reversed(self.measures) if one.onset <= told.onset), meter)
        return told.beat if before == meter else meter

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Line({self.part_id} {self.part_name!r}, {self.number} of {self.of}, {len(self.notes)} notes)"

    @property
    def whose(self) -> str:
        """What tells the line from others of its part: ``player 2 of 3``, ``on euphonium``; empty for an only line."""
        number, of = self.player or (self.number, self.of)
        told = [f"player {number} of {of}"] if of > 1 else []
        if self.player is not None:
            told.append(f"on {self.family}")
        return ", ".join(told)

    def picked(self, kept: Sequence[int]) -> "Line":
        """Return the line with only the notes of these indices (in order), and the jumps between them."""
        place = {old: new for new, old in enumerate(kept)}
        return replace(self, notes=tuple(self.notes[k] for k in kept),
                       jumps=tuple((place[a], place[b]) for a, b in self.jumps if a in place and b in place))

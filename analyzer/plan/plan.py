"""The plan of a line: one candidate a note, the next best, its price, and the totals."""

from dataclasses import dataclass

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.plan.familiarity import Rank
from analyzer.plan.limits import By
from analyzer.plan.player import Player
from analyzer.plan.timing import NoteTime
from analyzer.problem import Problem
from analyzer.score.lines import Line, LineNote
from analyzer.score.timeline import QUARTER, Beat

HEARD_MM = 3.0
"""Smaller moves are not printed. Derived: `pitch.HEARD_CENTS` are 4 mm of slide in first and 6 in seventh; a pure fifth
is 2 cents, or 2 mm, from its equal place, which no arm aims at."""


@dataclass(slots=True, kw_only=True, unsafe_hash=True)            # not frozen, as timeline.Note is not
class Alternative:
    """Another way to sound a note, and how much more the best whole plan with it costs (`extra_cost`, 0 or more)."""

    choice: Candidate
    extra_cost: float


@dataclass(slots=True, kw_only=True, unsafe_hash=True)            # not frozen, as timeline.Note is not
class PlannedNote:
    """One note with its choice.

    `choice` is None where nothing sounds it, with a `problem`. `usual` is the usual chart's choice, None where the
    chart has none. `rank` is how familiar the choice is, None without one. `toss_up` tells that the usual choice is
    marked though another costs hardly more: that one comes first among the alternatives.
    """

    index: int
    note: LineNote
    time: NoteTime
    choice: Candidate | None
    usual: Candidate | None
    pinned: bool
    why: tuple[str, ...]
    alternatives: tuple[Alternative, ...]
    problem: Problem | None = None
    rank: Rank | None = None
    toss_up: bool = False

    @property
    def changed(self) -> bool:
        """True where the plan leaves the usual chart."""
        return self.choice is not None and self.usual is not None and self.choice.label != self.usual.label


@dataclass(frozen=True, slots=True, kw_only=True)
class AlternateGroup:
    """Neighbouring notes off the chart, `first` to `last`, with one reason for all of them.

    `saves_mm` is the slide travel of the whole line solved again with the group held on the chart, less the plan's;
    0 on a horn without a slide. `span` bounds the notes [first, last] that this second solution had to look at.
    """

    first: int
    last: int
    measures: tuple[str, str]
    labels: tuple[str, ...]
    chart_labels: tuple[str, ...]
    saves_mm: float
    why: str
    span: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """Sums over a line. A figure that has no meaning for the horn is None.

    `travel_mm` is the slide's way as planned, `chart_travel_mm` by the usual chart, not counted across a note that
    cannot be played; `tempo_ceiling_bpm` the tempo [quarter notes a minute, in force at the hardest move] up to which
    some plan stays within what the player can do, and `ceiling_by` what stops it there: slide, valves, tongue, lip, or
    none.
    """

    notes: int
    unplayable: int
    travel_mm: float | None
    chart_travel_mm: float | None
    valve_changes: int
    peak_speed_mm_s: float | None
    tempo_ceiling_bpm: float | None
    ceiling_by: By


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The best plan of a line on a horn for a player. `cost` in cm of unhurried travel."""

    line: Line
    horn: Horn
    player: Player
    notes: tuple[PlannedNote, ...]
    totals: Totals
    cost: float
    hardest: tuple[int, ...]           # indices of the moves that set the tempo ceiling
    groups: tuple[AlternateGroup, ...] = ()     # notes off the chart; none in an outline

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Plan({self.line!r}, {self.horn.name}, cost={self.cost:.1f})"

    @property
    def picked(self) -> tuple[Candidate | None, ...]:
        """The choice of each note, None where nothing sounds it."""
        return tuple(note.choice for note in self.notes)

    @property
    def ceiling_in_beats(self) -> tuple[Beat, float | None]:
        """The beat that is printed at the hardest step (at the first note where nothing is hard), and the tempo
        ceiling in it [beats a minute], None where nothing limits it.
        """
        where = self.hardest[0] if self.hardest else 0
        beat = self.line.beat_at(self.notes[where].note.onset) if self.notes else QUARTER
        bpm = self.totals.tempo_ceiling_bpm
        return beat, None if bpm is None else bpm / float(beat.quarters)

"""What stands on a chart for the wall: ranges, notes with their spellings, usual choice, alternates, and the rest.

A change of horn is such a chart of the notes that change, with the usual choice of the old horn beside the new one's.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.horns.transition import Transition
from analyzer.pitch import Pitch, pitch_of
from analyzer.plan.familiarity import Rank, familiarity

Clef = Literal["bass", "tenor", "alto", "treble"]

MOST_ALTERNATES = 3
"""More under one note are not read from across a room. Judged; they stand in the list of the rest."""
HIGHEST_PRACTICAL_PARTIAL = 8
"""The open partial on which the practical range ends, B flat 4 on a horn in B flat. Judged: school parts seldom go
beyond; a count of printed school parts would change our mind."""
_TENOR_ABOVE = 65
"""A trombone's notes above F4 stand in tenor clef: from G4 on bass clef needs three ledger lines (common practice)."""
_ALTO_FROM = 38
"""A trombone whose first partial lies above D2 is an alto, read in alto clef (common practice). [MIDI]"""
_TREBLE_UP = 14
"""Treble clef in B flat is written a major ninth above its sound. [semitones]"""
_HALVINGS = 12                        # semitones an octave, for each doubling of the partial's number


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One note: sounding `midi`, its spellings as written (sharp before flat), clef, and every choice by its place.

    `alternates` are the familiar ones with their rank, the best first, at most `MOST_ALTERNATES`; `rest` is what is
    left of the chart's choices, in its order. `before` is the usual choice of the horn that one comes from.
    """

    midi: int
    written: tuple[Pitch, ...]
    clef: Clef
    usual: Candidate | None
    alternates: tuple[tuple[Candidate, Rank], ...]
    rest: tuple[Candidate, ...]
    before: Candidate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Neighbouring notes under one heading, lowest first."""

    heading: str
    columns: tuple[Column, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A horn's chart for one way of reading; `reading` says it in words. With `change` only the notes that change."""

    horn: Horn
    reading: str
    ranges: tuple[Range, ...]
    change: Transition | None = None

    def columns(self) -> Iterator[Column]:
        """Yield every note, range by range."""
        for part in self.ranges:
            yield from part.columns


def walls(horn: Horn) -> tuple[Wall, ...]:
    """Return the chart once for each way in which players of the horn read: valved horns in bass and in treble clef."""
    if horn.family == "valves":
        return (_wall(horn, "Bass clef, as it sounds", treble=False),
                _wall(horn, "Treble clef in B♭, sounds a major ninth lower", treble=True))
    return (_wall(horn, "As it sounds", treble=False),)


def change_walls(change: Transition) -> tuple[Wall, ...]:
    """Return a change of horn once for each way of reading: the notes that change, with both usual choices."""
    changed = {one.midi: one for one in change.notes if one.kind != "stays"}
    done = []
    for wall in walls(change.after):
        treble = wall.reading.startswith("Treble")
        whole = {column.midi: column for column in wall.columns()}
        columns = [replace(whole.get(midi) or _column(change.after, midi, treble=treble), alternates=(), rest=(),
                           before=one.before) for midi, one in sorted(changed.items())]
        pedals = {midi for midi, one in changed.items()
                  if all(choice is None or choice.partial == 1 for choice in (one.before, one.after))}
        ranges = (Range(heading=heading, columns=tuple(column for column in columns if (column.midi in pedals) is low))
                  for heading, low in (("Notes that change", False), ("Pedals that change", True)))
        done.append(replace(wall, ranges=tuple(part for part in ranges if part.columns), change=change))
    return tuple(done)


def _wall(horn: Horn, reading: str, *, treble: bool) -> Wall:
    low, high = sounding_range(horn)
    columns = [_column(horn, midi, treble=treble) for midi in range(low, high + 1)]
    top = horn.fundamental_midi + _HALVINGS * (HIGHEST_PRACTICAL_PARTIAL.bit_length() - 1)
    first = len(columns)
    # Pedals are what the first partial gives; a gap above them belongs to them.
    while first and (usual := columns[first - 1].usual) is not None and usual.partial > 1:
        first -= 1
    parts = (("Practical range", [column for column in columns[first:] if column.midi <= top]),
             ("High range", [column for column in columns[first:] if column.midi > top]),
             ("Pedal range", columns[:first]))
    return Wall(horn=horn, reading=reading, ranges=tuple(
        Range(heading=f"{name}: {inside[0].written[-1].pretty} to {inside[-1].written[-1].pretty}",
              columns=tuple(inside))
        for name, inside in parts if inside))


def _column(horn: Horn, midi: int, *, treble: bool) -> Column:
    usual = chart_choice(horn, midi)
    others = [choice for choice in candidates(horn, midi) if choice != usual]
    ranked = [(choice, familiarity(horn, choice, usual).rank) for choice in others if choice.advice is None]
    taught = sorted((pair for pair in ranked if pair[1] in ("common", "rare")), key=lambda pair: pair[1] != "common")
    alternates = tuple(taught[:MOST_ALTERNATES])
    shown = [choice for choice, _ in alternates]
    return Column(midi=midi, written=spellings(midi + (_TREBLE_UP if treble else 0)),
                  clef="treble" if treble else _clef(horn, midi), usual=usual, alternates=alternates,
                  rest=tuple(choice for choice in others if choice not in shown))


def spellings(midi: int) -> tuple[Pitch, ...]:
    """Return the spellings of a pitch that students meet: one of a white key; sharp, then flat, of a black one.

    Examples
    --------
    >>> [pitch.name for pitch in spellings(58)]
    ['A#3', 'Bb3']
    """
    usual = pitch_of(midi)
    if not usual.alter:
        return (usual,)
    below, above = pitch_of(midi - 1), pitch_of(midi + 1)
    return Pitch(below.step, 1, below.octave), Pitch(above.step, -1, above.octave)


def _clef(horn: Horn, midi: int) -> Clef:
    if horn.kind == "euphonium" or horn.family == "valves":
        return "bass"
    if horn.fundamental_midi > _ALTO_FROM:
        return "alto"
    return "tenor" if midi > _TENOR_ABOVE else "bass"

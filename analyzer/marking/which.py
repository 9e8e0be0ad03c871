"""Which notes are marked, and in what form: all, or those that a reader who knows the chart has to be told."""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any, Literal, Protocol

from analyzer.analysis import Planned
from analyzer.marking.mark import Mark, aim_of
from analyzer.plan.plan import HEARD_MM, PlannedNote
from analyzer.words import shown

_LEAST_REST = Fraction(1, 50)
"""Shorter gaps come of rounded lengths, not of rests (a 64th rest is 1/16). [quarter notes]"""
Which = Literal["all", "changes", "alternates"]
"""Every note; the first note, the first after a rest and every alternate; alternates alone."""
Pictures = Literal["hard", "all", "none"]
"""Behind a part on paper: a sheet of its hardest spots, all slide or valve pictures as well, or nothing."""
WriteAs = Literal["fingering", "lyric"]
"""How marks stand in a score: what notation programs take, or what converters take that want digits as fingerings."""


def asked_for(notes: Sequence[PlannedNote], which: Which) -> list[PlannedNote]:
    """Return the notes to mark.

    An alternate is a choice that is not the usual chart's. A note that cannot be played is always among them: left
    without a mark it would look like one that is played as usual.
    """
    if which == "all":
        return list(notes)
    return [note for place, note in enumerate(notes)
            if note.choice is None or note.usual is None or note.changed
            or (which == "changes" and (place == 0 or _rests(notes[place - 1], note)))]


class Chosen(Protocol):
    """A note of a plan or of a sheet: what it is played with, None where it cannot be played or is a rest."""

    @property
    def choice(self) -> Any:
        """The choice."""


def aim_said(note: Chosen) -> str:
    """Say how far a slide moves for the chord, where that is more than anybody would hear in a melody."""
    choice = note.choice
    if choice is None or choice.extension_mm is None or abs(choice.shift_mm) < HEARD_MM:
        return ""
    return aim_of(choice.shift_mm)


def _rests(before: PlannedNote, after: PlannedNote) -> bool:
    """Tell whether silence is written between two notes."""
    return after.note.onset - before.note.onset - before.note.duration > _LEAST_REST


def marks(lines: Iterable[Planned], which: Which = "all") -> list[Mark]:
    """Return the marks to print: one for each attack (a tied note is marked once).

    `which` chooses among them as `asked_for` tells.
    """
    found = []
    for one in lines:
        joined = {k for group in one.plan.groups for k in range(group.first + 1, group.last + 1)}
        found += [
            Mark(part_id=one.part.id, ref=note.note.refs[0], line=one.plan.line.number,
                 text=shown(note.choice.label) if note.choice else "×", changed=note.changed,
                 playable=note.choice is not None, joins=note.index in joined, aim=aim_said(note))
            for note in asked_for(one.plan.notes, which)]
    return found

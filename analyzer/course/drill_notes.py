"""The notes of a drill: those ``skills.toml`` writes, the move of an excerpt, or steps along the clef's staff."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from analyzer.course.skills import STAFF, Goal, RoadSkill
from analyzer.horns.candidates import candidates
from analyzer.pitch import Pitch, parse_pitch
from analyzer.writing.readers import clef_reader

_TOP_LINE = 8
_MOST_STEPS = 6
"""Notes of a drill along the staff before it turns back; judged: one breath, down and up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillNote:
    """One note: its sounding pitch, how it is played (empty: as the plan has it), its length [quarter notes].

    `slurred` ties it by a slur to the next.
    """

    pitch: Pitch
    label: str = ""
    quarters: Fraction = Fraction(1)
    slurred: bool = False


End = tuple[Pitch, str]
"""One end of a move: a sounding pitch, and how it is played."""


def parse_notes(text: str) -> tuple[DrillNote, ...]:
    """Read notes as ``skills.toml`` writes them: pitch, ``=`` how it is played, ``:`` quarter notes, ``~`` slurred.

    Raises
    ------
    ValueError
        If a pitch or a length cannot be read.

    Examples
    --------
    >>> [(note.pitch.name, note.label, int(note.quarters), note.slurred) for note in parse_notes("C3=T1:4~ D3")]
    [('C3', 'T1', 4, True), ('D3', '', 1, False)]
    """
    found = []
    for word in text.split():
        name, _, length = word.removesuffix("~").partition(":")
        pitch, _, label = name.partition("=")
        found.append(DrillNote(pitch=parse_pitch(pitch), label=label, quarters=Fraction(length or 1),
                               slurred=word.endswith("~")))
    return tuple(found)


def drill_notes(skill: RoadSkill, goal: Goal, moves: Sequence[tuple[End, End]]) -> tuple[DrillNote, ...]:
    """Return the notes of a drill; none where the music has no move of the skill, or this player no note of it.

    `moves` are moves of the skill in this week's excerpts, the first counts.
    """
    if skill.is_move:
        return _to_and_fro(*moves[0], quick=skill.quick_s is not None) if moves else ()
    if skill.steps is not None:
        return _along_the_staff(skill.steps, goal)
    notes = parse_notes(skill.notes)
    return notes if all(_playable(note, goal) for note in notes) else ()


def _playable(note: DrillNote, goal: Goal) -> bool:
    low, high = goal.player.low, goal.player.high
    midi = note.pitch.midi
    return ((low is None or midi >= low) and (high is None or midi <= high) and any(
        one.label == note.label or not note.label for one in candidates(goal.after, midi)
        if one.out_mm <= goal.player.reach_on(goal.after) and goal.player.can_hold(one.valves)))


def _to_and_fro(before: End, after: End, *, quick: bool) -> tuple[DrillNote, ...]:
    """Return the two notes alone: half notes, quarters, for a quick move eighths; the first note to end on."""
    found: list[DrillNote] = []
    for quarters, times in ((Fraction(2), 2), (Fraction(1), 2), *(((Fraction(1, 2), 4),) if quick else ())):
        for _ in range(times):
            found += [DrillNote(pitch=before[0], label=before[1], quarters=quarters, slurred=not quick),
                      DrillNote(pitch=after[0], label=after[1], quarters=quarters)]
    return (*found, DrillNote(pitch=before[0], label=before[1], quarters=Fraction(4)))


def _along_the_staff(steps: tuple[int, int], goal: Goal) -> tuple[DrillNote, ...]:
    """Return the notes of places on the staff and back, unaltered: from the clef's line, or from the outer line of the
    staff to the first ledger line.
    """
    clef = goal.clef or "bass"
    bottom, home = STAFF[clef]
    low, high = steps
    if low <= home <= high:                              # the clef's line, above, the line, below
        out = [home, home + 1, home, home - 1]
    elif low > _TOP_LINE or high < 0:
        out = list(range(_TOP_LINE, _TOP_LINE + 3)) if low > home else [0, -1, -2]
    else:
        out = list(range(home, high + 1)) if low > home else list(range(home, low - 1, -1))[:_MOST_STEPS]
    moved = clef_reader(clef).transposition
    notes = {}
    for place in out:
        octave, step = divmod(bottom + place, 7)
        notes[place] = DrillNote(pitch=moved.sounding(Pitch("CDEFGAB"[step], 0, octave)))
    there = [place for place in out if _playable(notes[place], goal)]
    if not any(low <= place <= high for place in there):
        return ()
    return tuple(notes[place] for place in (*there, *reversed(there[:-1])))

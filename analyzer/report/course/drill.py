"""The drill of a new thing, engraved: the notes of its skill on the new horn, in the clef of the sheet."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from analyzer.course.course import Excerpt
from analyzer.course.drill_notes import DrillNote, End, drill_notes
from analyzer.course.skills import Goal, RoadSkill
from analyzer.course.stretches import staff_step
from analyzer.report.course.music import ExcerptMusic, engraved
from analyzer.score.composing import Bar, Head, Instrument, Sound, Voiced, composed
from analyzer.score.document import read_score
from analyzer.selection import asked_lines, chosen_parts
from analyzer.writing.readers import SIGNS, Clef, clef_reader
from analyzer.writing.rests import printed_value

_BAR = Fraction(4)
_BPM = 60
"""A drill begins with time for every move; judged."""


def drill_svgs(skill: RoadSkill, goal: Goal, clef: Clef | None, week: Sequence[tuple[Excerpt, ExcerptMusic]],
               ) -> tuple[str, ...]:
    """Return the lines of music of a drill; none where it has no notes (`drill_notes`)."""
    notes = drill_notes(skill, goal, [move for excerpt, music in week for move in _moves(skill, goal, excerpt, music)])
    if not notes:
        return ()
    clef = clef or "bass"
    slide = goal.after.family == "slide"
    name, sound = ("Trombone", "brass.trombone") if slide else ("Euphonium", "brass.euphonium")
    data, _ = composed([Voiced(name=name, instruments=[Instrument(name=name, sound=sound)], bars=_bars(notes, clef))])
    document = read_score(data, "drill")
    parts, _ = chosen_parts(document, ("P1",))
    (asked,), _ = asked_lines(document, parts, reads="treble-b-flat" if clef == "treble-b-flat" else None)
    measures = asked.line.measures
    pins = {k: note.label for k, note in enumerate(notes) if note.label}
    return engraved(document, asked, goal, measures[0].index, measures[-1].index, pins)[1]


def _moves(skill: RoadSkill, goal: Goal, excerpt: Excerpt, music: ExcerptMusic) -> Sequence[tuple[End, End]]:
    """Return the moves of a skill in an excerpt as it is played there."""
    if music.planned is None or skill.id not in excerpt.skills:
        return ()
    planner, plan = music.planned.planner, music.planned.plan
    found = []
    for k, (before, after) in enumerate(pairwise(plan.notes)):
        if before.choice is None or after.choice is None or not (
                excerpt.start <= before.note.measure_index and after.note.measure_index <= excerpt.stop):
            continue
        steps = [staff_step(one.note.written, one.note.sounding, goal) for one in (before, after)]
        leap = None if steps[0] is None or steps[1] is None else steps[1] - steps[0]
        if skill.has_move(before.choice, after.choice, planner.times[k].next_s, leap):
            found.append(((before.note.sounding, before.choice.label), (after.note.sounding, after.choice.label)))
    return found


def _bars(notes: Sequence[DrillNote], clef: Clef) -> list[Bar]:
    """Return the notes in measures of four quarters, without a key: every accidental stands beside its note."""
    moved = clef_reader(clef).transposition
    sign, line = SIGNS[clef]
    bars: list[Bar] = []
    at, slurred = _BAR, False
    for note in notes:
        if at >= _BAR:
            bars.append(Bar(number=str(len(bars) + 1), length=_BAR))
            at = Fraction(0)
        value = printed_value(note.quarters)
        kind, dots = (value[0], value[1]) if value else ("", 0)
        slurs = ['<slur type="stop" number="1"/>'] * slurred + ['<slur type="start" number="1"/>'] * note.slurred
        bars[-1].voices.setdefault((1, 1), []).append(Sound(
            at=at, length=note.quarters, kind=kind, dots=dots, heads=[Head(pitch=moved.written(note.pitch))],
            notations=slurs))
        at, slurred = at + note.quarters, note.slurred
    first = bars[0]
    first.time, first.keys, first.clefs = ("4", "4", ""), {1: 0}, [(Fraction(0), 1, sign, line, 0)]
    first.transpositions = [(Fraction(0), moved)] if clef == "treble-b-flat" else []
    first.directions = [(Fraction(0), 1, "", f'tempo="{_BPM}"')]
    return bars

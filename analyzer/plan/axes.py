"""What makes a line hard, as a teacher names it: one entry an axis, each with its measure and reason; never one grade.

`share` says how near the line comes to the player's limit there, 1 at the limit, and is None where nothing is told or
known to measure it against: then the entry says what is there, for a teacher to judge. The loads are those of
`plan.loads`, tuning and range those of `plan.difficulty`.
"""

from collections import Counter
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from analyzer.plan.difficulty import BENT, HEARD_S
from analyzer.plan.haste import haste_said
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.words import shown

AxisName = Literal["slide", "valves", "tongue", "leap and lip", "range", "endurance", "reading", "tuning"]
REST_S = 2.0
"""A silence from here on is a rest for the lip: a full breath, horn down. [s] Judged, as in reviews."""
_OCTAVE = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis: where it is hardest (`index` of the note, from 0) and why, as one sentence."""

    axis: AxisName
    share: float | None
    measure: str
    index: int
    reason: str


def axes(planner: Planner, plan: Plan) -> tuple[Axis, ...]:
    """Return the axes on which a line asks for anything, in a fixed order; `plan` must come from `planner`."""
    if not plan.notes:
        return ()
    found = [*_haste(planner, plan), *_leap(plan), _range(plan), _endurance(plan), _reading(plan), *_tuning(plan)]
    lip = [axis for axis in found if axis.axis == "leap and lip"]
    # A slur at the lip's limit says more than the widest leap.
    return tuple(axis for axis in found if axis not in lip[1:])


def _at(plan: Plan, axis: AxisName, index: int, reason: str, share: float | None = None) -> Axis:
    return Axis(axis=axis, share=None if share is None else round(share, 3), index=index, reason=reason,
                measure=plan.notes[index].note.measure)


def _haste(planner: Planner, plan: Plan) -> list[Axis]:
    loads = planner.loads_of(plan)
    names: tuple[tuple[Literal["slide", "valves", "tongue", "lip"], AxisName], ...] = (
        ("slide", "slide"), ("valves", "valves"), ("tongue", "tongue"), ("lip", "leap and lip"))
    found = []
    for kind, name in names:
        k = max(range(len(loads)), key=lambda k: float(getattr(loads[k], kind)), default=None)
        if k is not None and (share := float(getattr(loads[k], kind))) > 0:
            found.append(_at(plan, name, k, f"{haste_said(planner, plan.picked, k, loads[k].only(kind))}.", share))
    return found


def _leap(plan: Plan) -> list[Axis]:
    steps = [(abs(b.note.midi - a.note.midi), a.index) for a, b in zip(plan.notes, plan.notes[1:], strict=False)]
    widest, k = max(steps, key=lambda step: (step[0], -step[1]), default=(0, 0))
    if widest < _OCTAVE:
        return []
    a, b = plan.notes[k].note, plan.notes[k + 1].note
    return [_at(plan, "leap and lip", k, f"The widest leap, {a.sounding.pretty} to {b.sounding.pretty}, is {widest} "
                                         f"half steps, {plan.notes[k].time.next_s:.1f} s from note to note.")]


def _range(plan: Plan) -> Axis:
    player = plan.player
    high = max(plan.notes, key=lambda planned: (planned.note.midi, -planned.index))
    low = min(plan.notes, key=lambda planned: (planned.note.midi, planned.index))
    outside = [planned for planned in (high, low) if (player.low is not None and planned.note.midi < player.low)
               or (player.high is not None and planned.note.midi > player.high)]
    reason = f"From {low.note.sounding.pretty} (m. {low.note.measure}) to {high.note.sounding.pretty} (m. " \
             f"{high.note.measure})"
    if outside:
        return _at(plan, "range", outside[0].index, f"{reason}: beyond the range in the player file.", 1.0)
    return _at(plan, "range", high.index, f"{reason}.")


def _endurance(plan: Plan) -> Axis:
    """The longest stretch without a rest, from its first note."""
    best, first = (0.0, 0, 0), 0
    for k, planned in enumerate(plan.notes):
        if k and planned.time.start_s - plan.notes[k - 1].time.start_s - plan.notes[k - 1].time.sounds_s >= REST_S:
            first = k
        length_s = planned.time.start_s + planned.time.sounds_s - plan.notes[first].time.start_s
        if length_s > best[0]:
            best = length_s, first, k
    length_s, first, last = best
    return _at(plan, "endurance", first, f"{length_s:.0f} s with no rest of {REST_S:.0f} s, mm. "
                                         f"{plan.notes[first].note.measure}-{plan.notes[last].note.measure}.")


def _reading(plan: Plan) -> Axis:
    """The measure with most sharps and flats, printed or of the key, and the clefs that the line changes between."""
    def signs(measure: int) -> int:
        return sum(bool(planned.note.written.alter) for planned in by_measure[measure])

    by_measure = {m: list(notes) for m, notes in groupby(plan.notes, key=lambda planned: planned.note.measure_index)}
    worst = max(by_measure, key=lambda m: (signs(m), len(by_measure[m]), -m))
    clefs = Counter(planned.note.clef for planned in plan.notes)
    told = f"; clefs: {', '.join(clefs)}" if len(clefs) > 1 else ""
    here = by_measure[worst]
    return _at(plan, "reading", here[0].index, f"{len(here)} note{'s' * (len(here) != 1)} in the measure, "
                                               f"{signs(worst)} of them sharp or flat{told}.")


def _tuning(plan: Plan) -> list[Axis]:
    heard = [(abs(note.choice.off_cents), -note.index) for note in plan.notes
             if note.choice is not None and note.time.sounds_s >= HEARD_S and abs(note.choice.off_cents) >= 1]
    if not heard:
        return []
    off, k = max(heard)
    planned = plan.notes[-k]
    assert planned.choice is not None
    said = f"{planned.note.sounding.pretty} ({shown(planned.choice.label)}) is {planned.choice.off_said}."
    return [_at(plan, "tuning", planned.index, said, BENT * off / plan.horn.lip_reach.value)]

"""Passes over the same notes told apart, which of them counts, and the beat that fits it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from analyzer.analysis import Planned
from analyzer.hearing.causes import off_cents
from analyzer.hearing.notes import Sounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One pass: notes `first` to `last` of the plan without going back; `heard` of them were right.

    `median_off_cents` is how far off they were, whichever way, in the middle; None where nothing could be read.
    """

    run: int
    first: int
    last: int
    start_s: float
    end_s: float
    heard: int
    median_off_cents: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """The steady beat that fits a recording best.

    `scale` is seconds of the recording to one of the plan; `late_s` maps a note to how late it came; `steadiness`
    (0 to 1) is 1 less the share by which the tempo from note to note wanders about it, None with fewer than 4 notes.
    """

    scale: float | None
    late_s: Mapping[int, float]
    steadiness: float | None


def passes_of(found: Sequence[Sounded], planned: Planned, tuning: float) -> tuple[Pass, ...]:
    """Return the passes with at least one right note, in the order of playing.

    A pass ends at its last note, right or wrong; it begins at its first right one.
    """
    runs: dict[int, list[Sounded]] = {}
    for one in found:
        runs.setdefault(one.run, []).append(one)
    passes = []
    for run, own in runs.items():
        near = [one for one in own if one.near]
        if not near:
            continue
        offs = [abs(off) for one in near if (off := off_cents(one, planned, tuning)) is not None]
        last = max(one.index for one in own if one.midi is not None)
        passes.append(Pass(run=run, first=near[0].index, last=last, start_s=own[0].start_s, end_s=own[-1].end_s,
                           heard=len({one.index for one in near}), median_off_cents=median(offs) if offs else None))
    return tuple(passes)


def chosen(found: Sequence[Sounded], passes: Sequence[Pass], count: int) -> dict[int, Sounded]:
    """Return for each note the stay that counts: that of the last complete pass over it.

    A later pass that was given up before an earlier one ended does not take the place of it. A wrong note where two
    passes meet may be the last of one or the first of the next: it takes the place of no right one.
    """
    ends = {one.run: one.last for one in passes}
    begins = {one.run: one.first for one in passes}
    result: dict[int, Sounded] = {}
    for one in found:
        if one.run not in ends or (one.midi is None and one.index in result):
            continue
        before = result.get(one.index)
        if before is not None and before.near and before.run != one.run and one.index < begins[one.run]:
            continue
        if before is None or _better(one, before, ends):
            result[one.index] = one
    return result


def _better(one: Sounded, before: Sounded, ends: Mapping[int, int]) -> bool:
    if one.run == before.run:          # attacked again: the one that is right, else the longer
        return (one.near, one.end_s - one.start_s) > (before.near, before.end_s - before.start_s)
    if ends[one.run] >= ends[before.run]:
        return one.midi is not None or before.midi is None
    return not before.near and one.near


def timing_of(counting: Mapping[int, Sounded], planned: Planned) -> Timing:
    """Fit a steady beat to the notes that count, pass by pass of the player: a pause between passes is no lateness."""
    import numpy as np

    runs: dict[int, list[tuple[int, float, float]]] = {}
    for index, one in counting.items():
        if one.midi is not None and not planned.plan.notes[index].note.grace:
            runs.setdefault(one.run, []).append((index, planned.plan.notes[index].time.start_s, one.start_s))
    late: dict[int, float] = {}
    scales, weights, locals_ = [], [], []
    for own in runs.values():
        own.sort()
        if len(own) < 3:
            continue
        x, y = np.array([row[1] for row in own]), np.array([row[2] for row in own])
        slope, start = _line(x, y)
        late.update({row[0]: float(value) for row, value in zip(own, y - start - slope * x, strict=True)})
        scales.append(slope)
        weights.append(len(own))
        step = np.diff(x)
        good = step > 0.05
        locals_ += list(np.diff(y)[good] / step[good] / slope)
    if not scales:
        return Timing(scale=None, late_s={}, steadiness=None)
    scale = float(np.average(scales, weights=weights))
    wander = float(np.median(np.abs(np.array(locals_) - 1))) if len(locals_) >= 3 else None
    return Timing(scale=scale, late_s=late, steadiness=None if wander is None else max(0.0, 1 - 1.48 * wander))


def _line(x: Any, y: Any) -> tuple[float, float]:
    """Return slope and start of the line through points of which some lie astray (least squares, weighted anew)."""
    import numpy as np

    weight = np.ones(len(x))
    slope, start = 1.0, 0.0
    for _ in range(12):
        total = weight.sum()
        mean_x, mean_y = (weight * x).sum() / total, (weight * y).sum() / total
        spread = (weight * (x - mean_x) ** 2).sum()
        slope = float((weight * (x - mean_x) * (y - mean_y)).sum() / spread) if spread > 0 else 1.0
        start = float(mean_y - slope * mean_x)
        off = np.abs(y - start - slope * x)
        scale = max(0.01, 1.5 * float(np.median(off)))
        weight = 1 / np.maximum(1, off / scale)
    return slope, start

"""The tempo ceiling of a line: how fast the best walk for speed alone may go, exactly, and what stops it there."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from analyzer.horns.candidate import Candidate
from analyzer.plan.costs import BROKEN, Matrix
from analyzer.plan.limits import By
from analyzer.plan.loads import Loads
from analyzer.plan.timing import NoteTime
from analyzer.solver import INF, least_peak

_SAME = 1 - 1e-9
Choices = tuple[Candidate, ...]


class Ceiling(NamedTuple):
    """The tempo in force at the hardest step when the line goes as fast as it can [quarter notes a minute].

    None, and `by` is ``none``, where nothing limits it. `steps` are the first two hardest, by the note they leave.
    """

    bpm: float | None = None
    steps: tuple[int, ...] = ()
    by: By = "none"


def ceiling(loads: Loads, choices: Sequence[Choices], times: Sequence[NoteTime]) -> Ceiling:
    """Find the walk whose greatest load is least.

    Where a step is slurred, a state is a candidate and whether the lip moved just before; elsewhere a candidate. So
    every load stands between two states, and the dynamic programme is exact.
    """
    if len(choices) < 2:
        return Ceiling()
    lipped = [loads.two_lipped(k) and bool(choices[k]) for k in range(len(choices) - 1)] + [False]
    nodes = [[0.0] * ((len(ways) or 1) * (1 + two)) for ways, two in zip(choices, lipped, strict=True)]
    known: dict[object, Matrix] = {}
    edges: list[Matrix] = []
    for k, (before, after) in enumerate(pairwise(choices)):
        key = (id(before), id(after), loads.moves[k], loads.free[k], lipped[k], lipped[k + 1],
               loads.moves[k - 1] if k and loads.moves[k].slur else None)
        if key not in known:
            known[key] = _edges(loads, k, before, after, lipped[k], lipped[k + 1])
        edges.append(known[key])
    worst, walk = least_peak(nodes, edges)
    if worst >= BROKEN:
        return Ceiling()
    picked = [ways[state // (1 + two)] if ways else None
              for ways, two, state in zip(choices, lipped, walk, strict=True)]
    steps = loads.walk(picked)
    most = max(step.most for step in steps)
    hard = tuple(k for k, step in enumerate(steps) if step.most >= most * _SAME)
    if most <= 0.0:
        return Ceiling()
    return Ceiling(bpm=times[hard[0]].bpm / most, by=steps[hard[0]].by, steps=hard[:2])


def _edges(loads: Loads, k: int, before: Choices, after: Choices, two_before: bool, two_after: bool) -> Matrix:
    """Return the matrix of one step, rows by arrival state."""
    width = (len(before) or 1) * (1 + two_before)
    if not before or not after:
        row = (0.0,) * width
        # After a note that nothing sounds the lip has not moved.
        return ((row, (INF,) * width) if two_after else (row,)) * (len(after) or 1)
    hands = loads.rows(k, before, after, BROKEN)
    if not two_before and not two_after:
        return hands
    matrix: list[tuple[float, ...]] = []
    for b, hand in zip(after, hands, strict=True):
        row = tuple(max(value, loads.lip(k, a, b, moved)) for a, value in zip(before, hand, strict=True)
                    for moved in ((False, True) if two_before else (False,)))
        if not two_after:
            matrix.append(row)
            continue
        changed = [a.partial != b.partial for a in before for _ in range(1 + two_before)]
        matrix.append(tuple(INF if moved else value for value, moved in zip(row, changed, strict=True)))
        matrix.append(tuple(value if moved else INF for value, moved in zip(row, changed, strict=True)))
    return tuple(matrix)

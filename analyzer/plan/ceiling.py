"""The tempo ceiling of a line: how fast the best walk for speed alone may go, exactly, and what stops it there."""

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

from analyzer.horns.candidate import Candidate
from analyzer.plan.costs import BROKEN, Matrix
from analyzer.plan.limits import By
from analyzer.plan.loads import Loads, Span
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
    worst, picked = _searched(loads, choices, 0, len(choices) - 2)
    if worst >= BROKEN:
        return Ceiling()
    steps = loads.walk(picked)
    most = max(step.most for step in steps)
    hard = tuple(k for k, step in enumerate(steps) if step.most >= most * _SAME)
    if most <= 0.0:
        return Ceiling()
    return Ceiling(bpm=times[hard[0]].bpm / most, by=steps[hard[0]].by, steps=hard[:2])


def _searched(loads: Loads, choices: Sequence[Choices], first: int, last: int,
              ) -> tuple[float, list[Candidate | None]]:
    """Return the least of the greatest loads of slide, valves and lip in the steps from `first` to `last`, and how."""
    here = range(first, last + 2)
    lipped = [loads.two_lipped(k) and bool(choices[k]) for k in here[:-1]] + [False]
    nodes = [[0.0] * ((len(choices[k]) or 1) * (1 + two)) for k, two in zip(here, lipped, strict=True)]
    known: dict[object, Matrix] = {}
    edges: list[Matrix] = []
    for k, two_before, two_after in zip(here, lipped, lipped[1:], strict=False):
        before, after = choices[k], choices[k + 1]
        key = (id(before), id(after), loads.moves[k], loads.free[k], two_before, two_after,
               loads.moves[k - 1] if k and loads.moves[k].slur else None)
        if key not in known:
            known[key] = _edges(loads, k, before, after, two_before, two_after)
        edges.append(known[key])
    worst, walk = least_peak(nodes, edges)
    return worst, [choices[k][state // (1 + two)] if choices[k] else None
                   for k, two, state in zip(here, lipped, walk, strict=True)]


def ceiling_tempo(loads: Loads, choices: Sequence[Choices], times: Sequence[NoteTime],
                  ) -> tuple[float | None, float | None]:
    """Return the tempo ceiling and the tempo that the score has there, as `ceiling` finds them; None without a limit.

    Only steps that could be harder than what must be done anyhow (by the tongue, which no choice helps, or in a step
    that no pair of its choices makes easier) are searched. Where tempi differ within a line it matters which of equal
    steps comes first, and `ceiling` is asked.
    """
    if (len(choices) < 2 or len({time.bpm for time in times}) > 1 or any(move.gliss for move in loads.moves)
            or loads.limits.max_slide_speed_mm_s is not None):
        found = ceiling(loads, choices, times)
        return found.bpm, times[found.steps[0]].bpm if found.steps else None
    most = max(loads.tongue)
    bounds = _bounds(loads, choices)
    hot = sorted((k for k, bound in enumerate(bounds) if bound > most), key=lambda k: -bounds[k])
    for k in hot:
        if bounds[k] <= most:
            break                      # nor is any that follows
        if choices[k] and choices[k + 1]:
            most = max(most, min(map(min, loads.rows(k, choices[k], choices[k + 1], BROKEN))))
    for first, last in _runs([k for k in sorted(hot) if bounds[k] > most]):
        # A slurred step asks what the lip did before: that step is looked at with it.
        first -= loads.two_lipped(first)
        most = max(most, _searched(loads, choices, first, last)[0])
    return (times[0].bpm / most, times[0].bpm) if most > 0.0 else (None, None)


def _bounds(loads: Loads, choices: Sequence[Choices]) -> list[float]:
    """Return for each step a load that no pair of its choices exceeds."""
    spans = {key: Span.of(ways) for key, ways in {id(ways): ways for ways in choices if ways}.items()}
    known: dict[object, float] = {}
    bounds = []
    for k, (before, after) in enumerate(pairwise(choices)):
        if loads.free[k] or not before or not after:
            bounds.append(0.0)
            continue
        key = (id(before), id(after), loads.moves[k])
        bound = known.get(key)
        if bound is None:
            bound = known[key] = loads.at_most(k, spans[id(before)], spans[id(after)])
        bounds.append(bound)
    return bounds


def _runs(steps: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield the first and the last of each run of steps that follow each other."""
    for _, run in groupby(enumerate(steps), key=lambda one: one[1] - one[0]):
        members = [step for _, step in run]
        yield members[0], members[-1]


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

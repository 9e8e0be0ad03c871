"""Repeats: the leap back (or to a later ending) has its price too, and the plan stays exact.

A lattice knows only the printed order. A jump ties the choice at its start to the choice at its landing, so each
landing is tried, best first (a lattice's own cost is the lower bound: no jump costs less than nothing).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count

from analyzer.horns.candidate import Candidate
from analyzer.plan.costs import Costs, Move
from analyzer.plan.timing import NoteTime, moving_s
from analyzer.score.lines import Line
from analyzer.solver import INF, Lattice

_Choices = Sequence[tuple[Candidate, ...]]


@dataclass(frozen=True, slots=True)
class Leap:
    """A jump of the line: after note `start` playing may go on at note `landing`, with `move` between."""

    start: int
    landing: int
    move: Move


def leaps_of(line: Line, times: Sequence[NoteTime], glide_from_s: float) -> tuple[Leap, ...]:
    """Return the line's jumps with the time that each leaves for the move."""
    if not line.jumps:
        return ()
    measures = {measure.index: measure for measure in line.measures}
    leaps = []
    for start, landing in line.jumps:
        a, b, time = line.notes[start], line.notes[landing], times[start]
        before, after = measures[a.measure_index], measures[b.measure_index]
        to_barline = float(before.onset + before.duration - a.onset - a.duration)
        from_barline = float(b.onset - after.onset)
        idle_s = (max(to_barline, 0.0) + max(from_barline, 0.0)) * 60 / time.bpm
        move_s = max(idle_s + moving_s(time.sounds_s, time.share, glide_from_s), 0.001)
        step = b.midi - a.midi
        leaps.append(Leap(start, landing, Move(move_s, time.sounds_s + idle_s, False, False, (step > 0) - (step < 0),
                                               time.sounds_s, time.share, idle_s)))
    return tuple(leaps)


def leap_cost(costs: Costs, a: Candidate, b: Candidate, leap: Leap) -> float:
    """Price of the leap from `a` to `b`."""
    return sum(costs.move_items(a, b, leap.move).values())


def paid(leaps: Sequence[Leap], choices: _Choices) -> list[Leap]:
    """Return the leaps that cost anything: both ends can be played, and are two notes."""
    return [leap for leap in leaps if choices[leap.start] and choices[leap.landing] and leap.start != leap.landing]


def landed(base: Lattice, choices: _Choices, costs: Costs, leaps: Sequence[Leap],
           ) -> Iterator[tuple[Lattice, tuple[int, ...]]]:
    """Yield a lattice for each way to land all of `leaps` (see `paid`), and the landing candidates, cheapest first.

    Every walk of `base` stands in just one of the lattices, with all leaps paid for.
    """
    order = count()
    heap: list[tuple[float, int, bool, Lattice, tuple[int, ...]]] = [(base.cost, next(order), True, base, ())]
    while heap:
        bound, _, known, lattice, taken = heappop(heap)
        if not known:                  # so far only a bound; now the price itself
            lattice = _landed(lattice, choices, costs, leaps[len(taken) - 1], taken[-1])
            if lattice.cost < INF:
                heappush(heap, (lattice.cost, next(order), True, lattice, taken))
        elif len(taken) == len(leaps):
            yield lattice, taken
        else:
            for bound, place in _bounds(lattice, leaps[len(taken)], choices, costs):
                if bound < INF:
                    heappush(heap, (bound, next(order), False, lattice, (*taken, place)))


def settled(base: Lattice, choices: _Choices, costs: Costs, leaps: Sequence[Leap],
            ) -> tuple[Lattice, dict[int, list[float]]]:
    """Return the lattice whose best walk is the best with all leaps paid for, and the landings' costs.

    The second value maps each landing's layer to the least cost with each of its candidates (other leaps landing as
    in the best walk); the lattice itself forbids there what it does not take.
    """
    leaps = paid(leaps, choices)
    if not leaps:
        return base, {}
    best, taken = next(landed(base, choices, costs, leaps))
    worth: dict[int, list[float]] = {}
    for depth, leap in enumerate(leaps):
        others = base
        for other, place in zip(leaps, taken, strict=True):
            if other is not leap and other.landing != leap.landing:
                others = _landed(others, choices, costs, other, place)
        same = [other for k, other in enumerate(leaps) if other.landing == leap.landing and k != depth]
        row = []
        for place in range(len(choices[leap.landing])):
            lattice = others
            for choice in (leap, *same):
                lattice = _landed(lattice, choices, costs, choice, place)
            row.append(lattice.cost)
        worth[leap.landing] = row
    return best, worth


def _bounds(lattice: Lattice, leap: Leap, choices: _Choices, costs: Costs) -> list[tuple[float, int]]:
    through = lattice.through(leap.landing)
    senses = costs.senses
    return [(min(through[place * senses:(place + 1) * senses]), place) for place in range(len(choices[leap.landing]))]


def _landed(lattice: Lattice, choices: _Choices, costs: Costs, leap: Leap, place: int) -> Lattice:
    """Land the leap on one candidate: others are forbidden there, and its price is laid on the leap's start."""
    senses = costs.senses
    target = choices[leap.landing][place]
    landing = [cost if k // senses == place else INF for k, cost in enumerate(lattice.nodes[leap.landing])]
    extra = [leap_cost(costs, choice, target, leap) for choice in choices[leap.start]]
    start = [cost + extra[k // senses] for k, cost in enumerate(lattice.nodes[leap.start])]
    return lattice.with_nodes({leap.landing: landing, leap.start: start})

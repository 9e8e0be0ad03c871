"""Other plans of the same line: all in order of cost, or only those that really differ from each other.

Two plans follow another pattern when they differ in at least `DIFFER` notes, or when one of them plays a pitch that
recurs in the line in a way the other never does ("D in fourth this time"). A single turn elsewhere, of which a line of
any length has thousands of near ties, is no pattern of its own. Both lists are exact, repeats and pins included.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from analyzer.horns.candidate import Candidate, travel_mm
from analyzer.plan.jumps import landed, paid
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner, valve_changes
from analyzer.solver import Lattice

DIFFER = 3
"""So many notes make another pattern; judged: a turn of three notes is the shortest that a teacher would name."""

Walk = tuple[Candidate | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One plan among several: `cost` in cm of unhurried travel; `differs` lists the notes where it is not the best.

    `travel_mm` is None on a horn without a slide.
    """

    choices: Walk
    cost: float
    travel_mm: float | None
    valve_changes: int
    differs: tuple[int, ...]


def pins_of(plan: Plan) -> dict[int, str]:
    """Return the pins that a plan keeps, as labels by note index."""
    return {note.index: note.choice.label for note in plan.notes if note.pinned and note.choice}


def walks(planner: Planner, pins: Mapping[int, str] | None = None) -> Iterator[tuple[float, Walk]]:
    """Yield (cost, choices) from the best plan on, each sequence of choices once."""
    if not planner.line.notes:
        return
    base, choices = planner.pinned_lattice(pins or {})
    best = _best(planner, base, choices)
    yield best
    seen = {best[1]}
    for cost, states in _merged(_lattices(planner, base, choices)):
        walk = _picked(states, choices, planner.costs.senses)
        if walk not in seen:
            seen.add(walk)
            yield cost, walk


def variants(planner: Planner, most: int, pins: Mapping[int, str] | None = None) -> tuple[Variant, ...]:
    """Return up to `most` plans, the best first, each the cheapest of another pattern than all before it."""
    if not planner.line.notes:
        return ()
    base, choices = planner.pinned_lattice(pins or {})
    found = [_best(planner, base, choices)]
    while len(found) < most:
        least: tuple[float, Walk] | None = None
        patterns = _Patterns(planner, choices, [walk for _, walk in found])
        for lattice in _lattices(planner, base, choices):
            if least is not None and lattice.cost >= least[0]:
                break
            one = lattice.least_accepted(patterns.start, patterns.step, patterns.accepts)
            if one is not None and (least is None or one[0] < least[0]):
                least = one[0], _picked(one[1], choices, planner.costs.senses)
        if least is None:
            break
        found.append(least)
    return tuple(_variant(planner, cost, walk, found[0][1]) for cost, walk in found)


def _best(planner: Planner, base: Lattice, choices: Sequence[tuple[Candidate, ...]]) -> tuple[float, Walk]:
    """Return the plan itself: ties are settled as there."""
    lattice = next(_lattices(planner, base, choices))
    states = lattice.best()
    assert states is not None, "every edge is finite for some state, so a walk exists"
    return lattice.cost, _picked(states, choices, planner.costs.senses)


class _Patterns:
    """Remembers, for each plan found before, how far a walk differs from it: a count up to the full difference."""

    def __init__(self, planner: Planner, choices: Sequence[tuple[Candidate, ...]], plans: Sequence[Walk]) -> None:
        self.start = (0,) * len(plans)
        free = sum(len(ways) > 1 for ways in choices)
        self._full = max(1, min(DIFFER, free))
        self._senses = planner.costs.senses
        self._choices = choices
        self._plans = plans
        often = Counter(note.midi for note in planner.line.notes)
        # What each plan ever does with a recurring pitch; None for pitches that come once.
        self._recurs = [note.midi if often[note.midi] > 1 else None for note in planner.line.notes]
        self._uses = [{(note.midi, one.label) for note, one in zip(planner.line.notes, plan, strict=True) if one}
                      for plan in plans]

    def step(self, memory: tuple[int, ...], t: int, j: int) -> tuple[int, ...]:
        if not self._choices[t]:
            return memory
        choice, midi = self._choices[t][j // self._senses], self._recurs[t]
        return tuple(
            self._full if count == self._full or (midi is not None and (midi, choice.label) not in uses)
            else count + (plan[t] is not choice)
            for count, plan, uses in zip(memory, self._plans, self._uses, strict=True))

    def accepts(self, memory: tuple[int, ...]) -> bool:
        return all(count >= self._full for count in memory)


def _lattices(planner: Planner, base: Lattice, choices: Sequence[tuple[Candidate, ...]]) -> Iterator[Lattice]:
    """Yield lattices that hold every walk once, cheapest first: more than one only where repeats leap."""
    leaps = paid(planner.leaps, choices)
    if not leaps:
        yield base
        return
    for lattice, _ in landed(base, choices, planner.costs, leaps):
        yield lattice


def _merged(lattices: Iterator[Lattice]) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Merge the walks of lattices that come in order of their best cost."""
    heap: list[tuple[float, int, tuple[int, ...], Iterator[tuple[float, tuple[int, ...]]]]] = []
    opened = 0
    waiting = next(lattices, None)
    while heap or waiting is not None:
        if waiting is not None and (not heap or waiting.cost <= heap[0][0]):
            stream = waiting.walks()
            waiting = next(lattices, None)
            opened += 1
            order = opened
        else:
            cost, order, states, stream = heappop(heap)
            yield cost, states
        following = next(stream, None)
        if following is not None:
            heappush(heap, (following[0], order, following[1], stream))


def _picked(states: Sequence[int], choices: Sequence[tuple[Candidate, ...]], senses: int) -> Walk:
    return tuple(one[j // senses] if one else None for one, j in zip(choices, states, strict=True))


def _variant(planner: Planner, cost: float, walk: Walk, best: Walk) -> Variant:
    return Variant(choices=walk, cost=cost, travel_mm=travel_mm(walk) if planner.horn.family == "slide" else None,
                   valve_changes=valve_changes(walk),
                   differs=tuple(k for k, (a, b) in enumerate(zip(walk, best, strict=True)) if a is not b))

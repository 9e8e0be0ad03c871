"""Groups: neighbouring notes off the chart, told together, with what the chart in their place would cost.

One alternate often makes sense only beside the next, so what it saves is not a matter of one note: each group is held
on the chart as a whole and the line is solved again. `Lattice.rewalk` does that within the few notes where anything
changes, and is exact; where a repeat ties notes far apart, the ways to land it are tried in order of their own cost,
which bounds from below what they cost with the group held.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from analyzer.horns.candidate import Candidate
from analyzer.plan.plan import AlternateGroup
from analyzer.plan.reasons import Around, Beside, Picks, group_reason
from analyzer.solver import INF, Edges, Lattice, Row

Choices = tuple[Candidate, ...]
_MOST_LANDINGS = 6
"""So many ways to land the repeats are tried before the line is solved anew as a whole; both ways are exact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The plan with a group held on the chart: what it costs more, its choices from note `first` on, where they differ.

    `span` bounds the notes [first, last] that had to be looked at.
    """

    dearer: float
    first: int
    picked: Picks
    span: tuple[int, int]


@dataclass(slots=True, kw_only=True)
class Resolver:
    """Answers what the plan would be with some notes held on other choices.

    `lattices` yields the plan's lattice, then (where repeats tie notes) those with other landings, cheapest first;
    `known` are those that need not be asked for, with their best walks;
    `choices` are those of each note, `senses` the states that each has; `row` and `matrix` price a note's choices and
    a step; `widened` adds a choice to a note; `tied` are notes at which a repeat starts or lands; `whole` solves the
    line anew with labels pinned, and returns that plan's cost and choices.
    """

    lattices: Iterator[Lattice]
    choices: Sequence[Choices]
    senses: int
    row: Callable[[int, Choices], Row]
    matrix: Callable[[int, Choices, Choices], Edges]
    widened: Callable[[int, Candidate], Choices]
    tied: frozenset[int]
    whole: Callable[[Mapping[int, str]], tuple[float, Picks]]
    known: list[tuple[Lattice, tuple[int, ...]]] = field(default_factory=list)

    def held(self, held: Mapping[int, Candidate]) -> Held:
        """Return the best plan that plays the notes `held` so."""
        known = self._landing(0)
        assert known is not None, "the plan itself is a walk"
        layers = {k: self.widened(k, one) for k, one in held.items()}
        # A held note keeps what the plan's lattice asks for it (ties of figures, too), unless a pin forbids it there.
        rows = {k: known[0].nodes[k] for k, one in held.items() if layers[k] is self.choices[k]
                and known[0].nodes[k][layers[k].index(one) * self.senses] < INF}
        if self.tied and (self.tied & held.keys() or len(rows) < len(held)):
            return self._anew(held)
        nodes = {k: [cost if j // self.senses == layers[k].index(one) else INF
                     for j, cost in enumerate(rows.get(k) or self.row(k, layers[k]))] for k, one in held.items()}
        steps = {t for k in held if layers[k] is not self.choices[k] for t in (k - 1, k)}
        edges = {t: self.matrix(t, layers.get(t, self.choices[t]), layers.get(t + 1, self.choices[t + 1]))
                 for t in steps if 0 <= t < len(self.choices) - 1}
        best: tuple[float, int, tuple[int, ...]] | None = None
        for nth in range(_MOST_LANDINGS):
            lattice, walk = self._landing(nth) or (None, ())
            bound = lattice.cost - self.known[0][0].cost if lattice else INF
            if best and (lattice is None or bound >= best[0]):
                dearer, first, states = best
                picked = [choices[j // self.senses] if choices else None for choices, j in zip(
                    (layers.get(k, self.choices[k]) for k in range(first, len(self.choices))), states, strict=False)]
                return Held(dearer=dearer, first=first, picked=picked, span=(first, first + len(states) - 1))
            if lattice is None:
                break
            found = lattice.rewalk(walk, nodes, edges)
            if found and (best is None or bound + found[0] < best[0]):
                more, first, states = found
                if nth:                # another landing is another walk everywhere
                    states, first = (*walk[:first], *states, *walk[first + len(states):]), 0
                best = bound + more, first, states
        return self._anew(held)

    def _anew(self, held: Mapping[int, Candidate]) -> Held:
        first = self._landing(0)
        assert first is not None, "the plan itself is a walk"
        cost, picked = self.whole({k: one.label for k, one in held.items()})
        return Held(dearer=cost - first[0].cost, first=0, picked=picked, span=(0, len(picked) - 1))

    def _landing(self, nth: int) -> tuple[Lattice, tuple[int, ...]] | None:
        while len(self.known) <= nth:
            lattice = next(self.lattices, None)
            walk = lattice.best() if lattice else None
            if lattice is None or walk is None:
                return None
            self.known.append((lattice, walk))
        return self.known[nth]


def runs(picked: Picks, usual: Picks) -> list[tuple[int, int]]:
    """Return (first, last) of each run of neighbouring notes off the chart."""
    off = [a is not b and a is not None and b is not None and a.label != b.label
           for a, b in zip(picked, usual, strict=True)]
    found, k = [], 0
    for away, members in groupby(off):
        count = len(list(members))
        if away:
            found.append((k, k + count - 1))
        k += count
    return found


def group_of(around: Around, resolver: Resolver, first: int, last: int, measures: tuple[str, str],
             barred: Mapping[int, str], pinned: frozenset[int]) -> AlternateGroup:
    """Build one group: hold it on the chart, solve, and say why it is as it is.

    `barred` says for each note why its usual choice is closed to this player; `pinned` are notes chosen by hand.
    """
    usual = {k: one for k in range(first, last + 1) if (one := around.usual[k]) is not None}
    held = resolver.held(usual)
    stop = held.first + len(held.picked)
    # Only the stretch in which the two plans differ, and a neighbour on each side, has anything to say.
    differs = [k for k in range(held.first, stop) if held.picked[k - held.first] is not around.picked[k]]
    start, end = max(min(differs) - 1, 0), min(max(differs) + 1, len(around.picked) - 1)
    chart = [held.picked[k - held.first] if held.first <= k < stop else around.picked[k] for k in range(start, end + 1)]
    counted = [one is not None for one in around.usual[start:end + 1]]
    beside = Beside(
        around=around, first=first, last=last, start=start, dearer=held.dearer,
        ours=tuple(one if yes else None for one, yes in zip(around.picked[start:end + 1], counted, strict=True)),
        chart=tuple(one if yes else None for one, yes in zip(chart, counted, strict=True)))
    ours = [one for k in range(first, last + 1) if (one := around.picked[k]) is not None]
    low, high = held.span
    return AlternateGroup(
        first=first, last=last, measures=measures, labels=tuple(choice.label for choice in ours),
        chart_labels=tuple(one.label for one in usual.values()), saves_mm=beside.saves_mm,
        why=group_reason(beside, {k: barred[k] for k in usual if k in barred}, pinned),
        span=(min(low, start), max(high, end)))


def note_whys(group: AlternateGroup) -> dict[int, tuple[str, ...]]:
    """Return for each note of a group the sentences that refer to it."""
    if group.first == group.last:
        return {group.first: (group.why,)}
    a, b = group.measures
    where = f"m. {a}" if a == b else f"mm. {a}-{b}"
    count = group.last - group.first + 1
    return {group.first + k: (f"Alternate {k + 1} of {count} in a row ({where}).", group.why) for k in range(count)}

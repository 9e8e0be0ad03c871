"""The same figure, the same choice: what a player learns once is played so wherever it returns.

A figure is three notes in a row, known by pitch, length and distance; longer ones are chains of them. For each figure
that comes at least twice in a line, each of its notes has one *label* of its own, and every occurrence that plays
another choice there pays `Weights.figure` (once, where overlapping figures hold the same notes together). The plan is
then the least over all labels at once, which no price between neighbours can say.

With the labels given, the prices lie on single notes, so the walk stays exact. The labels are found by turns (label by
what the occurrences would pay, walk, label anew) and then by branch and bound: a figure whose occurrences agree of
themselves pays nothing and need not be decided, so only those that part are branched over, best first; the plan with
no ties at all is the bound from below. Where the work is cut short, `Tied.gap` says how far from the least the result
can be at most.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count, pairwise
from operator import itemgetter

from analyzer.horns.candidate import Candidate
from analyzer.score.lines import LineNote
from analyzer.score.timeline import real
from analyzer.solver import Lattice

LENGTH = 3
"""Notes of a figure; the shortest turn that a teacher would name, judged."""
MOST_STEPS = 12
"""So many lattices the branching may solve; each takes a quarter of the time of planning the line. Each decides one
tie, so where more than that are parted it cannot come to an end, and is not begun."""
_EPSILON = 1e-9

Tie = tuple[int, ...]                  # the notes that should take one choice: the same place in one figure
_Choices = Sequence[tuple[Candidate, ...]]


@dataclass(frozen=True, slots=True)
class Tied:
    """A lattice with the prices of all ties on its notes.

    `labels` maps the ties that were decided to their labels; all others agree in the best walk. `gap` is how far the
    lattice's cost may lie above the least of all, 0 where it is proved to be the least.
    """

    lattice: Lattice
    labels: Mapping[Tie, str]
    gap: float


def ties_of(notes: Sequence[LineNote], choices: _Choices) -> tuple[Tie, ...]:
    """Return the ties of a line, those of free notes only; each note may be in several."""
    seen: dict[object, list[int]] = defaultdict(list)
    keys = [(note.midi, note.duration.as_integer_ratio()) for note in notes]
    onsets = [real(note.onset) for note in notes]
    gaps = [round(b - a, 6) for a, b in pairwise(onsets)]
    for k in range(len(notes) - LENGTH + 1):
        seen[(*keys[k:k + LENGTH], *gaps[k:k + LENGTH - 1])].append(k)
    ties = {tuple(k + place for k in starts)
            for starts in seen.values() if len(starts) > 1 for place in range(LENGTH)
            if len(choices[starts[0] + place]) > 1}
    return tuple(sorted(ties))


def tied(base: Lattice, choices: _Choices, senses: int, ties: Sequence[Tie], price: float) -> Tied:
    """Return the lattice in which every tie has its label and its price; see the module."""
    search = _Search(base, choices, senses, ties, price)
    return search.found()


class _Search:
    def __init__(self, base: Lattice, choices: _Choices, senses: int, ties: Sequence[Tie], price: float) -> None:
        self.base, self.choices, self.senses, self.price = base, choices, senses, price
        self.ties = [(tie, itemgetter(*tie)) for tie in ties]
        self.solved = 0

    def found(self) -> Tied:
        walk = self._walk(self.base)
        if not self._parted(walk, {}):
            return Tied(self.base, {}, 0.0)
        lattice, labels = self._by_turns(walk)
        return self._bounded(lattice, labels)

    def _walk(self, lattice: Lattice) -> list[str]:
        best = lattice.best()
        assert best is not None, "every edge is finite for some state, so a walk exists"
        return [one[j // self.senses].label if one else "" for one, j in zip(self.choices, best, strict=True)]

    def _parted(self, walk: Sequence[str], labels: Mapping[Tie, str]) -> list[Tie]:
        """Return the undecided ties whose notes take different choices."""
        return [tie for tie, labels_of in self.ties if len(set(labels_of(walk))) > 1 and tie not in labels]

    def _priced(self, labels: Mapping[Tie, str]) -> Lattice:
        self.solved += 1
        nodes: dict[int, list[float]] = {}
        for tie, label in labels.items():
            for k in tie:
                row = nodes.setdefault(k, list(self.base.nodes[k]))
                for j, one in enumerate(self.choices[k]):
                    if one.label != label:
                        for state in range(j * self.senses, (j + 1) * self.senses):
                            row[state] += self.price
        return self.base.repriced(nodes)

    def _labels(self, tie: Tie) -> list[str]:
        return list(dict.fromkeys(choice.label for k in tie for choice in self.choices[k]))

    def _by_turns(self, walk: list[str]) -> tuple[Lattice, dict[Tie, str]]:
        """Label all parted ties by what their notes would pay at least, until none is parted."""
        labels: dict[Tie, str] = {}
        lattice = self.base
        parted = self._parted(walk, labels)
        worth = {k: self._worth(k) for k in {k for tie in parted for k in tie}}
        while parted:
            for tie in parted:
                for k in tie:
                    if k not in worth:
                        worth[k] = self._worth(k)
                labels[tie] = min(self._labels(tie), key=lambda label, tie=tie: sum(  # type: ignore[misc]
                    min(self.price, worth[k].get(label, self.price)) for k in tie))
            lattice = self._priced(labels)
            parted = self._parted(self._walk(lattice), labels)
        # What most notes take costs least as the label: never worse than before.
        walk = self._walk(lattice)
        better = {tie: max(self._labels(tie), key=lambda label, tie=tie: (  # type: ignore[misc]
            sum(walk[k] == label for k in tie), label == labels[tie])) for tie in labels}
        if better != labels:
            other = self._priced(better)
            if other.cost < lattice.cost and not self._parted(self._walk(other), better):
                return other, better
        return lattice, labels

    def _worth(self, k: int) -> dict[str, float]:
        """How much more the best walk with each label of note `k` costs, without ties."""
        through = self.base.through(k)
        least = self.base.cost
        return {one.label: min(through[j * self.senses:(j + 1) * self.senses]) - least
                for j, one in enumerate(self.choices[k])}

    def _bounded(self, best: Lattice, labels: dict[Tie, str]) -> Tied:
        """Branch over the labels of parted ties, best first, until the best is proved or the work is cut short."""
        order = count()
        heap: list[tuple[float, int, bool, dict[Tie, str], Lattice]] = [
            (self.base.cost, next(order), True, {}, self.base)]
        start = self.solved
        lower = self.base.cost
        if len(labels) > MOST_STEPS:
            return Tied(best, labels, max(0.0, best.cost - lower))
        while heap:
            lower = max(lower, heap[0][0])
            if lower >= best.cost - _EPSILON:
                return Tied(best, labels, 0.0)
            if self.solved - start >= MOST_STEPS:
                return Tied(best, labels, max(0.0, best.cost - lower))
            _, _, known, decided, lattice = heappop(heap)
            if not known:
                lattice = self._priced(decided)
                if lattice.cost < best.cost - _EPSILON:
                    heappush(heap, (lattice.cost, next(order), True, decided, lattice))
                continue
            walk = self._walk(lattice)
            parted = self._parted(walk, decided)
            if not parted:
                return Tied(lattice, decided, 0.0)
            tie = max(parted, key=len)
            through = {k: lattice.through(k) for k in tie}
            cost = lattice.cost
            for label in self._labels(tie):
                # A lower bound without solving: each note pays the price, or what its own change costs.
                bound = cost
                for k in tie:
                    gains = [min(through[k][j * self.senses:(j + 1) * self.senses]) - cost
                             for j, one in enumerate(self.choices[k]) if one.label == label]
                    bound = max(bound, cost + min([self.price, *gains]))
                if bound < best.cost - _EPSILON:
                    heappush(heap, (bound, next(order), False, {**decided, tie: label}, lattice))
        return Tied(best, labels, 0.0)

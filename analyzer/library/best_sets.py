"""Which few steps together open the most: best set of each size, exact while that can be counted out. No music.

Every need is met once one of its alternatives is taken whole; an alternative is a set of steps. As steps may only be
of use together, the gain is not submodular, and the greedy choice has no guarantee of its own; it is given with a
bound that holds for every choice.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from math import comb
from typing import Generic, TypeVar

Step = TypeVar("Step", bound=Hashable)
Alternatives = frozenset[frozenset[Step]]

MOST_SETS = 10_000
"""Sets that are counted out; above it the choice is greedy. Judged: about a second for 300 kinds of open needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen(Generic[Step]):
    """A set of steps, the most useful first, what it meets, and what no set of its size can exceed.

    `exact` tells that no set of this size meets more; then `bound` is `met`.
    """

    steps: tuple[Step, ...]
    met: int
    bound: int
    exact: bool


def minimal(alternatives: Iterable[frozenset[Step]], most: int) -> Alternatives[Step]:
    """Return the alternatives of at most `most` steps that hold no other.

    Examples
    --------
    >>> sorted(map(sorted, minimal([frozenset("ab"), frozenset("a"), frozenset("bc")], 2)))
    [['a'], ['b', 'c']]
    """
    kept: list[frozenset[Step]] = []
    for one in sorted(set(alternatives), key=len):
        if len(one) <= most and not any(other <= one for other in kept):
            kept.append(one)
    return frozenset(kept)


def met_by(needs: Mapping[Alternatives[Step], int], taken: frozenset[Step]) -> int:
    """Return the weight of the needs that have an alternative within the steps taken."""
    return sum(weight for ways, weight in needs.items() if any(way <= taken for way in ways))


def best_set(needs: Mapping[Alternatives[Step], int], order: Sequence[Step], size: int, *,
             most_sets: int = MOST_SETS) -> Chosen[Step]:
    """Return the set of at most `size` steps that meets the most.

    Parameters
    ----------
    needs : mapping
        Alternatives of each kind of need, and its weight. The empty alternative is a need that is met already; a need
        without alternatives is never met.
    order : sequence
        All steps; of equal sets the one that comes first in this order is returned.
    size : int
        At least 1.
    most_sets : int
        Up to so many sets are all tried; above, the choice is greedy (by gain a step) with a bound.
    """
    already, still = _sorted_out(needs, size)
    useful = [step for step in order if any(step in way for ways in still for way in ways)]
    size = min(size, len(useful))
    exact = comb(len(useful), size) <= most_sets
    if exact:
        taken = max((frozenset(one) for one in combinations(useful, size)), key=lambda one: met_by(still, one),
                    default=frozenset[Step]())
    else:
        taken = _greedy(still, useful, size)
    met = met_by(still, taken)
    bound = met if exact else _bound(still, size)
    return Chosen(steps=_in_turn(still, useful, taken), met=already + met, bound=already + bound, exact=met == bound)


def _sorted_out(needs: Mapping[Alternatives[Step], int], size: int) -> tuple[int, dict[Alternatives[Step], int]]:
    """Return the weight of what is met already, and the needs that `size` steps could meet, by their fitting ways."""
    already = 0
    still: dict[Alternatives[Step], int] = {}
    for ways, weight in needs.items():
        if frozenset() in ways:
            already += weight
        elif fitting := minimal(ways, size):
            still[fitting] = still.get(fitting, 0) + weight
    return already, still


def _greedy(needs: Mapping[Alternatives[Step], int], order: Sequence[Step], size: int) -> frozenset[Step]:
    """Take the alternative with the most gain a step, again and again."""
    place = {step: k for k, step in enumerate(order)}
    ways = sorted({way for found in needs for way in found if way}, key=lambda way: sorted(place[one] for one in way))
    taken = frozenset[Step]()
    while True:
        now = met_by(needs, taken)
        best: tuple[Fraction, frozenset[Step]] | None = None
        for way in ways:
            new = way - taken
            if new and len(taken) + len(new) <= size:
                gain = Fraction(met_by(needs, taken | way) - now, len(new))
                if gain > 0 and (best is None or gain > best[0]):
                    best = gain, new
        if best is None:
            return taken
        taken |= best[1]


def _bound(needs: Mapping[Alternatives[Step], int], size: int) -> int:
    """Return what no set of `size` steps can exceed; every need has only alternatives of so many steps at most.

    A need that comes to be met by an alternative of n steps gives each of them an nth of its weight, so the gain of a
    set is at most the sum of what its steps could be given, and at most the weight of all needs.
    """
    worth: dict[Step, Fraction] = {}
    for ways, weight in needs.items():
        share: dict[Step, Fraction] = {}
        for way in ways:
            for step in way:
                share[step] = max(share.get(step, Fraction(0)), Fraction(weight, len(way)))
        for step, part in share.items():
            worth[step] = worth.get(step, Fraction(0)) + part
    return min(sum(needs.values()), int(sum(sorted(worth.values(), reverse=True)[:size], Fraction(0))))


def _in_turn(needs: Mapping[Alternatives[Step], int], order: Sequence[Step],
             taken: frozenset[Step]) -> tuple[Step, ...]:
    """Order the steps so that each is the one that meets the most when added; steps of no use are left out."""
    result: tuple[Step, ...] = ()
    left = [step for step in order if step in taken]
    while left:
        # Where none helps by itself, the one that stands in the order first begins.
        best = max(left, key=lambda step: met_by(needs, frozenset((*result, step))))
        left.remove(best)
        result += (best,)
    while result and met_by(needs, frozenset(result[:-1])) == met_by(needs, frozenset(result)):
        result = result[:-1]
    return result

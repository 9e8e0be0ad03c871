"""Which skill comes new in which week, with which stretches: the most skills, then the least cost, exactly.

A set of skills is a bit mask. After each week the course is at a set; a week adds at most `most` skills whose needs are
there, each practiced in some stretch of that week that asks for nothing beyond the set. The least-cost road over weeks
is found by dynamic programming over the sets that can be reached (tests/course holds it against an integer programme
and against every order). Where there are more than `WIDEST` sets after a week, the dearest are let go, and `exact`
says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations

WIDEST = 4000
"""Sets kept after a week; judged: all of them for every change between two neighboring horns."""
AN_EXCERPT = 0.4
"""Price of one more stretch on a sheet. Judged: a stretch for each new thing, with several notes of it, is worth more
than one stretch that has each of them once; from 1 on sheets have one excerpt, at 0.1 as many as new things."""
A_LEVEL = 0.5
"""Price of a skill for each week it comes later, and each level it is easier than the hardest: easy before hard.
Judged by the published orders (tests/course/test_order.py): at 0.25 three more pairs stand against them, at 1
none less."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A stretch as the choice sees it: the skills it asks for, as a mask, and its price (0 and up).

    `teaches` are those of them that may come new with it.
    """

    needs: int
    cost: float
    teaches: int = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Road:
    """The choice: for each week the mask of new skills and the places of its offers; whether it is surely the best."""

    weeks: tuple[tuple[int, tuple[int, ...]], ...]
    cost: float
    exact: bool

    @property
    def covered(self) -> int:
        """Everything that comes new in some week, as a mask."""
        return sum(new for new, _ in self.weeks)


def least_road(levels: Sequence[int], needs: Sequence[int], offers: Sequence[Offer], weeks: int, most: int,
               ) -> Road | None:
    """Return the best course of `weeks` weeks; None where some week would have no stretch at all.

    Parameters
    ----------
    levels : sequence of int
        For each skill how hard it is, from 1.
    needs : sequence of int
        For each skill the mask of those that come before it or in the same week.
    offers : sequence of Offer
        The stretches.
    weeks, most : int
        How many weeks, and how many new skills a week at most.
    """
    top = max(levels, default=1) + 1
    by_needs: dict[tuple[int, int], tuple[float, int]] = {}
    for place, offer in enumerate(offers):
        key = offer.needs, offer.needs & offer.teaches
        by_needs[key] = min(by_needs.get(key, (float("inf"), 0)), (offer.cost, place))
    singles = sorted((cost, *masks, place) for masks, (cost, place) in by_needs.items())

    @cache
    def sheet(there: int, new: int) -> tuple[float, tuple[int, ...]] | None:
        """Least-cost stretches within a set that practice all of what is new; at least one stretch."""
        usable = [(cost, taught & new, place) for cost, mask, taught, place in singles if not mask & ~there]
        if not new:
            return next(((AN_EXCERPT + cost, (place,)) for cost, _, place in usable), None)
        done: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
        cheapest: dict[int, tuple[float, int]] = {}
        for cost, mask, place in usable:
            if mask and mask not in cheapest:
                cheapest[mask] = (cost, place)
        for mask, (cost, place) in cheapest.items():
            for had, (paid, places) in list(done.items()):
                more = (paid + AN_EXCERPT + cost, (*places, place))
                if had | mask != had and more[0] < done.get(had | mask, (float("inf"),))[0]:
                    done[had | mask] = more
        return done.get(new)

    states: dict[int, tuple[float, tuple[tuple[int, tuple[int, ...]], ...]]] = {0: (0.0, ())}
    exact = True
    for week in range(1, weeks + 1):
        after: dict[int, tuple[float, tuple[tuple[int, tuple[int, ...]], ...]]] = {}
        for had in sorted(states):
            paid, way = states[had]
            open_ = [nth for nth in range(len(levels)) if not had >> nth & 1]
            for count in range(min(most, len(open_)) + 1):
                for chosen in combinations(open_, count):
                    new = sum(1 << nth for nth in chosen)
                    there = had | new
                    if any(needs[nth] & ~there for nth in chosen):
                        continue
                    found = sheet(there, new)
                    if found is None:
                        continue
                    cost = paid + found[0] + A_LEVEL * week * sum(top - levels[nth] for nth in chosen)
                    if there not in after or cost < after[there][0] - 1e-9:
                        after[there] = (cost, (*way, (new, found[1])))
        if not after:
            return None
        if len(after) > WIDEST:
            exact = False
            kept = sorted(after, key=lambda there: (-there.bit_count(), after[there][0], there))[:WIDEST]
            after = {there: after[there] for there in kept}
        states = after
    best = min(states, key=lambda there: (-there.bit_count(), states[there][0], there))
    return Road(weeks=states[best][1], cost=states[best][0], exact=exact)

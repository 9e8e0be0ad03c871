"""The choice of a course against an integer programme (scipy's HiGHS) and every order, on small made-up cases."""

import random
from itertools import combinations, product

import pytest

from analyzer.course.weeks import A_LEVEL, AN_EXCERPT, Offer, least_road

MOST = 2


def _case(seed: int) -> tuple[list[int], list[int], list[Offer]]:
    """Return levels, needs and offers: up to five skills, needs on lower numbers alone, a handful of stretches."""
    rng = random.Random(seed)
    count = rng.randint(2, 5)
    levels = [rng.randint(1, 4) for _ in range(count)]
    needs = [sum(1 << other for other in range(nth) if rng.random() < 0.3) for nth in range(count)]
    offers = [Offer(rng.randrange(0, 1 << count), round(rng.uniform(0, 1), 3)) for _ in range(rng.randint(2, 7))]
    return levels, needs, offers


def _by_programme(levels, needs, offers, weeks) -> tuple[int, float] | None:
    """Return how many skills and at what price: x[s, w] new, y[e, w] on the sheet; most skills first, then price."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp

    skills, kinds = len(levels), len(offers)
    x = {key: nth for nth, key in enumerate(product(range(skills), range(weeks)))}
    y = {key: len(x) + nth for nth, key in enumerate(product(range(kinds), range(weeks)))}
    top = max(levels) + 1
    price = np.zeros(len(x) + len(y))
    for (skill, week), column in x.items():
        price[column] = A_LEVEL * (week + 1) * (top - levels[skill]) - 1000
    for (kind, _), column in y.items():
        price[column] = AN_EXCERPT + offers[kind].cost
    rows, low, high = [], [], []

    def row(terms, least, most):
        line = np.zeros(len(price))
        for column, factor in terms:
            line[column] += factor
        rows.append(line)
        low.append(least)
        high.append(most)

    for skill in range(skills):
        row([(x[skill, week], 1) for week in range(weeks)], 0, 1)
    for week in range(weeks):
        row([(x[skill, week], 1) for skill in range(skills)], 0, MOST)
        row([(y[kind, week], 1) for kind in range(kinds)], 1, np.inf)
        for skill in range(skills):
            row([(x[skill, week], -1), *((y[kind, week], 1) for kind in range(kinds)
                                         if offers[kind].needs >> skill & 1)], 0, np.inf)
            for need in range(skills):
                if needs[skill] >> need & 1:
                    row([(x[skill, week], -1), *((x[need, had], 1) for had in range(week + 1))], 0, np.inf)
        for kind in range(kinds):
            for skill in range(skills):
                if offers[kind].needs >> skill & 1:
                    row([(y[kind, week], -1), *((x[skill, had], 1) for had in range(week + 1))], 0, np.inf)
    answer = milp(price, constraints=LinearConstraint(np.array(rows), low, high), integrality=np.ones(len(price)),
                  bounds=Bounds(0, 1), options={"mip_rel_gap": 0})
    if not answer.success:
        return None
    covered = round(sum(answer.x[column] for column in x.values()))
    return covered, answer.fun + 1000 * covered


def _by_every_order(levels, needs, offers, weeks) -> tuple[int, float] | None:
    """Return the same by trying every week for every skill and every set of stretches for every week."""
    top, best = max(levels) + 1, None
    for when in product(range(weeks + 1), repeat=len(levels)):               # the last: never
        news = [sum(1 << nth for nth, week in enumerate(when) if week == now) for now in range(weeks)]
        if any(new.bit_count() > MOST for new in news):
            continue
        total, there = 0.0, 0
        for new in news:
            there |= new
            if any(new >> nth & 1 and need & ~there for nth, need in enumerate(needs)):
                break
            usable = [offer for offer in offers if not offer.needs & ~there]
            prices = [sum(AN_EXCERPT + one.cost for one in chosen) for count in range(1, len(usable) + 1)
                      for chosen in combinations(usable, count)
                      if not new & ~_union(one.needs for one in chosen)]
            if not prices:
                break
            total += min(prices)
        else:
            total += sum(A_LEVEL * (week + 1) * (top - levels[nth]) for nth, week in enumerate(when) if week < weeks)
            key = (-there.bit_count(), total)
            best = key if best is None else min(best, key)
    return None if best is None else (-best[0], best[1])


def _union(masks) -> int:
    found = 0
    for mask in masks:
        found |= mask
    return found


@pytest.mark.parametrize("seed", range(60))
def test_as_good_as_the_integer_programme_and_every_order(seed: int) -> None:
    levels, needs, offers = _case(seed)
    weeks = 1 + seed % 3
    road = least_road(levels, needs, offers, weeks, MOST)
    programme = _by_programme(levels, needs, offers, weeks)
    every = _by_every_order(levels, needs, offers, weeks)
    if road is None:
        assert programme is None
        assert every is None
        return
    assert road.exact
    found = (road.covered.bit_count(), pytest.approx(road.cost, abs=1e-6))
    assert programme == found
    assert every == found
    there = 0
    for new, places in road.weeks:
        there |= new
        assert places
        assert new.bit_count() <= MOST
        assert not _union(offers[place].needs for place in places) & ~there
        assert not new & ~_union(offers[place].needs for place in places)


def test_the_made_up_cases_ask_something() -> None:
    """Some cover all, some not, some have no course: a choice that always gave up would be seen."""
    answers = [least_road(*_case(seed), 1 + seed % 3, MOST) for seed in range(60)]
    covered = {(road.covered.bit_count() == len(_case(seed)[0])) if road else None
               for seed, road in enumerate(answers)}
    assert covered == {True, False, None}

"""How long it takes to seat a section: forty players and forty lines, and the assignment against every permutation.

Print the table (Markdown)::

    python -m tests.benchmarks.test_bench_section

Ratios to work that has to be done in any case, or to a peer; asserted under the marker ``benchmark_suite``.
"""

import itertools
import random
from functools import cache

import pytest

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.score.document import Document, read_document
from analyzer.section.assignment import assign
from analyzer.section.burden import burden_of
from analyzer.section.fit import fit
from analyzer.section.section import Member, Section
from analyzer.selection import chosen_parts, part_lines
from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, cpu_seconds

MANY = 40
MEASURES = 8
LARGEST = 7                            # players and lines up to which every permutation is tried


def band(count: int) -> tuple[Document, Section]:
    """`count` trombone lines, and as many players with one or two horns, no two alike."""
    chance = random.Random(count)
    names = tuple(f"Trombone {k}" for k in range(1, count + 1))
    members = tuple(Member(
        player=Player(name=f"Chair {k}", max_speed_mm_s=chance.uniform(5000.0, 8000.0)),
        horns=tuple(load_horn(name) for name in chance.sample(("tenor", "tenor-f", "bass-independent"), 1 + k % 2)))
        for k in range(1, count + 1))
    return read_document(making.score(names, MEASURES), "band.musicxml"), Section(members=members)


def every_plan(document: Document, section: Section) -> list[object]:
    """Plan every line for every horn of every player, and nothing else: what a fit cannot do without."""
    lines = [line for part in chosen_parts(document, ())[0] for line in part_lines(document, part)[0]]
    times = [Planner(line, load_horn("tenor")).times for line in lines]
    return [Planner(line, horn, member.player, times=mine).outline()
            for line, mine in zip(lines, times, strict=True) for member in section.members for horn in member.horns]


def whole_fit() -> Figure:
    document, section = band(MANY)
    assert len(fit(*band(3)).seats) == 3                   # what is loaded once, is loaded now
    plans = cpu_seconds(lambda: every_plan(document, section))
    ours = cpu_seconds(lambda: fit(document, section))
    return Figure(what=f"fit of {MANY} players to {MANY} lines / the plans alone", ours=f"{ours:.1f} s",
                  theirs=f"{plans:.1f} s", value=ours / plans, limit=2.5)


def seating() -> Figure:
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    chance = random.Random(1)
    prices = [[chance.uniform(0, 100) for _ in range(MANY)] for _ in range(MANY)]
    matrix = np.asarray(prices)
    ours = min(cpu_seconds(lambda: assign(prices, [1e9] * MANY)) for _ in range(9))
    theirs = min(cpu_seconds(lambda: linear_sum_assignment(matrix)) for _ in range(9))
    rows, columns = linear_sum_assignment(matrix)
    assert assign(prices, [1e9] * MANY) == tuple(columns.tolist())
    assert list(rows) == list(range(MANY))
    # A compiled peer of 143 MB: what counts is that a whole fit takes thousands of times as long.
    return Figure(what=f"seating {MANY} by {MANY}, lines may stay empty / scipy, compiled, on the bare square",
                  ours=f"{ours * 1000:.2f} ms", theirs=f"{theirs * 1000:.2f} ms", value=ours / theirs, limit=150)


def permutations() -> Figure:
    """The seats of real burdens against every permutation: the value is what ours costs more, and must be nothing."""
    worst, tried = 0.0, 0
    for count in range(2, LARGEST + 1):
        document, section = band(count)
        answer = fit(document, section)
        lines = [one.chair.line for one in answer.seats]
        table = [[min(burden_of(line, member, horn).cost for horn in _slides(member)) for member in section.members]
                 for line in lines]
        best = min(sum(table[i][j] for i, j in enumerate(chosen))
                   for chosen in itertools.permutations(range(count), count))
        worst = max(worst, sum(one.burden.cost for one in answer.seats) / best - 1)
        tried += 1
    return Figure(what=f"price above the best of all permutations, {tried} sections of 2 to {LARGEST}",
                  ours=f"{worst:.1e}", theirs="0", value=worst, limit=1e-9)


def _slides(member: Member) -> list[Horn]:
    return [horn for horn in member.horns if horn.family == "slide"]


@cache
def figures() -> tuple[Figure, ...]:
    return whole_fit(), seating(), permutations()


def table() -> str:
    return "\n".join(["| what | ours | theirs | ratio | limit |", "| --- | ---: | ---: | ---: | ---: |",
                      *(one.row() for one in figures())])


@pytest.mark.benchmark_suite
@pytest.mark.parametrize("place", range(3))
def test_ratio_is_within_its_limit(place: int) -> None:
    figure = figures()[place]
    print(f"\n{figure.row()}")
    assert figure.value <= figure.limit, figure.what


def test_every_player_of_a_band_finds_a_seat() -> None:
    document, section = band(6)
    answer = fit(document, section)
    assert sorted(one.member.name for one in answer.seats) == sorted(one.name for one in section.members)


if __name__ == "__main__":
    print(table())

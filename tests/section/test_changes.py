"""The search for the fewest changes against every way there is, tried one after another without a short cut."""

import random
from itertools import combinations

import pytest

from analyzer.section.changes import MOST_MOVES, TEMPO_STEPS, ChangedSeating, Search, _clash
from analyzer.section.seating import Desk, chairs_of
from analyzer.selection import chosen_parts, part_lines
from tests.score.build import words
from tests.section.test_fit import member, section, small

NAMES = ("Trombone 1", "Trombone 2", "Trombone 3", "Bass Trombone", "Euphonium")
NOTES = ("C2", "D2", "Eb2", "E2", "F2", "Bb2", "B2", "C3", "F3", "Bb3", "D4", "F4")


def chance_search(seed: int, *, doubling: bool = False) -> Search:
    """A small band by chance: too low, too quick, too few horns, some kept on their parts, one part for two horns."""
    chance = random.Random(seed)
    lines = {name: [chance.choice(NOTES[2 * chance.randint(0, 2):]) for _ in range(chance.randint(4, 24))]
             for name in chance.sample(NAMES, chance.randint(2, 4))}
    if doubling:
        notes = next(iter(lines.values()))
        notes[-3:-1] = [words("to Euph.") + notes[-3], words("to Tbn.") + notes[-2]]
    players = []
    for k in range(chance.randint(1, 5)):
        horns = chance.sample(("tenor", "tenor-f", "bass-single", "euphonium-3", "euphonium-4"), chance.randint(1, 2))
        more: dict[str, object] = {}
        if chance.random() < 0.4:
            more["max_speed_mm_s"] = chance.choice((150.0, 250.0, 400.0))
        if chance.random() < 0.3:
            more["keeps"] = chance.choice(("trombone", "bass trombone", "euphonium"))
        if chance.random() < 0.3:
            more["low"] = chance.choice(("F2", "Bb2"))
        players.append(member(f"P{k}", *horns, **more))
    spare = ("tenor-f",) if chance.random() < 0.5 else ()
    document = small(lines)
    chairs = chairs_of([(part, line) for part in chosen_parts(document, ())[0]
                        for line in part_lines(document, part)[0]])
    return Search(Desk(chairs, section(*players, spare=spare)), lambda _: seed % 3 == 0)


def every_way(search: Search) -> ChangedSeating:
    steps = search._steps()
    chosen = [few for size in range(MOST_MOVES + 1) for few in combinations(steps, size) if not _clash(few)]
    return min((search._way(few, least) for few in chosen for least in TEMPO_STEPS), key=lambda way: way.order)


@pytest.mark.parametrize("seed", [*range(8), *(pytest.param(seed, marks=pytest.mark.whole) for seed in range(8, 300))])
def test_no_way_takes_fewer_changes_than_the_one_found(seed: int) -> None:
    check(chance_search(seed))


@pytest.mark.parametrize("seed", [*range(8), *(pytest.param(seed, marks=pytest.mark.whole) for seed in range(8, 150))])
def test_nor_where_a_player_changes_horns(seed: int) -> None:
    search = chance_search(seed, doubling=True)
    assert max(map(len, search.desk.ties)) == 2
    check(search)


def check(search: Search) -> None:
    found, best = search.best(), every_way(search)
    if best.possible:
        assert found.count == best.count
        # With no more steps than changes, the search stops before it asks for ties among longer ways.
        if found.count > MOST_MOVES:
            assert found.order == best.order
    else:
        assert not found.possible

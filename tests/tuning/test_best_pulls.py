"""Slides pulled out: by hand, against the road that every command takes, and against every setting there is."""

import itertools
import random
from math import log2

import pytest

from analyzer.horns.candidates import candidates, chart_choice, possible
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_from_text, horn_names, load_horn
from analyzer.horns.tubing import state, states
from analyzer.problem import Unreadable
from analyzer.tuning.best_pulls import LIMITS_MM, TIE_CENTS2_A_MM, TIE_SHARE, Sounding, Tuning, WantedPitch, ways
from analyzer.tuning.profile_text import profile_text
from analyzer.tuning.retuned import MAIN, pulled, slides


def test_a_pull_by_hand() -> None:
    horn = load_horn("euphonium-4")
    own = pulled(horn, {"1": 7, MAIN: 5}, name="mine")
    # 2960.2 mm of tube, 10 mm more by the main slide's two legs, 14 mm by the first valve's.
    assert own.tube_mm == pytest.approx(2970.2)
    assert state(own, ("1",)).ratio == pytest.approx((2960.2 + 10 + 0.124 * 2960.2 + 14) / 2970.2)
    assert state(own, ("2",)).ratio == pytest.approx((2970.2 + 0.06 * 2960.2) / 2970.2)
    assert state(own, ()).partial_cents[1] == pytest.approx(1200 - 1200 * log2(2970.2 / 2960.2))
    assert own.name == "mine"
    assert own.loops[0].evidence.kind == "derived"
    assert own.loops[0].evidence.why.startswith("pulled out 7 mm; before: cited, S17")


def test_a_compensating_loop_is_not_pulled() -> None:
    horn = load_horn("euphonium-4-compensating")
    own = pulled(horn, {"1": 10})
    assert state(own, ("1", "4")).ratio == pytest.approx(1.124 * 1.338 + 20 / 2960.2)
    assert state(pulled(horn, {"4": 10}), ("1", "4")).ratio == pytest.approx(1.124 * 1.338 + 20 / 2960.2)


@pytest.mark.parametrize("name", horn_names())
def test_pulled_horns_are_horns(name: str) -> None:
    horn = load_horn(name)
    half = {slide: LIMITS_MM[slide] // 2 for slide in slides(horn)}
    own = pulled(horn, half)
    again = horn_from_text(profile_text(own), "own.toml")
    for valves in states(horn):
        assert state(again, valves).cents == pytest.approx(state(own, valves).cents, abs=0.01)
    assert all(state(pulled(horn, {}), valves).ratio == pytest.approx(state(horn, valves).ratio)
               for valves in states(horn))


def test_what_cannot_be_pulled() -> None:
    horn = load_horn("euphonium-3")
    with pytest.raises(ValueError, match="no slide 4"):
        pulled(horn, {"4": 3})
    with pytest.raises(ValueError, match="no slide 1 to pull -1 mm"):
        pulled(horn, {"1": -1})
    with pytest.raises(Unreadable, match="would stand -65 cents off"):
        pulled(horn, {MAIN: 57})


@pytest.mark.parametrize("name", ["euphonium-4", "euphonium-3-compensating", "tenor-f", "bass-independent"])
def test_cents_are_those_of_the_pulled_horn(name: str) -> None:
    """The arrays against the candidates that every other command shows."""
    import numpy as np

    horn = load_horn(name)
    rng = random.Random(1)
    names = slides(horn)
    seen = 0
    for _ in range(6):
        pulls = {slide: rng.randint(0, LIMITS_MM[slide]) for slide in names}
        own = pulled(horn, pulls)
        column = np.array([[float(pulls[slide])] for slide in names])
        for midi in range(36, 70):
            for choice in possible(own, midi):
                way = Sounding(valves=choice.valves, partial=choice.partial)
                tuning = Tuning(horn, [WantedPitch(midi=midi, weight=1, ways=(way,))], LIMITS_MM,
                                reach_mm=horn.slide_end_mm)
                assert float(tuning.off_cents(column)[0, 0]) == pytest.approx(choice.off_cents, abs=1e-6)
                seen += 1
    assert seen > 300


def test_every_way_of_the_pulled_horn_was_open_to_the_search() -> None:
    horn = load_horn("euphonium-4")
    limits = {slide: LIMITS_MM[slide] for slide in slides(horn)}
    rng = random.Random(2)
    for _ in range(5):
        own = pulled(horn, {slide: rng.randint(0, limits[slide]) for slide in limits})
        for midi in range(36, 70):
            usual = chart_choice(horn, midi)
            open_ways = {(way.valves, way.partial): way.handicap_cents for way in ways(horn, midi, usual, limits)}
            assert {(one.valves, one.partial) for one in candidates(own, midi)} <= set(open_ways)
            if usual is not None:
                assert open_ways[usual.valves, usual.partial] == 0


def left(horn: Horn, wanted: list[WantedPitch], pulls: dict[str, int], worst: bool) -> float:
    """The price of a setting, worked out note by note without arrays. [cents²]"""
    total, farthest, weights = 0.0, 0.0, sum(one.weight for one in wanted)
    for one in wanted:
        squares = []
        for way in one.ways:
            held = state(horn, way.valves)
            tube = held.ratio + 2 / horn.tube_mm * sum(
                mm for slide, mm in pulls.items() if slide == MAIN or slide in way.valves)
            off = held.partial_cents[way.partial - 1] - 1200 * log2(tube) - 100 * (one.midi - horn.fundamental_midi)
            squares.append(off ** 2 + way.handicap_cents ** 2)
        total += one.weight / weights * min(squares)
        farthest = max(farthest, min(squares))
    price = farthest + TIE_SHARE * total if worst else total
    return price + TIE_CENTS2_A_MM * sum(pulls.values())


def music(horn: Horn, limits: dict[str, int], seed: int) -> list[WantedPitch]:
    rng = random.Random(seed)
    low = 40 if len(horn.loops) == 3 else 36
    return [WantedPitch(midi=midi, weight=rng.uniform(0.2, 5), ways=ways(horn, midi, chart_choice(horn, midi), limits))
            for midi in rng.sample(range(low, 70), 14)]


@pytest.mark.parametrize("worst", [False, True])
@pytest.mark.parametrize(("name", "limits"), [
    ("euphonium-3", {MAIN: 0, "1": 9, "2": 0, "3": 25}), ("euphonium-4", {MAIN: 6, "1": 0, "2": 0, "3": 0, "4": 30}),
    ("euphonium-4-compensating", {MAIN: 4, "1": 8, "2": 5, "3": 0, "4": 0})])
def test_the_best_pulls_are_those_of_the_whole_grid(name: str, limits: dict[str, int], worst: bool) -> None:
    horn = load_horn(name)
    wanted = music(horn, limits, 5)
    best = Tuning(horn, wanted, limits, worst=worst).best()
    settings = [dict(zip(limits, grid, strict=True))
                for grid in itertools.product(*(range(limit + 1) for limit in limits.values()))]
    assert len(settings) > 180
    least = min(left(horn, wanted, one, worst) for one in settings)
    assert left(horn, wanted, best, worst) == pytest.approx(least, abs=1e-6)
    assert set(best) == set(slides(horn))


@pytest.mark.whole
@pytest.mark.parametrize("worst", [False, True])
@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("name", ["euphonium-3", "euphonium-3-compensating"])
def test_all_four_slides_against_each_of_their_settings(name: str, seed: int, worst: bool) -> None:
    import numpy as np

    horn = load_horn(name)
    limits = {slide: LIMITS_MM[slide] for slide in slides(horn)}
    wanted = music(horn, limits, seed)
    tuning = Tuning(horn, wanted, limits, worst=worst)
    best = tuning.best()
    axes = [np.arange(limit + 1.0) for limit in limits.values()]
    grid = np.stack(np.meshgrid(*axes, indexing="ij")).reshape(len(axes), -1)
    least = min(float(tuning.cost(part).min()) for part in np.array_split(grid, 20, axis=1))
    assert grid.shape[1] == 26 * 26 * 13 * 31
    assert left(horn, wanted, best, worst) == pytest.approx(least, abs=1e-6)


@pytest.mark.parametrize(("name", "seed", "worst"), [
    pytest.param(name, seed, worst, marks=() if (seed, name) == (0, "euphonium-4") else pytest.mark.whole)
    for name in ("euphonium-4", "euphonium-4-compensating") for seed in range(6) for worst in (False, True)])
def test_five_slides_against_another_search(name: str, seed: int, worst: bool) -> None:
    """Differential evolution, as scipy has it, on any length of pull: whole mm lose half a cent at most."""
    from scipy.optimize import differential_evolution

    horn = load_horn(name)
    limits = {slide: LIMITS_MM[slide] for slide in slides(horn)}
    wanted = music(horn, limits, seed)
    tuning = Tuning(horn, wanted, limits, worst=worst)
    other = differential_evolution(tuning.cost, [(0.0, float(mm)) for mm in limits.values()], seed=seed,
                                   vectorized=True, updating="deferred", polish=False, popsize=20, maxiter=300)
    assert left(horn, wanted, tuning.best(), worst) ** 0.5 <= float(other.fun) ** 0.5 + 0.5


def test_a_slide_that_helps_nothing_stays_in() -> None:
    horn = load_horn("euphonium-3")
    limits = {slide: LIMITS_MM[slide] for slide in slides(horn)} | {MAIN: 0}
    only = [WantedPitch(midi=midi, weight=1, ways=(Sounding(valves=("1", "3"), partial=partial),))
            for midi, partial in ((41, 2), (53, 4))]
    best = Tuning(horn, only, limits).best()
    # By hand: 2 ** (5 / 12) wants 1.33484 tubes, 1-3 has 1.315: 29.4 mm in all.
    assert best["2"] == best[MAIN] == 0
    assert best["1"] + best["3"] == 29
    assert Tuning(horn, only, dict.fromkeys(limits, 0)).best() == dict.fromkeys(limits, 0)

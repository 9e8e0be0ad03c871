"""The whole plan against every sequence of choices of short lines, all cost terms on, summed item by item."""

import collections
import itertools
import random
from dataclasses import replace

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.pitch import pitch_of
from analyzer.plan.costs import lowest_partial
from analyzer.plan.learn import FITTED
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.variants import DIFFER, variants, walks
from analyzer.plan.weights import default_weights
from tests.lines import line_of

UNFITTED = ("over_speed", "swap", "lip", "against", "slur_travel", "restrike", "margin", "trill")
HORNS = ("tenor", "tenor-f", "bass-independent", "bass-dependent", "alto", "euphonium-3", "euphonium-4-compensating")


def price(planner: Planner, walk) -> float:
    """Cost of a sequence of choices, from the itemised prices alone."""
    costs = planner.costs
    total = 0.0
    sense = None
    for k, one in enumerate(walk):
        if one is None:
            sense = None
            continue
        choices = planner.choices[k]
        total += sum(costs.note_items(one, planner.times[k].sounds_s, lowest_partial(choices),
                                      planner.at_home(k, one)).values())
        if k == 0 or walk[k - 1] is None:
            continue
        move = planner.moves[k - 1]
        total += sum(costs.move_items(walk[k - 1], one, move).values())
        now = costs.sense(walk[k - 1], one)
        if now is not None:
            if sense is not None and now != sense:
                total += costs.reversal(move)
            sense = now
    for leap in planner.leaps:
        if walk[leap.start] is not None and walk[leap.landing] is not None and leap.start != leap.landing:
            total += sum(costs.move_items(walk[leap.start], walk[leap.landing], leap.move).values())
    for tie, label in planner.tied.labels.items():
        total += planner.weights.figure * sum(walk[m] is not None and walk[m].label != label for m in tie)
    return total


def untied(planner: Planner, walk) -> float:
    """Cost of a sequence of choices without the prices of figures that return."""
    return price(planner, walk) - planner.weights.figure * sum(
        walk[m] is not None and walk[m].label != label
        for tie, label in planner.tied.labels.items() for m in tie)


def figures_price(planner: Planner, walk) -> float:
    """What figures cost that return in the line and are played in more ways than one, defined anew.

    Each place of each figure of three notes has the label that most of its occurrences take; the others pay. Where two
    figures overlap so that the same notes belong together by both, they pay once.
    """
    notes = planner.line.notes
    found = collections.defaultdict(list)
    for k in range(len(notes) - 2):
        found[tuple((note.midi, note.duration, note.onset - notes[k].onset) for note in notes[k:k + 3])].append(k)
    total = 0.0
    for together in {tuple(k + place for k in starts) for starts in found.values() for place in range(3)}:
        labels = [walk[k].label for k in together if walk[k] is not None]
        if labels:
            total += planner.weights.figure * (len(labels) - max(collections.Counter(labels).values()))
    return total


def random_planner(seed: int, jumps: int = 0) -> Planner:
    """A short line at random on a horn at random; often with other weights, secure moves, a main-slide trigger."""
    rng = random.Random(seed)
    horn = load_horn(rng.choice(HORNS))
    horn = replace(horn, handling=replace(horn.handling, main_slide_trigger=rng.random() < 0.3))
    low = horn.fundamental_midi + (12 if rng.random() < 0.8 else 0)
    midis = [rng.randint(low - 6, low + 26) for _ in range(rng.randint(1, 5))]
    if horn.family == "valves" and seed % 3 == 0:
        midis = [midis[0], midis[0] + rng.choice((-2, -1, 1, 2))] * 2
    names = [pitch_of(midi).name + rng.choice(["", "", "~", "~", "/"]) for midi in midis]
    line = line_of(" ".join(names), rng.choice([0.1, 0.15, 0.25, 0.5, 1, 3]))
    pairs = tuple((rng.randrange(len(names)), rng.randrange(len(names))) for _ in range(jumps))
    labels = [one.label for midi in midis for one in candidates(horn, midi)] or ["1"]
    secure = tuple((rng.choice(labels), rng.choice(labels)) for _ in range(rng.randint(0, 4)))
    weights = default_weights()
    if rng.random() < 0.5:
        weights = replace(weights, **{name: getattr(weights, name) * 2 ** rng.uniform(-2, 2) for name in FITTED})
    return Planner(replace(line, jumps=pairs), horn, Player(secure=secure), weights=weights)


def test_every_cost_term_is_at_work_in_these_lines() -> None:
    """What the tests below compare is worth as much as the terms that their lines meet."""
    met: set[str] = set()
    eased = pulled = 0
    for seed in range(150):
        planner = random_planner(seed)
        costs = planner.costs
        for k, choices in enumerate(planner.choices):
            for one in choices:
                items = costs.note_items(one, planner.times[k].sounds_s, lowest_partial(choices), False)
                met |= {name for name, price in items.items() if price > 0}
                pulled += one.off_cents > 0 and planner.horn.handling.main_slide_trigger and one.position is None
                for before in planner.choices[k - 1] if k else ():
                    items = costs.move_items(before, one, planner.moves[k - 1])
                    met |= {name for name, price in items.items() if price > 0}
                    eased += (before.label, one.label) in costs.secure
    assert met | {"reversal"} == {*FITTED, *UNFITTED, "gliss"}
    assert min(eased, pulled) > 10


def line_with_figures(seed: int) -> Planner:
    """A short turn on notes with several choices, which comes two or three times, other notes between."""
    rng = random.Random(seed)
    horn, notes = rng.choice((
        ("tenor", "Bb3 F3 A3 C4 C#4 G3 Eb4 Ab3 F#3"), ("tenor-f", "C3 B2 E2 F2 Bb3 F3 D3 G2"),
        ("bass-dependent", "C#2 C2 D3 F3 Bb3 E2"), ("euphonium-3", "D3 G3 F3 A3 Bb3 B3")))
    names = notes.split()
    turn = [rng.choice(names) for _ in range(3)]
    around = [rng.choice(names) for _ in range(3)]
    row = [around[0], *turn, around[1], *turn, around[2]]
    weights = replace(default_weights(), figure=rng.choice((0.5, 2.0, 4.0, 10.0)))
    return Planner(line_of(" ".join(row), rng.choice((0.12, 0.2, 0.4))), load_horn(horn), weights=weights)


PARTED = [seed for seed in range(1500) if line_with_figures(seed).tied.labels][:60]


@pytest.mark.parametrize("seed", PARTED)
def test_figures_that_return_take_the_least_of_all_labels(seed: int) -> None:
    """The least over all walks of all prices, figures among them; where the work is cut short, within its own gap."""
    planner = line_with_figures(seed)
    every = [untied(planner, walk) + figures_price(planner, walk)
             for walk in itertools.product(*(one or (None,) for one in planner.choices))]
    least = min(every)
    cost = planner.plan().cost
    walk = [note.choice for note in planner.plan().notes]
    assert untied(planner, walk) + figures_price(planner, walk) == pytest.approx(cost)
    assert least - 1e-6 <= cost <= least + planner.tied.gap + 1e-6


def test_these_figures_part_without_a_price_and_their_labels_are_mostly_proved() -> None:
    assert len(PARTED) >= 30
    assert sum(line_with_figures(seed).tied.gap == 0.0 for seed in PARTED) >= 0.9 * len(PARTED)


@pytest.mark.parametrize("seed", range(150))
def test_plan_is_the_least_of_all(seed: int) -> None:
    planner = random_planner(seed)
    every = [(price(planner, walk), walk) for walk in itertools.product(*(one or (None,) for one in planner.choices))]
    least = min(cost for cost, _ in every)
    plan = planner.plan()
    assert plan.cost == pytest.approx(least)
    assert price(planner, [note.choice for note in plan.notes]) == pytest.approx(least)
    # What another choice would cost: the best whole plan that takes it.
    for k, note in enumerate(plan.notes):
        for other in note.alternatives:
            with_it = min(cost for cost, walk in every if walk[k] is other.choice)
            assert other.extra_cost == pytest.approx(with_it - least, abs=1e-6)


def all_walks(planner: Planner, pins: dict[int, str] | None = None):
    """(cost, walk) of every sequence of choices that keeps the pins, cheapest first."""
    rows = [[one for one in choices if (pins or {}).get(k) in (None, one.label)] or [None]
            for k, choices in enumerate(planner.choices)]
    return sorted(((price(planner, walk), walk) for walk in itertools.product(*rows)), key=lambda found: found[0])


def some_pin(planner: Planner, rng: random.Random) -> dict[int, str]:
    places = [k for k, choices in enumerate(planner.choices) if len(choices) > 1]
    if not places or rng.random() < 0.5:
        return {}
    k = rng.choice(places)
    return {k: rng.choice(planner.choices[k]).label}


@pytest.mark.parametrize("seed", range(90))
def test_runners_up_come_in_order_and_none_is_missed(seed: int) -> None:
    """With pins and repeats, too."""
    planner = random_planner(500 + seed, jumps=seed % 3)
    pins = some_pin(planner, random.Random(seed))
    every = all_walks(planner, pins)
    given = list(itertools.islice(walks(planner, pins), 12))
    assert [cost for cost, _ in given] == pytest.approx([cost for cost, _ in every[:12]])
    assert len({walk for _, walk in given}) == len(given)
    for cost, walk in given:
        assert price(planner, walk) == pytest.approx(cost)
    assert list(given[0][1]) == [note.choice for note in planner.plan(pins).notes]


def another_pattern(planner: Planner, one, other) -> bool:
    """Defined anew: three notes differ (or all free ones), or a recurring pitch goes as the other never does."""
    free = [k for k, choices in enumerate(planner.choices) if len(choices) > 1]
    notes = [k for k in free if one[k] is not other[k]]
    often = [k for k in notes if sum(note.midi == planner.line.notes[k].midi for note in planner.line.notes) > 1]
    new = [k for k in often if all(other[m] is not one[k] for m in free
                                   if planner.line.notes[m].midi == planner.line.notes[k].midi)]
    return len(notes) >= max(1, min(DIFFER, len(free))) or bool(new)


@pytest.mark.parametrize("seed", range(90))
def test_variants_are_the_cheapest_of_another_pattern(seed: int) -> None:
    planner = random_planner(3000 + seed, jumps=seed % 2)
    pins = some_pin(planner, random.Random(seed))
    every = all_walks(planner, pins)
    given = variants(planner, 4, pins)
    assert list(given[0].choices) == [note.choice for note in planner.plan(pins).notes]
    for k, one in enumerate(given[1:], 1):
        earlier = [other.choices for other in given[:k]]
        assert all(another_pattern(planner, one.choices, other) for other in earlier)
        least = min(cost for cost, walk in every if all(another_pattern(planner, walk, other) for other in earlier))
        assert one.cost == pytest.approx(least)
        assert price(planner, one.choices) == pytest.approx(one.cost)
    if len(given) < 4:
        assert not any(all(another_pattern(planner, walk, other.choices) for other in given) for _, walk in every)


@pytest.mark.parametrize("seed", range(60))
def test_pins_give_the_least_of_all_with_the_pin(seed: int) -> None:
    rng = random.Random(seed)
    planner = random_planner(900 + seed)
    places = [k for k, choices in enumerate(planner.choices) if choices]
    if not places:
        assert planner.plan().totals.unplayable == len(planner.choices)
        return
    k = rng.choice(places)
    pinned = rng.choice(planner.choices[k])
    every = [walk for walk in itertools.product(*(one or (None,) for one in planner.choices)) if walk[k] is pinned]
    plan = planner.plan({k: pinned.label})
    assert plan.notes[k].choice.label == pinned.label
    assert plan.cost == pytest.approx(min(price(planner, walk) for walk in every))
    assert price(planner, [note.choice for note in plan.notes]) == pytest.approx(plan.cost)


@pytest.mark.parametrize("seed", range(120))
def test_repeats_are_paid_for_and_the_plan_is_still_the_least(seed: int) -> None:
    planner = random_planner(2000 + seed, jumps=1 + seed % 3)
    every = [(price(planner, walk), walk) for walk in itertools.product(*(one or (None,) for one in planner.choices))]
    plan = planner.plan()
    least = min(cost for cost, _ in every)
    assert plan.cost == pytest.approx(least)
    assert price(planner, [note.choice for note in plan.notes]) == pytest.approx(least)
    if len(planner.leaps) == 1:
        leap = planner.leaps[0]
        note = plan.notes[leap.landing]
        for other in note.alternatives:
            with_it = min(cost for cost, walk in every if walk[leap.landing] is other.choice)
            assert other.extra_cost == pytest.approx(with_it - least, abs=1e-6)

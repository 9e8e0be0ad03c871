"""Weights fitted to the marks of made-up teachers whose weights are known."""

import random
from dataclasses import replace

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.pitch import pitch_of
from analyzer.plan.learn import FITTED, Marked, agreement, features, learn, marks_in, match_rates
from analyzer.plan.solve import Planner
from analyzer.plan.weights import default_weights
from tests.lines import line_of

pytest.importorskip("scipy", reason="fitting needs scipy")


def lines(rng: random.Random, count: int):
    made = []
    for _ in range(count):
        midi, names = 53, []
        for _ in range(40):
            midi = max(40, min(67, midi + rng.choice([-5, -4, -3, -2, -1, 1, 2, 3, 4, 5])))
            names.append(pitch_of(midi).name + rng.choice(["", "", "~"]))
        made.append(line_of(" ".join(names), rng.choice([0.12, 0.2, 0.3, 0.5])))
    return made


def taught(seed: int, noise: float):
    """Return training and held-out marks (the latter without noise) of a teacher with hidden weights."""
    rng = random.Random(seed)
    hidden = replace(default_weights(), **{name: getattr(default_weights(), name) * 2 ** rng.uniform(-1.5, 1.5)
                                           for name in FITTED})
    horn = load_horn("tenor-f" if seed % 2 else "tenor")
    sets = []
    for count, wrong in ((12, noise), (6, 0.0)):
        marked = []
        for line in lines(rng, count):
            planner = Planner(line, horn, weights=hidden)
            labels = {}
            for k, note in enumerate(planner.plan().notes):
                others = [one.label for one in planner.choices[k]]
                labels[k] = rng.choice(others) if rng.random() < wrong else note.choice.label
            marked.append(Marked(line=line, horn=horn, labels=labels))
        sets.append(marked)
    return sets


@pytest.mark.parametrize("seed", [0, 1])
def test_a_hidden_teacher_is_found_again(seed: int) -> None:
    train, held = taught(seed, 0.0)
    found = learn(train)
    assert found.after >= found.before
    assert agreement(held, found.weights) >= 0.95


@pytest.mark.whole
@pytest.mark.parametrize("noise", [0.0, 0.1])
def test_twenty_hidden_teachers(noise: float) -> None:
    shares = []
    for seed in range(20):
        train, held = taught(seed, noise)
        shares.append(agreement(held, learn(train).weights))
    # Every teacher's held-out lines have as many notes, so the mean is the share of all held-out notes.
    mean = sum(shares) / len(shares)
    print(f"noise {noise}: held-out agreement least {min(shares):.3f}, mean {mean:.3f}")
    assert mean >= (0.9 if noise else 0.95)


def test_cost_is_the_dot_product_of_features_and_weights() -> None:
    planner = Planner(line_of("C3 F3 Bb3~ D4 C4 A3", 0.3), load_horn("tenor-f"))
    plan = planner.plan()
    parts = features(planner, [note.choice for note in plan.notes])
    assert sum(value * getattr(planner.weights, name) for name, value in parts.items()) == pytest.approx(plan.cost)


def test_match_rates_are_mean_and_best_over_annotators() -> None:
    """Worked by hand: 2 of 3 and 1 of 2 marks agree, so the mean is 7/12 and the best 2/3."""
    assert match_rates(["1", "2#", "3"], [{0: "1", 1: "2", 2: "6"}, {0: "4", 2: "3"}]) == pytest.approx((7 / 12, 2 / 3))


def test_marks_are_read_from_the_file() -> None:
    line = line_of("C3 F3")
    marked = replace(line, notes=(replace(line.notes[0], given=" T1 "), line.notes[1]))
    assert marks_in(marked) == {0: "T1"}

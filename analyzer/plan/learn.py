"""Weights fitted to a teacher's marks: the inverse of the plan. Physical constants are never touched.

A plan's cost is linear in the weights, so "her marks are the cheapest plan" is a set of linear inequalities: for every
other plan, its cost must be above hers. They are added where broken, plan by plan, and the weights nearest to the
present ones that satisfy them best are found anew (cutting planes; the structured large-margin method of Tsochantaridis
et al., cited from memory: *Journal of Machine Learning Research* 6, 2005).

Agreement is stated as in the piano-fingering literature (Nakamura, Saito and Yoshii, *Information Sciences* 517, 2020,
after its abstract): the general match rate is the mean share of notes on which a plan agrees with each annotator, the
highest match rate its best share over the annotators.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.plan.costs import lowest_partial
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.weights import Weights, default_weights
from analyzer.score.line import Line

FITTED = ("travel", "speed", "reversal", "smear", "with_grain", "thumb", "held_valve", "second_valve", "out",
          "high_partial", "cents", "off_usual", "off_usual_s", "finger", "crossing", "open_valve", "valved_partial")
"""The judged weights that marks may move; speeds, shares and times stay."""
_ROUNDS = 40
_STEADY = 0.02
"""Pull towards the present weights, against one cm of broken inequality; judged, 0.005 to 0.1 agree on the tests."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """A line with a teacher's marks: labels by note index (a note without a mark is not in it)."""

    line: Line
    horn: Horn
    labels: Mapping[int, str]
    player: Player = field(default_factory=Player)
    tempo_bpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """Fitted weights, and the agreement [0 to 1] before and after on the marks that were learned from."""

    weights: Weights
    before: float
    after: float
    unread: tuple[str, ...]            # marks that are no choice of the plan, as "index: label"


def marks_in(line: Line) -> dict[int, str]:
    """Return the fingerings that stand in a file, by note index."""
    return {k: note.given.strip().replace("♯", "#").replace("♭", "b")
            for k, note in enumerate(line.notes) if note.given and note.given.strip()}


def features(planner: Planner, walk: Sequence[Candidate | None]) -> dict[str, float]:
    """Sum of every item of a walk, over its weight: the walk's cost is the dot product with the weights."""
    costs = planner.costs
    total: dict[str, float] = {}
    sense: int | None = None

    def add(items: Mapping[str, float]) -> None:
        for name, value in items.items():
            total[name] = total.get(name, 0.0) + value

    for k, one in enumerate(walk):
        if one is None:
            sense = None
            continue
        add(costs.note_items(one, planner.times[k].sounds_s, lowest_partial(planner.choices[k]),
                             one is planner.usual[k]))
        before = walk[k - 1] if k else None
        if before is None:
            continue
        move = planner.moves[k - 1]
        add(costs.move_items(before, one, move))
        now = costs.sense(before, one)
        if now is not None:
            if sense is not None and now != sense:
                add({"reversal": costs.reversal(move)})
            sense = now
    weights = planner.weights
    return {name: value / getattr(weights, name) for name, value in total.items() if name in FITTED and value}


def agreement(marked: Sequence[Marked], weights: Weights | None) -> float:
    """Share of the marks that the plans with these weights give back."""
    same = total = 0
    for one in marked:
        plan = _planner(one, weights).plan()
        for k, label in one.labels.items():
            choice = plan.notes[k].choice
            same += choice is not None and _bare(choice.label) == _bare(label)
            total += 1
    return same / total if total else 0.0


def match_rates(plan_labels: Sequence[str | None], annotators: Sequence[Mapping[int, str]]) -> tuple[float, float]:
    """Return the general and the highest match rate of a plan against several annotators.

    Raises
    ------
    ValueError
        If no annotator marked anything.
    """
    rates = [sum(_bare(plan_labels[k] or "") == _bare(label) for k, label in one.items()) / len(one)
             for one in annotators if one]
    if not rates:
        raise ValueError("there is no mark to compare with")
    return sum(rates) / len(rates), max(rates)


def learn(marked: Sequence[Marked], start: Weights | None = None) -> Learned:
    """Fit the judged weights to marks.

    Needs scipy and numpy (the extra ``decide``).
    """
    import numpy as np
    from scipy.optimize import lsq_linear

    weights = start or default_weights()
    base = np.array([getattr(weights, name) for name in FITTED])
    before = agreement(marked, weights)
    best, best_share = weights, before
    rows: list[Any] = []
    unread: list[str] = []
    for _ in range(_ROUNDS):
        broken = 0
        for one in marked:
            planner = _planner(one, weights)
            pins = {}
            for k, label in one.labels.items():
                matches = [choice for choice in planner.choices[k] if _bare(choice.label) == _bare(label)]
                if matches:
                    pins[k] = matches[0].label
                elif f"{k}: {label}" not in unread:
                    unread.append(f"{k}: {label}")
            hers = [note.choice for note in planner.plan(pins).notes]
            ours = [note.choice for note in planner.plan().notes]
            for first, last in _differing(hers, ours):
                mixed = [*hers[:first], *ours[first:last], *hers[last:]]
                gain = features(planner, mixed)
                mine = features(planner, hers)
                row = np.array([gain.get(name, 0.0) - mine.get(name, 0.0) for name in FITTED]) * base
                rows.append(row)
                broken += 1
        if not broken:
            break
        # Least squares over the factors: each inequality wants at least a margin, each factor wants to stay 1.
        factors = np.array([getattr(weights, name) for name in FITTED]) / base
        for _ in range(20):
            matrix = np.array(rows)
            wanting = matrix @ factors < 1.0
            stacked = np.vstack([matrix[wanting], _STEADY * len(rows) ** 0.5 * np.eye(len(FITTED))])
            goal = np.concatenate([np.ones(int(wanting.sum())), _STEADY * len(rows) ** 0.5 * np.ones(len(FITTED))])
            new = lsq_linear(stacked, goal, bounds=(0.02, 50.0)).x
            if np.allclose(new, factors, atol=1e-4):
                break
            factors = new
        weights = replace(weights, **dict(zip(FITTED, (float(one) for one in base * factors), strict=True)))
        share = agreement(marked, weights)
        if share > best_share:
            best, best_share = weights, share
    return Learned(weights=best, before=before, after=best_share, unread=tuple(unread))


def _planner(one: Marked, weights: Weights | None) -> Planner:
    return Planner(one.line, one.horn, one.player, tempo_bpm=one.tempo_bpm, weights=weights)


def _bare(label: str) -> str:
    return label.rstrip("#b")


def _differing(hers: Sequence[Candidate | None], ours: Sequence[Candidate | None]) -> list[tuple[int, int]]:
    """Return the ranges of notes on which two walks differ, notes with one agreeing note between apart."""
    places = [k for k, (a, b) in enumerate(zip(hers, ours, strict=True)) if a is not b]
    if not places:
        return []
    cuts = [k + 1 for k, (a, b) in enumerate(pairwise(places)) if b - a > 1]
    edges = [0, *cuts, len(places)]
    return [(places[a], places[b - 1] + 1) for a, b in pairwise(edges)]

"""Weights fitted to a teacher's marks: the inverse of the plan. Physical constants are never touched.

The weights under which the marks are most likely (`likelihood`), with a pull towards the present ones, are found by a
quasi-Newton search (Liu and Nocedal, *Mathematical Programming* 45, 1989, in bounds, as nlopt has it) over the
logarithms of the weights: a weight halved or doubled is as far from the present one.

Agreement is stated as in the piano-fingering literature (Nakamura, Saito and Yoshii, *Information Sciences* 517, 2020,
after its abstract): the general match rate is the mean share of notes on which a plan agrees with each annotator, the
highest match rate its best share over the annotators.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.plan.likelihood import SLIP, layers_of, log_chances, surprise
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.weights import Weights, default_weights
from analyzer.score.lines import Line

FITTED = ("travel", "speed", "reversal", "smear", "with_grain", "thumb", "held_valve", "second_valve", "out",
          "high_partial", "cents", "common", "rare", "avoid", "shaded", "resonance", "unraised", "finger",
          "crossing", "open_valve", "valved_partial")
"""The judged weights that marks may move; speeds, shares and times stay."""
_STEADY = 1.0
"""Price of a weight at e times (or 1/e of) the present one, in natural logarithms of chance. Judged on made-up
teachers besides those of the tests: from 0.3 to 5 their least agreement changes by less than 2 per cent."""
_MOST = 3.0
"""No weight moves by more than e to this power: 20 times."""
HABITS = ("common", "rare", "avoid", "unraised")
"""What players are used to is ours to guess and a teacher's to know, so marks move these weights more easily."""
_LOOSE = 0.2
"""Their share of `_STEADY`; with it six marks of one choice outweigh the dearest rank. Judged."""
_MOST_HABIT = 5.0
"""And no habit moves by more than e to this power: 150 times."""
_SHARPEST = 1.0
"""Cost that makes a plan e times less likely is at least one cm over this; sharper leaves the fit to single notes."""
_NO_SLIP = 0.0
_FOREIGN = 0.5
"""A line more of whose marks than this do not sound their notes is marked for another instrument. Judged: of a string
player's fingers 0 to 4 about one in five happens to be a position of its note, of a teacher's slips nine in ten are."""
_FEW = 4
_SETTLED = 1e-6
"""The search ends when a step gains less than this share of the value."""
_DOUBTFUL = 0.02
"""A mark that the fitted weights give less than this chance looks like a slip."""


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
    """Fitted weights, and the agreement [0 to 1] before and after on the marks that were learned from.

    `unread` are marks that cannot be used, each with the reason; `doubtful` those that hardly fit the others: a person
    may look at them again. Both begin with "part, measure, note: label".
    """

    weights: Weights
    before: float
    after: float
    unread: tuple[str, ...]
    doubtful: tuple[str, ...]


def marks_in(line: Line) -> dict[int, str]:
    """Return the fingerings that stand in a file, by note index."""
    return {k: note.given.strip().replace("♯", "#").replace("♭", "b")
            for k, note in enumerate(line.notes) if note.given and note.given.strip()}


def agreement(marked: Sequence[Marked], weights: Weights | None) -> float:
    """Share of the marks that the plans with these weights give back."""
    same = total = 0
    for one in marked:
        labels = _planned(one, weights)
        same += sum(_bare(labels[k] or "") == _bare(label) for k, label in one.labels.items())
        total += len(one.labels)
    return same / total if total else 0.0


def match_rates(plan_labels: Sequence[str | None], annotators: Sequence[Mapping[int, str]]) -> tuple[float, float]:
    """Return the general and the highest match rate of a plan against several annotators.

    Raises
    ------
    ValueError
        If no annotator marked anything.
    """
    rates = [sum(_bare(plan_labels[k] or "") == _bare(label) for k, label in annotator.items()) / len(annotator)
             for annotator in annotators if annotator]
    if not rates:
        raise ValueError("there is no mark to compare with")
    return sum(rates) / len(rates), max(rates)


def shared_rates(marked: Sequence[Marked], weights: Weights | None) -> tuple[float, float] | None:
    """Return general and highest match rate over music that several annotators marked, each piece weighing alike.

    Lines are the same music when pitches, times and horn are the same. None where no two are.
    """
    pieces: dict[object, list[Marked]] = {}
    for one in marked:
        music = one.horn.name, tuple((note.midi, note.onset, note.duration) for note in one.line.notes)
        pieces.setdefault(music, []).append(one)
    rates = [match_rates(_planned(several[0], weights), [one.labels for one in several])
             for several in pieces.values() if len(several) > 1]
    if not rates:
        return None
    return sum(general for general, _ in rates) / len(rates), sum(highest for _, highest in rates) / len(rates)


def learn(marked: Sequence[Marked], start: Weights | None = None) -> Learned:
    """Fit the judged weights to marks.

    Needs nlopt and numpy (the extra ``decide``).
    """
    import numpy as np

    weights = start or default_weights()
    before = agreement(marked, weights)
    unread: list[str] = []
    layers = []
    for one in marked:
        planner = _planner(one, weights, widened=True)
        allowed = {}
        for k, label in one.labels.items():
            means = [_bare(choice.label) == _bare(label) for choice in planner.choices[k]]
            if any(means):
                allowed[k] = means
            else:
                unread.append(f"{_where(one, k)} {unusable(one, k)}")
        layers.append(layers_of(planner, allowed, FITTED))
    every = [run for runs in layers for run in runs]
    logs, sharpness = _fitted(every)
    factors = np.exp(logs)
    fitted = replace(weights, **{name: float(getattr(weights, name) * factor)
                                 for name, factor in zip(FITTED, factors, strict=True) if factor != 1.0})
    after = agreement(marked, fitted)
    if after <= before:
        fitted, after = weights, before
    doubtful = [
        _where(one, run.index + t) for one, runs in zip(marked, layers, strict=True) for run in runs
        for t, chance in log_chances(run, factors[None] * sharpness).items() if chance[0] < np.log(_DOUBTFUL)
    ]
    return Learned(weights=fitted, before=before, after=after, unread=tuple(unread), doubtful=tuple(doubtful))


def _fitted(layers: Sequence[Any]) -> tuple[Any, float]:
    """Return the logarithms of the best factors (W,), and how sharply chance falls with cost [1 over cm]."""
    import numpy as np

    logs = np.zeros(len(FITTED))
    tables = [table.reshape(-1, len(FITTED)) for layer in layers for table in (*layer.nodes, *layer.edges)]
    used = np.flatnonzero(sum((np.abs(table).sum(axis=0) for table in tables), np.zeros(len(FITTED))))
    if not len(used) or not any(layer.marks for layer in layers):
        return logs, _SHARPEST
    step = 1e-4
    steady = np.array([_STEADY * (_LOOSE if name in HABITS else 1.0) for name in FITTED])
    most = [_MOST_HABIT if FITTED[k] in HABITS else _MOST for k in used]
    # The last unknown is the logarithm of the sharpness, which all weights share.
    steps = np.vstack([np.zeros(len(used) + 1), step * np.eye(len(used) + 1)])

    def value_and_slope(point: Any, slip: float) -> tuple[float, Any]:
        points = point + steps
        tried = np.zeros((len(points), len(FITTED)))
        tried[:, used] = points[:, :-1]
        values = surprise(layers, np.exp(tried + points[:, -1:]), slip) + (steady * tried**2).sum(axis=1)
        return float(values[0]), (values[1:] - values[0]) / step

    bounds = np.array([*((-far, far) for far in most), (-_MOST, np.log(_SHARPEST))])

    def search(begin: Any, slip: float) -> tuple[float, Any]:
        return _least(lambda point: value_and_slope(point, slip), begin, bounds)

    present = np.append(np.zeros(len(used)), np.log(_SHARPEST / 2))
    # Where all marks are far from the plan, each looks like a slip and none pulls; so begin also where none is one.
    _, found = min((search(begin, SLIP) for begin in (present, search(present, _NO_SLIP)[1])), key=lambda one: one[0])
    logs[used] = found[:-1]
    return logs, float(np.exp(found[-1]))


def _least(value_and_slope: Callable[[Any], tuple[float, Any]], begin: Any, bounds: Any) -> tuple[float, Any]:
    """Return the least value that a search from `begin` finds within `bounds` (n × 2), and where."""
    import nlopt
    import numpy as np

    best: tuple[float, Any] = (float("inf"), begin)

    def seen(point: Any, slope: Any) -> float:
        nonlocal best
        value, rises = value_and_slope(point)
        if slope.size:
            slope[:] = rises
        if value < best[0]:
            best = value, point.copy()
        return value

    search = nlopt.opt(nlopt.LD_LBFGS, len(begin))
    search.set_lower_bounds(bounds[:, 0])
    search.set_upper_bounds(bounds[:, 1])
    search.set_ftol_rel(_SETTLED)
    search.set_min_objective(seen)
    # At the bottom, where rounding lets it get no farther, it ends with an error; the best that was seen is its answer.
    with suppress(nlopt.runtime_error):
        search.optimize(np.clip(begin, bounds[:, 0], bounds[:, 1]))
    return best


def unusable(one: Marked, k: int) -> str | None:
    """Say why a mark cannot be learned from; None where it is a way to sound its note on this horn.

    Any physical way counts, as it does for a pin: what the plan would not take by itself is still a teacher's choice.
    """
    ways = candidates(one.horn, one.line.notes[k].midi)
    if any(_bare(way.label) == _bare(one.labels[k]) for way in ways):
        return None
    if not ways:
        return f"(nothing sounds this note on {one.horn.name})"
    return f"(does not sound this note on {one.horn.name}; its ways: {', '.join(way.label for way in ways)})"


def foreign(one: Marked) -> bool:
    """Tell whether most marks of a line do not sound their notes: those of another instrument, a cello's fingers.

    A few marks say too little for that.
    """
    return len(one.labels) >= _FEW and sum(
        unusable(one, k) is not None for k in one.labels) > len(one.labels) * _FOREIGN


def _planner(one: Marked, weights: Weights | None, *, widened: bool = False) -> Planner:
    """Return the planner of a line; `widened`, a marked note may take what the mark says, as a pinned one may."""
    planner = Planner(one.line, one.horn, one.player, tempo_bpm=one.tempo_bpm, weights=weights)
    if not widened:
        return planner
    choices = [
        (*own, *(way for way in candidates(one.horn, note.midi)
                 if way not in own and _bare(way.label) == _bare(one.labels.get(k, ""))))
        for k, (note, own) in enumerate(zip(one.line.notes, planner.choices, strict=True))]
    return Planner(one.line, one.horn, one.player, weights=weights, times=planner.times, choices=choices)


def _planned(one: Marked, weights: Weights | None) -> list[str | None]:
    return [note.choice.label if note.choice else None for note in _planner(one, weights).outline().notes]


def _bare(label: str) -> str:
    return label.rstrip("#b")


def _where(one: Marked, k: int) -> str:
    note = one.line.notes[k]
    return f"{one.line.part_name}, measure {note.measure}, {note.written.pretty}: {one.labels[k]}"

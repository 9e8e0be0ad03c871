"""Legato and glissando: how two notes are joined, and what can be done where the slide cannot join them.

W. Barrett, "Playing legato on the trombone: a primer" (trombone.org article 106): slide against the pitch over a
partial needs no tongue; with it, a light tongue; a still slide is a lip slur; a change of valve a valve slur.
"""

from dataclasses import replace
from itertools import pairwise

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.plan.costs import SlideCosts, move_of
from analyzer.plan.glissando import advice, parts_of
from analyzer.plan.limits import limits_of
from analyzer.plan.player import Player
from analyzer.plan.slurs import slur_kind, slurs_of, slurs_said
from analyzer.plan.solve import Planner
from analyzer.plan.timing import NoteTime
from analyzer.plan.weights import default_weights
from tests.lines import line_of


def choice(horn: str, midi: int, label: str):
    return next(one for one in candidates(load_horn(horn), midi) if one.label == label)


SLURS = [
    ("tenor", (46, "1"), (53, "1"), "lip"),                # B flat 2 to F3, first position
    ("tenor", (58, "1"), (60, "3"), "natural"),            # up in pitch, out with the slide, over a partial
    ("tenor", (60, "3"), (58, "1"), "natural"),            # down, in
    ("tenor", (48, "6"), (58, "5"), "with grain"),         # up in pitch, in with the slide, over a partial
    ("tenor", (57, "2"), (58, "1"), "smear"),              # A3 to B flat 3 on partial 4
    ("tenor-f", (48, "T1"), (50, "4"), "valve"),
    ("euphonium-4", (46, "0"), (53, "0"), "lip"),
    ("euphonium-4", (48, "4"), (50, "1-2"), "valve"),
]


@pytest.mark.parametrize(("horn", "before", "after", "kind"), SLURS)
def test_each_kind_of_slur_and_its_price(horn: str, before, after, kind: str) -> None:
    a, b = choice(horn, *before), choice(horn, *after)
    rising = 1 if after[0] > before[0] else -1
    assert slur_kind(a, b, rising) == kind
    model = load_horn(horn)
    if model.family != "slide":
        return
    weights = default_weights()
    costs = SlideCosts(model, weights, limits_of())
    time = NoteTime(0.0, 0.5, 0.5, 0.25, 60.0)
    slurred, tongued = (costs.move_items(a, b, move_of(time, slur, False, before[0], after[0]))
                        for slur in (True, False))
    # The way and the lip are heard in any slur; the rest is what its kind costs.
    always = weights.slur_travel * abs(b.extension_mm - a.extension_mm) / 10
    if a.partial != b.partial:
        always += weights.lip * abs(b.partial - a.partial) * (1 + (weights.finger_time_s / 0.5) ** 2)
    dearer = sum(slurred.values()) - sum(tongued.values()) - always
    smear = weights.smear * 0.5 / weights.smear_s
    assert dearer == pytest.approx({"smear": smear, "with grain": weights.with_grain}.get(kind, 0.0), abs=1e-9)


def test_slurs_of_a_plan_are_counted_and_smears_placed() -> None:
    plan = Planner(line_of("Bb2~ F3~ E3 F3~ Eb3", 1), load_horn("tenor")).plan()
    assert [note.choice.label for note in plan.notes] == ["1", "1", "2", "1", "3"]
    assert slurs_of(plan) == ("lip", "smear", None, "smear", None)
    assert slurs_said(plan) == (
        "Slurs: 1 lip; 2 need legato tongue (measure 1).")
    assert slurs_said(Planner(line_of("Bb2 F3"), load_horn("tenor")).plan()) == ""


def test_the_same_note_again_is_no_slur_of_its_own() -> None:
    assert slurs_of(Planner(line_of("F3~ F3~ Bb3", 1), load_horn("tenor")).plan()) == (None, "lip", None)


def test_a_quick_slur_leaves_the_smear_for_a_natural_slur() -> None:
    """B flat 3 after a slurred G flat 3 in fifth: in first it would smear, in fifth it is a lip slur."""
    plan = Planner(line_of("Gb3~ Bb3~ Gb3", 0.2), load_horn("tenor")).plan()
    assert [note.choice.label for note in plan.notes] == ["5", "5", "5"]
    assert slurs_of(plan)[:2] == ("lip", "lip")


@pytest.mark.parametrize("horn", ["tenor", "tenor-f", "bass-independent", "alto"])
def test_every_glissando_that_one_sweep_holds_is_kept(horn: str) -> None:
    """Brute force over all pairs: where any two choices share partial and valves, the plan keeps the glissando."""
    model = load_horn(horn)
    for low in range(40, 70):
        for step in (-6, -4, -1, 1, 5, 6, 7):
            ways = [(a, b) for a in candidates(model, low) for b in candidates(model, low + step)]
            if not ways:
                continue
            can = any(a.partial == b.partial and a.valves == b.valves for a, b in ways)
            line = line_of("C3/ C3")
            first, last = line.notes
            line = replace(line, notes=(replace(first, midi=low), replace(last, midi=low + step)))
            kept = Planner(line, model).plan().notes[0].problem is None
            assert kept == can, (low, step)


def test_a_broken_glissando_says_what_can_be_done() -> None:
    tenor = load_horn("tenor")
    problem = Planner(line_of("Bb2/ Bb3"), tenor).plan().notes[0].problem
    assert problem.try_ == "Begin it later, from E3 in 7 to B♭3 in 1."
    assert advice(tenor, 58, 46, 700) == "End it sooner, from B♭3 in 1 to E3 in 7."
    # Beyond a tritone, but in two sweeps: B flat 2 to E2 open, E flat 2 to C2 with the attachment.
    assert "part it: from B♭2 in 1 to E2 in 7, then from E♭2 in T3 to C2 in T6" in advice(
        load_horn("tenor-f"), 46, 36, 700)
    assert "no sweep" in advice(tenor, 46, 47, 700)
    assert "bend with the lip" in advice(load_horn("euphonium-4"), 48, 50, 0)


def test_reach_shortens_what_a_sweep_holds() -> None:
    tenor, short = load_horn("tenor"), Player(outermost_position=5)
    problem = Planner(line_of("Bb3/ E3"), tenor, short).plan().notes[0].problem
    assert "end it sooner, from B♭3 in 1 to F♯3 in 5;" in problem.try_


@pytest.mark.parametrize("stop", range(40, 70))
def test_parts_of_a_glissando_are_sweeps_and_the_fewest(stop: int) -> None:
    """Against dynamic programming over all cuts."""
    tenor, start = load_horn("tenor"), 55
    step = 1 if stop >= start else -1
    pitches = list(range(start, stop + step, step))
    parts = parts_of(tenor, start, stop, 700)
    assert [one.midi for part in parts for one in part] == pitches
    for part in parts:
        assert len({(one.partial, one.valves) for one in part}) == 1
        assert all(abs(a.midi - b.midi) == 1 for a, b in pairwise(part))

    def one_sweep(run: list[int]) -> bool:
        shared = set.intersection(*({(one.partial, one.valves) for one in candidates(tenor, midi)} for midi in run))
        return bool(shared)

    fewest = [0]
    for end in range(1, len(pitches) + 1):
        fewest.append(1 + min(fewest[cut] for cut in range(end) if one_sweep(pitches[cut:end])))
    assert len(parts) == fewest[-1]

"""The tempo ceiling against every sequence of choices, its loads worked out anew, second by second.

The limits are those of the player file; the laws those of `analyzer.plan.loads`, written down here from the seconds of
each attack, without its code: a step is too fast if it needs more time than there is.
"""

import itertools
import random
from dataclasses import replace
from fractions import Fraction

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.pitch import pitch_of
from analyzer.plan.ceiling import ceiling_tempo
from analyzer.plan.costs import keeps_gliss
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from tests.lines import line_of

HORNS = ("tenor", "tenor-f", "bass-independent", "alto", "euphonium-3", "euphonium-4-compensating")


def random_planner(seed: int) -> Planner:
    rng = random.Random(seed)
    horn = load_horn(rng.choice(HORNS))
    low = horn.fundamental_midi + 10
    names = [pitch_of(rng.randint(low, low + 22)).name + rng.choice(["", "~", "~", "~"])
             for _ in range(rng.randint(2, 6))]
    if rng.random() < 0.3:
        names[1] = names[0]
    line = line_of(" ".join(names), rng.choice([Fraction(1, 4), Fraction(1, 3), 1]))
    notes = [replace(note, breath_after=rng.random() < 0.1, staccato=rng.random() < 0.1) for note in line.notes]
    player = Player(level=rng.choice(["beginner", "intermediate", "advanced"]),
                    slide_acceleration_m_s2=rng.choice([None, 10.0, 200.0]), tongue_notes_s=rng.choice([None, 25.0]),
                    slur_notes_s=rng.choice([None, 2.0, 25.0]), valve_notes_s=rng.choice([None, 3.0, 40.0]))
    return Planner(replace(line, notes=tuple(notes)), horn, player, tempo_bpm=90)


def goes(planner: Planner, walk, factor: float) -> bool:
    """Whether a sequence of choices can be played with the tempo multiplied by `factor`."""
    limits, notes = planner.player.limits, planner.line.notes
    breaths = [time.breath_s for time in planner.times]
    gaps = [(time.next_s - breath) / factor + breath for time, breath in zip(planner.times, breaths, strict=True)]
    starts = [sum(gaps[:k]) for k in range(len(gaps))]
    slide = planner.horn.family == "slide"
    slack = 1e-9
    tongued = [k for k, note in enumerate(notes)
               if k == 0 or not notes[k - 1].slur_after or notes[k - 1].midi == note.midi]
    few = min(4, len(tongued))
    for i in range(len(tongued) - few + 1):
        if few > 1 and starts[tongued[i + few - 1]] - starts[tongued[i]] < (few - 1) / limits.tongue_notes_s - slack:
            return False
    for k, (a, b) in enumerate(itertools.pairwise(walk)):
        if a is None or b is None:
            continue
        way_m = abs((b.extension_mm or 0.0) - (a.extension_mm or 0.0)) / 1000
        # Minimum jerk from stop to stop: greatest acceleration 10 / sqrt(3) D / T^2 (Flash and Hogan 1985).
        if slide and 10 / 3**0.5 * way_m / gaps[k] ** 2 > limits.slide_acceleration_m_s2 * (1 + slack):
            return False
        if a.valves != b.valves and gaps[k] * limits.valve_notes_s < 1 - slack:
            return False
        if not notes[k].slur_after or a.partial == b.partial:
            continue
        if slide and (a.valves != b.valves or not (way_m <= 0.005 or (a.position, a.shade) == (b.position, b.shade))):
            continue
        if k and walk[k - 1] is not None and walk[k - 1].partial != a.partial:
            since_s = gaps[k]
        elif k:
            since_s = gaps[k - 1] + gaps[k]
        else:
            continue
        if since_s * limits.slur_notes_s < abs(a.partial - b.partial) ** 0.5 - slack:
            return False
    return True


@pytest.mark.parametrize("seed", range(200))
def test_some_walk_reaches_the_ceiling_and_none_goes_beyond(seed: int) -> None:
    planner = random_planner(seed)
    found = planner.ceiling()
    walks = list(itertools.islice(itertools.product(*(ways or (None,) for ways in planner.choices)), 5000))
    assert len(walks) < 5000
    if found.bpm is None:
        assert any(goes(planner, walk, 1e3) for walk in walks)
        return
    factor = found.bpm / planner.times[found.steps[0]].bpm
    assert any(goes(planner, walk, factor * (1 - 1e-6)) for walk in walks)
    assert not any(goes(planner, walk, factor * (1 + 1e-6)) for walk in walks)


def long_planner(seed: int) -> Planner:
    """A line of some dozens of notes of unequal length, at times with a second tempo, a glissando or a told speed."""
    rng = random.Random(seed)
    horn = load_horn(rng.choice(HORNS))
    low = horn.fundamental_midi + rng.choice([4, 10])
    names = [pitch_of(rng.randint(low, low + 24)).name + rng.choice(["", "~", "~"]) for _ in range(rng.randint(2, 60))]
    line = line_of(" ".join(names), Fraction(1, 4))
    onset, notes = Fraction(0), []
    for note in line.notes:
        duration = rng.choice([Fraction(1, 4), Fraction(1, 2), Fraction(1), Fraction(1, 3)])
        notes.append(replace(note, onset=onset, duration=duration, breath_after=rng.random() < 0.05,
                             gliss_after=seed % 7 == 0 and rng.random() < 0.1))
        onset += duration
    player = Player(level=rng.choice(["beginner", "advanced"]), tongue_notes_s=rng.choice([None, 25.0]),
                    slur_notes_s=rng.choice([None, 2.0]),
                    max_speed_mm_s=rng.choice([None, None, None, 1500.0]) if horn.family == "slide" else None)
    times = None
    if seed % 5 == 0:
        times = tuple(replace(time, bpm=time.bpm * rng.choice([1, 2])) for time in Planner(
            replace(line, notes=tuple(notes)), horn, player, tempo_bpm=60).times)
    return Planner(replace(line, notes=tuple(notes)), horn, player, tempo_bpm=rng.choice([60, 180]), times=times)


@pytest.mark.parametrize("make", [random_planner, long_planner])
def test_a_search_of_the_hard_steps_alone_finds_the_same_ceiling(make) -> None:
    # The other search, which the tests above hold against every sequence of choices, looks at every step.
    searched = 0
    for seed in range(150):
        planner = make(seed)
        found = planner.ceiling()
        there = planner.times[found.steps[0]].bpm if found.steps else None
        assert ceiling_tempo(planner.loads, planner.choices, planner.times) == (found.bpm, there), seed
        searched += found.bpm is not None
    assert searched > 100


def test_every_reason_comes_up_in_these_lines() -> None:
    assert {random_planner(seed).ceiling().by for seed in range(200)} >= {"slide", "valves", "tongue", "lip"}


def test_a_glissando_that_can_be_kept_is_kept() -> None:
    line = line_of("F3/ Db3 F3/ Db3", 1)
    planner = Planner(line, load_horn("tenor"), Player())
    kept = [walk for walk in itertools.product(*planner.choices)
            if keeps_gliss(walk[0], walk[1]) and keeps_gliss(walk[2], walk[3])]
    factor = planner.ceiling().bpm / 60
    assert any(goes(planner, walk, factor * (1 - 1e-6)) for walk in kept)
    assert not any(goes(planner, walk, factor * (1 + 1e-6)) for walk in kept)

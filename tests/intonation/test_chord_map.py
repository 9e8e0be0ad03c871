"""The chords a section finds worst, and the joint optimum, against every shift tried."""

import json
import random
from itertools import product

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.review.chord_map import best_shift, meeting, reachable_cents, shift_cost
from tests.commands.test_map import SAMPLES, run


def test_the_joint_optimum_against_every_shift() -> None:
    """Brute force: a grid of hundredths of a cent over everything that a small section can do."""
    chance = random.Random(1)
    for _ in range(60):
        voices = []
        for _ in range(chance.randint(2, 5)):
            target = chance.choice((0.0, -13.7, 2.0, 15.6, -31.2, 17.6))
            if chance.random() < 0.5:
                fixed = chance.uniform(-25, 45)
                voices.append((target, fixed, fixed))
            else:
                voices.append((target, chance.uniform(-400, -20), chance.choice((0.0, -13.7, 60.0, 5.0))))
        found = best_shift(voices)
        least = min(shift_cost(voices, nth / 100) for nth in range(-8000, 8001))
        assert shift_cost(voices, found) <= least + 1e-9
        assert shift_cost(voices, found) == pytest.approx(least, abs=0.05)


def test_unisons_meet_first_against_every_place_tried() -> None:
    """Brute force: every place of every player on a grid, unisons and octaves before all else, then the pure chord."""
    chance = random.Random(3)
    targets = {0: 0.0, 4: -14.0}

    def price(classes: list[int], places: tuple[float, ...], at: float) -> tuple[float, float]:
        beats = sum(abs(a - b) > 1e-9 for k, a in enumerate(places) for j, b in enumerate(places)
                    if j < k and classes[j] == classes[k])
        return beats, sum((place - targets[one] - at)**2 for place, one in zip(places, classes, strict=True))

    for _ in range(25):
        classes = [chance.choice((0, 4)) for _ in range(3)]
        spans = []
        for _ in range(3):
            low = float(chance.randrange(-24, 25, 4))
            spans.append((low, low) if chance.random() < 0.5 else (-40.0, low))
        allowed = meeting([(one, *span) for one, span in zip(classes, spans, strict=True)])
        shift = best_shift([(targets[one], *span) for one, span in zip(classes, allowed, strict=True)])
        ours = [min(max(targets[one] + shift, low), high)
                for one, (low, high) in zip(classes, allowed, strict=True)]
        grids = [[low + step for step in range(0, int(high - low) + 1, 2)] for low, high in spans]
        best = min(price(classes, places, float(at)) for places in product(*grids) for at in range(-40, 41, 2))
        beats, left = price(classes, tuple(ours), shift)
        assert beats == best[0]
        assert left <= best[1] + 3, (classes, spans)


def test_a_slide_joins_the_valves_beside_it() -> None:
    """In the hymn the baritone's A flat cannot move: the trombone on the same pitch joins it, not the pure seventh."""
    done = run("tune", "chords", SAMPLES / "brass-band-hymn.musicxml", "--format", "json")
    (chord,) = [chord for chord in json.loads(done.stdout)["chords"] if chord["measure"] == "7"][:1]
    valves, slide = [player for player in chord["players"] if player["sounding"] == "Ab3"]
    assert (valves["move_mm"] is None, slide["move_mm"] is None) == (True, False)
    assert slide["left_cents"] == valves["left_cents"]
    assert abs(slide["left_cents"]) > 3


def test_a_slide_reaches_down_to_its_end_and_up_to_the_stop() -> None:
    horn = load_horn("tenor")
    first = next(choice for choice in candidates(horn, 58) if choice.label == "1")
    low, high = reachable_cents(horn, first)
    assert high == pytest.approx(0, abs=0.01), "first position cannot be raised"
    assert -720 < low < -600, "seventh position is six semitones down (every position chart), the end a little more"
    fourth = next(choice for choice in candidates(horn, 62) if choice.label == "4")
    assert reachable_cents(horn, fourth)[1] == pytest.approx(298, abs=25), "from fourth, three semitones up to first"
    valved = load_horn("euphonium-3")
    fixed = candidates(valved, 48)[0]
    assert reachable_cents(valved, fixed) == (fixed.off_cents, fixed.off_cents)


def test_the_map_of_a_chorale() -> None:
    done = run("tune", "chords", SAMPLES / "quiet-chorale-trombones.mxl", "--format", "json")
    assert done.returncode == 0, done.stderr
    chords = json.loads(done.stdout)["chords"]
    assert 0 < len(chords) <= 10
    spread = [chord["before_cents"] for chord in chords]
    assert spread == sorted(spread, reverse=True)
    for chord in chords:
        assert len(chord["players"]) > 1
        assert chord["after_cents"] <= chord["before_cents"] + 0.1
        for player in chord["players"]:
            # 10 cents are 8.6 mm in first and 12.1 in seventh: what is lowered goes out, and by about that much.
            lower = -(player["target_cents"] + chord["shift_cents"])
            if player["left_cents"] == 0 and lower > 3 and player["move_mm"] is not None:
                assert player["move_mm"] >= 0        # 0 for D4 in first, which is that flat already
    worst = run("tune", "chords", SAMPLES / "quiet-chorale-trombones.mxl")
    assert "Practice drone" in worst.stdout
    assert "Caution" in worst.stdout


def test_valves_are_told_that_they_cannot_move() -> None:
    done = run("tune", "chords", SAMPLES / "brass-band-hymn.musicxml", "--format", "json")
    players = [player for chord in json.loads(done.stdout)["chords"] for player in chord["players"]]
    assert any(player["move_mm"] is None for player in players)

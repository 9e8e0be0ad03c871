"""The chords a section finds worst, and the joint optimum, against every shift tried."""

import json
import random

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.review.chord_map import best_shift, reachable_cents, shift_cost
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

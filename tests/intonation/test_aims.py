"""Plans that aim the slide at a note's place in its chord."""

import json
from math import log2

import pytest

from analyzer.horns.candidates import aimed, candidates
from analyzer.horns.profiles import load_horn
from tests.commands.test_map import SAMPLES, run


@pytest.mark.parametrize("name", ["tenor", "tenor-f", "bass-independent", "alto"])
def test_the_slide_moves_as_the_tube_tells(name: str) -> None:
    """An interval of c cents lengthens the sounding tube by 2^(c/1200); the slide has two legs (derived)."""
    horn = load_horn(name)
    seen = 0
    for midi in range(40, 70):
        for choice in candidates(horn, midi):
            assert choice.extension_mm is not None
            for cents in (-31.17, -13.69, 1.96, 15.64):
                moved = aimed(horn, choice, cents)
                assert moved.label == choice.label
                if moved.off_cents or choice.off_cents:
                    continue
                held = 1 + sum(loop.share for loop in horn.loops if loop.name in choice.valves)
                half_mm = held * horn.tube_mm / 2
                before, after = half_mm + choice.extension_mm, half_mm + (moved.extension_mm or 0.0)
                assert 1200 * log2(before / after) == pytest.approx(cents, abs=0.05), choice.label
                assert moved.shift_mm == pytest.approx(after - before)
                seen += 1
    assert seen > 100


def test_equal_is_what_it_was_and_just_moves_thirds() -> None:
    words = ("map", SAMPLES / "quiet-chorale-trombones.mxl", "--format", "json")
    equal, plain, just = (json.loads(run(*words, *more).stdout) for more in (
        ("--intonation", "equal"), (), ("--intonation", "just")))
    assert equal == plain
    assert all(note["chord"] is None and note["target_cents"] == 0 for line in plain["lines"] for note in line["notes"])
    thirds = [note for line in just["lines"] for note in line["notes"]
              if note["chord"] and note["chord"]["member"] == "third" and note["chord"]["kind"] == "major"]
    assert len(thirds) > 5
    for note in thirds:
        assert note["target_cents"] == pytest.approx(-13.69, abs=0.01)
        assert note["off_cents"] == pytest.approx(0, abs=0.1)
    # D4 in first is 14 cents flat of equal temperament: as the third of B flat that is where it belongs.
    d4 = [note for note in thirds if note["sounding"] == "D4" and note["chord"]["root"] == "Bb"]
    assert d4
    assert all(note["label"] == "1" and abs(note["shift_mm"]) < 0.1 for note in d4)
    raised = [problem for problem in just["problems"] if problem["code"] == "cannot-raise"]
    assert raised
    assert all(problem["try"] for problem in raised)


def test_strength_and_length_come_from_the_player(tmp_path) -> None:  # type: ignore[no-untyped-def]
    player = tmp_path / "player.toml"
    player.write_text("[player]\njust_strength = 0.5\njust_from_s = 60\n", encoding="utf-8")
    words = ("map", SAMPLES / "quiet-chorale-trombones.mxl", "--format", "json", "--intonation", "just", "--player")
    data = json.loads(run(*words, player).stdout)
    assert all(note["chord"] is None for line in data["lines"] for note in line["notes"])
    player.write_text("[player]\njust_strength = 0.5\n", encoding="utf-8")
    half = json.loads(run(*words, player).stdout)
    cents = {round(note["target_cents"], 2) for line in half["lines"] for note in line["notes"]
             if note["chord"] and note["chord"]["kind"] == "major" and note["chord"]["member"] == "third"}
    assert cents == {-6.84}
    player.write_text("[player]\njust_strength = 2\n", encoding="utf-8")
    wrong = run(*words, player)
    assert wrong.returncode == 1
    assert "just_strength is 2" in wrong.stderr

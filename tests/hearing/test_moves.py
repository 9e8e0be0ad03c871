"""Two-note alternations of a made-up player with a known arm, timed and fitted."""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analyzer.hearing.moves import alternations, measure_moves
from analyzer.hearing.sound import Sound
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import read_player
from analyzer.problem import Unreadable
from tests.commands.test_map import run

from .synth import RATE, Tone, dressed, sounded


def turned(horn_name: str, seconds: list[float], rng: np.random.Generator, jitter: float = 0.06) -> np.ndarray:
    """Each alternation played for 14 notes, one every so many seconds."""
    tones, clock = [], 0.4
    for one, gap in zip(alternations(load_horn(horn_name)), seconds, strict=True):
        for number in range(14):
            midi = (one.first if number % 2 == 0 else one.second).midi
            real = gap * float(rng.uniform(1 - jitter, 1 + jitter))
            tones.append(Tone(midi, clock, real * 0.93))
            clock += real
        clock += 1.2
    return sounded(tones, rng)


@pytest.mark.parametrize(("acceleration", "kind"), [(18.0, "clean"), (30.0, "phone"), (45.0, "room")])
def test_the_arm_is_found(acceleration: float, kind: str) -> None:
    rng = np.random.default_rng(4)
    ways_mm = [one.distance_mm for one in alternations(load_horn("tenor"))]
    # Minimum jerk: the greatest acceleration of a move of D in T is 10/sqrt(3) D / T^2 (Flash and Hogan 1985).
    seconds = [sqrt(10 / sqrt(3) * way_mm / 1000 / acceleration) for way_mm in ways_mm]
    sound = dressed(turned("tenor", seconds, rng), kind, rng)
    found = measure_moves(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), load_horn("tenor"))
    assert found.key == "slide_acceleration_m_s2"
    assert found.value == pytest.approx(acceleration, rel=0.1)
    assert found.low < acceleration < found.high


def test_valves_are_notes_a_second() -> None:
    rng = np.random.default_rng(5)
    count = len(alternations(load_horn("euphonium-4")))
    sound = turned("euphonium-4", [1 / 6] * count, rng)
    found = measure_moves(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), load_horn("euphonium-4"))
    assert found.key == "valve_notes_s"
    assert found.value == pytest.approx(6, rel=0.08)


def test_a_single_note_is_refused() -> None:
    rng = np.random.default_rng(6)
    sound = sounded([Tone(58, 0.2, 3.0)], rng)
    with pytest.raises(Unreadable, match="few-moves"):
        measure_moves(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), load_horn("tenor"))


def test_the_command_writes_the_player_file_and_keeps_the_rest(tmp_path: Path) -> None:
    done = run("tune", "moves", "--sheet", "--horn", "tenor")
    assert done.returncode == 0
    assert "B♭3 (1)" in done.stdout
    rng = np.random.default_rng(7)
    soundfile.write(tmp_path / "moves.wav", turned("tenor", [0.2, 0.24, 0.28, 0.33], rng), RATE)
    player = tmp_path / "player.toml"
    player.write_text('# mine\n[player]\nname = "Player 1"\n', encoding="utf-8")
    done = run("tune", "moves", tmp_path / "moves.wav", "--horn", "tenor", "-o", player)
    assert done.returncode == 0, done.stderr
    assert "Caution" in done.stdout
    assert player.read_text(encoding="utf-8").startswith("# mine")
    assert read_player(player).slide_acceleration_m_s2 == pytest.approx(14, rel=0.4)

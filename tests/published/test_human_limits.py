"""Ceilings against what arms, tongues, lips and fingers do, by published law: student's line to virtuoso's.

``python -m tests.published.test_human_limits`` prints the table: intervals 1-2 to 1-7, repeated notes, lip slurs and
trills on each kind of horn, in sixteenths, quarter notes a minute.
"""

import csv
from fractions import Fraction
from itertools import pairwise
from math import log, sqrt
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.plan.familiarity import LEVELS
from analyzer.plan.limits import limit_table
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from tests.lines import line_of

with Path(__file__).with_name("human_limits.csv").open(encoding="utf-8", newline="") as _file:
    LINES = {row["what"]: row for row in csv.DictReader(_file)}
TURNS = 8
SIXTEENTH = Fraction(1, 4)
# Positions 1 to 7 of partial 2, where the straight horn has no other way (Wikibooks, Trombone/Slide Positions).
PLACES = ("Bb2", "A2", "Ab2", "G2", "Gb2", "F2", "E2")
INTERVALS = tuple((f"1-{k + 1}", f"Bb2 {name}") for k, name in enumerate(PLACES) if k)
NEIGHBOURS = tuple((f"{k + 1}-{k + 2}", f"{a} {b}") for k, (a, b) in enumerate(pairwise(PLACES)))
LIP_SLURS = (("lip slur, partials 2-3", "Bb2~ F3~"), ("partials 3-4", "F3~ Bb3~"), ("partials 4-5", "Bb3~ D4~"),
             ("partials 2-4", "Bb2~ Bb3~"))
TRILLS = (("trill of one finger", "Bb2~ A2~"), ("trill of two fingers", "Bb2~ Ab2~"),
          ("trill of the ring finger", "F3~ D3~"))


def ceiling(pair: str, horn: str, player: Player) -> tuple[float, str]:
    """What a line says that goes to and fro in sixteenths. [quarter notes a minute]"""
    totals = Planner(line_of(" ".join([pair] * TURNS), SIXTEENTH, bpm=100), load_horn(horn), player).plan().totals
    assert totals.tempo_ceiling_bpm is not None
    return totals.tempo_ceiling_bpm, totals.ceiling_by


def told(end: str) -> Player:
    """A player with all limits at one end of the published table."""
    rates = {what: float(row[end]) for what, row in LINES.items()}
    return Player(**rates)  # type: ignore[arg-type]


def way_mm(pair: str) -> float:
    choices = [note.choice for note in Planner(line_of(pair, 4), load_horn("tenor")).plan().notes]
    return abs(choices[0].extension_mm - choices[1].extension_mm)


def by_law(pair: str, end: str) -> float:
    """Sixteenths by Flash and Hogan's law at one end's acceleration, the tongue's rate at most."""
    least_s = sqrt(10 / sqrt(3) * way_mm(pair) / 1000 / float(LINES["slide_acceleration_m_s2"][end]))
    return 15 * min(1 / least_s, float(LINES["tongue_notes_s"][end]))


def test_the_data_keep_within_the_published_lines() -> None:
    assert set(limit_table()) == set(LINES)
    for what, entry in limit_table().items():
        low, high = float(LINES[what]["low"]), float(LINES[what]["high"])
        assert (entry["low"], entry["high"]) == (low, high)
        rising = [entry[level] for level in LEVELS]
        assert low <= rising[0] < rising[1] < rising[2] <= high


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("pairs", [INTERVALS, NEIGHBOURS], ids=["1-2 to 1-7", "1-2 to 6-7"])
def test_slide_ceilings_fall_with_the_root_of_the_way_between_both_lines(pairs, level: str) -> None:
    found = [ceiling(pair, "tenor", Player(level=level))[0] for _, pair in pairs]  # type: ignore[arg-type]
    for (_, pair), bpm in zip(pairs, found, strict=True):
        assert by_law(pair, "low") * 0.999 <= bpm <= by_law(pair, "high") * 1.001
    assert all(a > b for a, b in pairwise(found))
    ways = [way_mm(pair) for _, pair in pairs]
    for a, b in pairwise(range(len(pairs))):
        # The square root, exactly: the slope on logarithmic paper.
        assert log(found[b] / found[a]) / log(ways[b] / ways[a]) == pytest.approx(-0.5, abs=1e-6)


def test_first_to_second_and_to_seventh_are_what_people_play() -> None:
    """People: 1-2 in sixteenths 95 to 165, 6-7 82 to 143, and 1-2 about 2.6 times 1-7 (arithmetic of the same law)."""
    usual = Player()
    near, far = ceiling("Bb2 A2", "tenor", usual)[0], ceiling("Bb2 E2", "tenor", usual)[0]
    assert 95 <= near <= 165
    assert 82 <= ceiling("F2 E2", "tenor", usual)[0] <= 143
    assert near / far == pytest.approx(2.6, rel=0.05)


@pytest.mark.parametrize("horn", ["tenor", "bass-independent", "euphonium-3", "euphonium-4-compensating"])
@pytest.mark.parametrize("level", LEVELS)
def test_repeated_notes_stop_at_the_tongue(horn: str, level: str) -> None:
    bpm, by = ceiling("F3 F3", horn, Player(level=level))  # type: ignore[arg-type]
    assert by == "tongue"
    assert float(LINES["tongue_notes_s"]["low"]) <= bpm / 15 <= float(LINES["tongue_notes_s"]["high"])


@pytest.mark.parametrize("level", LEVELS)
def test_lip_slurs_on_one_place_stop_at_the_lip_and_fall_with_the_leap(level: str) -> None:
    player = Player(outermost_position=1, level=level)  # type: ignore[arg-type]
    found = [ceiling(pair, "tenor", player) for _, pair in LIP_SLURS]
    assert {by for _, by in found} == {"lip"}
    for bpm, _ in found[:3]:
        assert float(LINES["slur_notes_s"]["low"]) <= bpm / 15 <= float(LINES["slur_notes_s"]["high"])
    assert found[3][0] < found[0][0]


@pytest.mark.parametrize("horn", ["euphonium-3", "euphonium-4", "euphonium-4-compensating", "baritone-3"])
@pytest.mark.parametrize("level", LEVELS)
def test_trills_stop_at_the_fingers(horn: str, level: str) -> None:
    for _, pair in TRILLS:
        bpm, by = ceiling(pair, horn, Player(level=level))  # type: ignore[arg-type]
        assert by == "valves"
        assert float(LINES["valve_notes_s"]["low"]) <= bpm / 15 <= float(LINES["valve_notes_s"]["high"])


def table() -> str:
    """Every ceiling beside the lines between which people lie."""
    out = ["Ceilings in sixteenths [quarter notes a minute]; student and virtuoso: the ends of human_limits.csv\n",
           f"{'what':<28}{'horn':<14}{'student':>9}{''.join(f'{level:>14}' for level in LEVELS)}{'virtuoso':>10}"]
    rows = [(name, pair, "tenor", Player()) for name, pair in (*INTERVALS, *NEIGHBOURS[1:], ("repeated note", "F3 F3"))]
    rows += [(name, pair, "tenor", Player(outermost_position=1)) for name, pair in LIP_SLURS]
    rows += [(name, pair, horn, Player()) for horn in ("euphonium-3", "euphonium-4") for name, pair in TRILLS]
    for name, pair, horn, base in rows:
        cells = [ceiling(pair, horn, Player(level=level, outermost_position=base.outermost_position))
                 for level in LEVELS]
        ends = [ceiling(pair, horn, Player(**{"outermost_position": base.outermost_position, **rates}))[0]
                for rates in ({what: float(row[end]) for what, row in LINES.items()} for end in ("low", "high"))]
        out.append(f"{name:<28}{horn:<14}{ends[0]:>9.0f}"
                   + "".join(f"{f'{bpm:.0f} {by}':>14}" for bpm, by in cells) + f"{ends[1]:>10.0f}")
    out.append("\nSources:")
    out += [f"  {what} {row['low']} to {row['high']} {row['unit']}: {row['source']}" for what, row in LINES.items()]
    return "\n".join(out)


if __name__ == "__main__":
    print(table())

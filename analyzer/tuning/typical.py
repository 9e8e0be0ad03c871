"""How far real horns lie from the harmonic series, and from a profile's places of the slide: ranges with their origin.

A profile that was not measured has the series alone, so its cents beside a note are arithmetic. What is published of
real horns is little; it is given as a range, with how many sources and horns stand behind it.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from analyzer.evidence import Evidence
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import partial_deviation_cents
from analyzer.tuning.calibrate import B_FLAT_1


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Where one partial of real horns was found, `low` to `high` above equal temperament [cents], open and slide in."""

    family: str
    partial: int
    low: float
    high: float
    sources: int
    horns: int
    stands_on: str
    evidence: Evidence


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("typical.toml").read_text(encoding="utf-8"))


@cache
def spreads(family: str) -> tuple[Spread, ...]:
    """Return what is known of real horns of a family, ``slide`` or ``valves``."""
    return tuple(
        Spread(family=family, partial=row["partial"], low=row["cents"][0], high=row["cents"][1],
               sources=row["sources"], horns=row["horns"], stands_on=row["stands_on"],
               evidence=Evidence(kind=row["kind"], source=row.get("source", ""), why=row["why"], range=row["range"]))
        for row in _table()["partial"] if row["family"] == family)


def others_cents() -> float:
    """Return how far the other partials of a real horn may lie from the harmonic series, either way. [cents]"""
    return float(_table()["others"]["cents"])


def measured(horn: Horn) -> bool:
    """Tell whether the partials of a profile were read from a tuner: its cents are then that horn's own."""
    return any(offset.evidence.kind == "measured" for offset in horn.offsets)


def typical_cents(horn: Horn, choice: Candidate) -> tuple[float, float] | None:
    """Return where real horns sound a choice with the slide in, or with its valves. [cents above equal temperament]

    None where nothing is published of that partial, where the slide is out (it goes where the note is in tune), and
    for a horn that was measured.
    """
    spread = next((one for one in spreads(horn.family) if one.partial == choice.partial), None)
    if spread is None or measured(horn) or choice.out_mm or (choice.position is not None and choice.valves):
        return None
    series = partial_deviation_cents(choice.partial)
    return choice.off_cents + spread.low - series, choice.off_cents + spread.high - series


def seventh_mm(horn: Horn) -> float | None:
    """Return where the profile has seventh position [mm]; None without a slide, or where the slide ends before it."""
    if horn.family != "slide" or positions(horn) < 7:
        return None
    return position_place_mm(horn, (), 7)


def published_sevenths(horn: Horn) -> tuple[float, float] | None:
    """Return the least and the greatest published place of seventh position of such a horn [mm]; None where none is."""
    if horn.family != "slide" or horn.fundamental_midi != B_FLAT_1:
        return None
    places = [row["mm"] for row in _table()["seventh"]]
    return min(places), max(places)


def place_measured(horn: Horn) -> bool:
    """Tell whether the tube, and so every place of the slide, was measured on that horn."""
    return horn.tube.evidence.kind == "measured"

"""`lowbrass tune moves` as data and as text."""

from collections.abc import Iterator
from typing import Any

from analyzer import cautions
from analyzer.hearing.moves import Moves
from analyzer.words import shown

_CAUTIONS = (cautions.PAIN, "As fast as clean on one day is a beginning, not a grade; measure again when rested.",
             cautions.WHO)


def moves_document(moves: Moves, file: str) -> dict[str, Any]:
    """Return the JSON document of measured moves."""
    return {
        "schema": "lowbrass.tune-moves/1", "file": file, "horn": moves.horn.name, "key": moves.key,
        "value": round(moves.value, 2), "low": round(moves.low, 2), "high": round(moves.high, 2),
        "moves": [{"from": one.what.first.label, "to": one.what.second.label,
                   "distance_mm": round(one.what.distance_mm, 1), "notes": one.count, "move_s": round(one.move_s, 4)}
                  for one in moves.timed],
        "cautions": list(_CAUTIONS)}


def moves_text(moves: Moves, file: str) -> str:
    """Say how fast each alternation went, and what limit that makes."""
    out = [f"{file}, {moves.horn.name}:", *(f"  {text}" for text in alternations_said(moves))]
    unit, what = _measure(moves)
    out.append(f"{moves.key} = {moves.value:.1f}  ({unit}, {what}; 95 % between {moves.low:.1f} and {moves.high:.1f})")
    return "\n".join([*out, *(f"Caution: {text}" for text in _CAUTIONS)])


def moves_page(moves: Moves) -> dict[str, Any]:
    """Return what the local page says: ``{"said": the limit, "rows": [an alternation], "cautions"}``."""
    unit, what = _measure(moves)
    unit = unit.replace("m/s2", "m/s²")
    return {"said": f"{what[0].upper()}{what[1:]}: {moves.value:.1f} {unit}, in 95 of 100 cases between "
                    f"{moves.low:.1f} and {moves.high:.1f}.",
            "rows": list(alternations_said(moves)), "cautions": list(_CAUTIONS)}


def alternations_said(moves: Moves) -> Iterator[str]:
    """Say each alternation in a line."""
    for one in moves.timed:
        way = f", {one.what.distance_mm:.0f} mm" if one.what.distance_mm else ""
        yield (f"{shown(one.what.first.label)} and {shown(one.what.second.label)}{way}: {1 / one.move_s:.1f} notes a "
               f"second ({one.count} notes)")


def _measure(moves: Moves) -> tuple[str, str]:
    """Return the unit of what was measured, and its words."""
    if moves.key == "slide_acceleration_m_s2":
        return "m/s2", "greatest acceleration of the slide"
    return "notes a second", "with a change of valves"

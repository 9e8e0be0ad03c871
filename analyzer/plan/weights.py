"""The judged weights of the plan, from their data file, and a teacher's changes to them."""

import tomllib
from dataclasses import dataclass, fields, replace
from functools import cache
from pathlib import Path

from analyzer.toml_file import read_table

_MOST = 1e6
"""Largest weight that is taken; judged: far above any that chooses between two notes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Every weight of ``weights.toml`` by name; units, reasons and ranges stand in that file."""

    travel: float
    speed: float
    easy_speed_mm_s: float
    over_speed: float
    over_from_s: float
    reversal: float
    smear: float
    smear_s: float
    with_grain: float
    thumb: float
    held_valve: float
    second_valve: float
    out: float
    high_partial: float
    cents: float
    pull_cents: float
    pull_from_s: float
    finger: float
    weak_finger: float
    crossing: float
    finger_time_s: float
    open_valve: float
    valved_partial: float
    rest_share: float
    slur_share: float
    short_share: float
    glide_from_s: float
    breath_s: float
    fermata_share: float
    grace_s: float
    default_bpm: float
    off_usual: float
    least_s: float
    off_usual_s: float
    off_fingering: float
    shaded: float
    resonance: float
    sings_from_s: float
    secure: float
    swap: float
    hasty_thumb: float
    lip: float
    against: float
    trill: float
    slur_travel: float
    restrike: float
    margin: float
    figure: float
    common: float
    rare: float
    avoid: float
    above_level: float
    unraised: float
    forgiven_s: float


@cache
def default_weights() -> Weights:
    """Return the weights as the data file has them."""
    table = tomllib.loads(Path(__file__).with_name("weights.toml").read_text(encoding="utf-8"))
    return Weights(**{field.name: float(table[field.name]["value"]) for field in fields(Weights)})


def read_preferences(path: Path) -> Weights:
    """Read a preference file: a table ``[weights]`` of names and numbers; what is not named stays as it is.

    Raises
    ------
    Unreadable
        If the file cannot be read, is no TOML, names no weight of ours, or a value is no number above 0.
    """

    top = read_table(path, code="bad-preferences")
    table = top.table("weights")
    top.done()
    given = {field.name: table.number(field.name, 0, _MOST, None) for field in fields(Weights)}
    table.done()
    told = {name: value for name, value in given.items() if value is not None}
    for name, value in told.items():
        if not value:
            raise table.problem(name, f"{name} is 0 in [weights]", "Give a number above 0.")
    return replace(default_weights(), **told)


def preferences_text(weights: Weights, remark: str) -> str:
    """Return the preference file of weights: those that differ from the data file's, with a remark on top."""
    base = default_weights()
    changed = [field.name for field in fields(Weights) if getattr(weights, field.name) != getattr(base, field.name)]
    lines = [f"{name} = {getattr(weights, name):.6g}    # usual {getattr(base, name):g}" for name in changed]
    return "\n".join([*(f"# {line}" for line in remark.splitlines()), "[weights]", *lines, ""])

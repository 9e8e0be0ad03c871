"""The judged weights of the plan, from their data file, and a teacher's changes to them."""

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Every weight of ``weights.toml`` by name; units, reasons and ranges stand in that file."""

    travel: float
    speed: float
    easy_speed_mm_s: float
    over_speed: float
    max_speed_mm_s: float
    reversal: float
    smear: float
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
    finger_rate_hz: float
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


@cache
def default_weights() -> Weights:
    """Return the weights as the data file has them."""
    table = tomllib.loads(Path(__file__).with_name("weights.toml").read_text(encoding="utf-8"))
    return Weights(**{field.name: float(table[field.name]["value"]) for field in fields(Weights)})

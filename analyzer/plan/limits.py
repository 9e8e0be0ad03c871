"""How fast one player is: the arm by its greatest acceleration, tongue, lip and valves by notes a second.

Nothing here knows a line or a horn; `plan.loads` holds these limits against moves.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from math import inf, sqrt
from pathlib import Path
from typing import Literal

from analyzer.plan.familiarity import Level

By = Literal["slide", "valves", "tongue", "lip", "none"]
"""What stops a line from going faster."""
USUAL_LEVEL: Level = "intermediate"
PEAK_OVER_MEAN = 1.875
"""Peak over mean speed of a minimum-jerk move (Shadmehr and Wise, *Minimum jerk*, after Hogan 1984 and Flash and
Hogan 1985: the fifth-power path ``x = D (10 t^3 - 15 t^4 + 6 t^5)``; derived from it)."""
PEAK_ACCELERATION = 10 / sqrt(3)
"""Peak acceleration of the same move over ``D / T^2``: 5.77, at ``t = (3 - sqrt 3) / 6``; derived."""


def peak_mm_s(distance_mm: float, move_s: float) -> float:
    """Return the greatest speed on the way of a move that takes `move_s`. [mm/s]

    Examples
    --------
    >>> peak_mm_s(80, 0.1)
    1500.0
    """
    return PEAK_OVER_MEAN * distance_mm / move_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a player can do.

    `slide_acceleration_m_s2` and `max_slide_speed_mm_s` bound a move of the slide, None where that one does not;
    never both None. The others are notes a second: tongued, slurred over neighbouring partials, with a change of
    valves. `told` names those that the player's file gives; the others come from the level.
    """

    slide_acceleration_m_s2: float | None
    max_slide_speed_mm_s: float | None
    tongue_notes_s: float
    slur_notes_s: float
    valve_notes_s: float
    told: tuple[str, ...] = ()

    def move_s(self, distance_mm: float) -> float:
        """Return the least time from attack to attack that the greatest acceleration leaves a move. [s]

        ``sqrt(5.77 D / a)``: from stop to stop along the minimum-jerk path.

        Examples
        --------
        >>> round(limits_of(level="beginner").move_s(87.5), 3)
        0.159
        """
        if self.slide_acceleration_m_s2 is None:
            return 0.0
        return sqrt(PEAK_ACCELERATION * distance_mm / 1000 / self.slide_acceleration_m_s2)

    def speed_s(self, distance_mm: float) -> float:
        """Return the least time within a note that a told greatest speed leaves a move. [s; 0 where none is told]"""
        if self.max_slide_speed_mm_s is None:
            return 0.0
        return PEAK_OVER_MEAN * distance_mm / self.max_slide_speed_mm_s

    def reach_mm(self, gap_s: float, move_s: float) -> float:
        """Return how far the slide gets at most between two attacks. [mm]

        `gap_s` is the time from attack to attack, `move_s` the part of it that the plan leaves for moving: a told
        greatest speed is held against that (as the plan's peak speed is), the acceleration against the whole, for at
        the limit a slide does not rest.
        """
        far = inf
        if self.slide_acceleration_m_s2 is not None:
            far = 1000 * self.slide_acceleration_m_s2 * gap_s**2 / PEAK_ACCELERATION
        if self.max_slide_speed_mm_s is not None:
            far = min(far, self.max_slide_speed_mm_s * move_s / PEAK_OVER_MEAN)
        return far


@cache
def limits_of(*, level: Level = USUAL_LEVEL, slide_acceleration_m_s2: float | None = None,
              max_slide_speed_mm_s: float | None = None, tongue_notes_s: float | None = None,
              slur_notes_s: float | None = None, valve_notes_s: float | None = None) -> Limits:
    """Return the limits of a level, replaced by what is told.

    A told greatest speed takes the place of the acceleration, unless that is told, too: then both bound a move.
    """
    given = {"slide_acceleration_m_s2": slide_acceleration_m_s2, "tongue_notes_s": tongue_notes_s,
             "slur_notes_s": slur_notes_s, "valve_notes_s": valve_notes_s}
    told = tuple(name for name, value in (*given.items(), ("max_slide_speed_mm_s", max_slide_speed_mm_s))
                 if value is not None)
    usual = {name: entry[level] for name, entry in limit_table().items()}
    rates = {name: float(value if value is not None else usual[name]) for name, value in given.items()}
    acceleration: float | None = rates.pop("slide_acceleration_m_s2")
    if max_slide_speed_mm_s is not None and slide_acceleration_m_s2 is None:
        acceleration = None
    return Limits(slide_acceleration_m_s2=acceleration, max_slide_speed_mm_s=max_slide_speed_mm_s, told=told, **rates)


@cache
def nobodys() -> Limits:
    """Return limits that nobody goes beyond: what counts where a player's own are not told."""
    most = {name: entry["nobody"] for name, entry in limit_table().items()}
    return Limits(slide_acceleration_m_s2=most["slide_acceleration_m_s2"], max_slide_speed_mm_s=None,
                  tongue_notes_s=most["tongue_notes_s"], slur_notes_s=most["slur_notes_s"],
                  valve_notes_s=most["valve_notes_s"])


@cache
def limit_table() -> dict[str, dict[str, float]]:
    """Return the values of ``limits.toml``: those of the levels, `low` and `high` of people, `nobody`."""
    table = tomllib.loads(Path(__file__).with_name("limits.toml").read_text(encoding="utf-8"))
    return {name: {key: float(value) for key, value in entry.items() if not isinstance(value, str)}
            for name, entry in table.items()}

"""What a section rehearses first: the measures that come nearest to a limit, over all its lines."""

from collections.abc import Mapping, Sequence

from analyzer.plan.difficulty import MeasureDifficulty, difficulties, hardest
from analyzer.section.fit import SectionFit

_MOST = 8
"""So many places are named; judged: what a rehearsal has time for."""
Hard = Mapping[int, tuple[MeasureDifficulty, ...]]
"""How hard each measure is, by the place of the seat in the fit; empty where a cover's music is not planned."""


def hard_measures(fit: SectionFit) -> Hard:
    """Return how hard every measure is for whoever plays it."""
    return {place: difficulties(seat.burden.planner, seat.burden.plan) if seat.burden is not None else ()
            for place, seat in enumerate(fit.seats)}


def rehearse_first(hard: Hard) -> list[tuple[int, MeasureDifficulty]]:
    """Return the places to rehearse first, hardest first, each with the place of its seat; none calm or steady."""
    found = [(place, one) for place, measures in hard.items() for one in hardest(measures, _MOST)
             if one.level in ("busy", "hard", "beyond")]
    return sorted(found, key=lambda pair: -pair[1].share)[:_MOST]


def rehearsal_lead(found: Sequence[tuple[int, MeasureDifficulty]]) -> str:
    """Say how to go about it."""
    if not found:
        return "No measure comes near a limit: rehearse for sound and time."
    beyond = (" What is beyond a limit is not for rehearsing as it stands: see the remedies."
              if any(one.level == "beyond" for _, one in found) else "")
    return f"Hardest first; begin slowly, and stop before it tires.{beyond}"

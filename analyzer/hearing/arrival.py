"""How notes begin: what a player's attacks have in common, and where the slide comes from."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import log2
from statistics import median, quantiles

from analyzer.analysis import Planned
from analyzer.hearing.notes import Sounded
from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import state

LATE_MS = 55.0
LATE_CENTS = 30.0
"""A note that stays later than `LATE_MS` and was farther off than `LATE_CENTS` did not arrive in time. Judged: quicker
than that is the beginning of any tone, and the window in which a pitch can be read."""
SLOWER_MS = 40.0
"""So much slower than the player's own attacks a late one is; judged."""
PAUSE_S = 1.5
"""After so long nothing is left of the note before; judged."""
_FEW = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """How a player's notes begin where the slide need not move: until the pitch stays, and from how far (+ sharp).

    Many attacks rise to their pitch; what every note does is no late slide.
    """

    settle_ms: float = 0.0
    excursion_cents: float = 0.0


def habit_of(counting: Mapping[int, Sounded], planned: Planned) -> Habit:
    """Return how the notes of a recording begin; where nearly every note asks for a move, by the quicker ones."""
    found = {index: one for index, one in counting.items() if one.near and one.settle_ms is not None}
    if len(found) < _FEW:
        return Habit()
    notes = planned.plan.notes
    still = [one for index, one in found.items()
             if abs(from_before(planned.plan.horn, one, notes[index].choice, counting.get(index - 1),
                                notes[index - 1].choice if index else None)) < 20]
    own = still if len(still) >= _FEW else list(found.values())
    times_ms = sorted(one.settle_ms or 0.0 for one in own)
    settle_ms = median(times_ms) if own is still else quantiles(times_ms, n=10)[2]
    began = [one.excursion_cents for one in own if (one.settle_ms or 0.0) > 0 and abs(one.excursion_cents) < 150]
    return Habit(settle_ms=settle_ms, excursion_cents=median(began) if 2 * len(began) > len(own) else 0.0)


def from_before(horn: Horn, one: Sounded, choice: Candidate | None, before: Sounded | None, last: Candidate | None,
                ) -> float:
    """Return how far off a note would begin with the slide still at the place of the note before, `last`. [cents]"""
    if (choice is None or last is None or choice.extension_mm is None or last.extension_mm is None or before is None
            or one.start_s - before.end_s >= PAUSE_S):
        return 0.0
    return cents_at(horn, choice, last.extension_mm)


def cents_at(horn: Horn, choice: Candidate, extension_mm: float) -> float:
    """Return how far a note sounds above its planned place with the slide elsewhere. [cents]"""
    held = state(horn, choice.valves)
    half_mm = horn.tube_mm / 2
    return -1200 * log2((held.ratio + extension_mm / half_mm)
                        / (held.ratio + (choice.extension_mm or 0.0) / half_mm))

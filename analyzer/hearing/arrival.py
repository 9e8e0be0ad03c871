"""How notes begin: what a player's attacks have in common, and where the slide comes from.

Many attacks rise to their pitch, and each horn and register has its own way. What notes do where the slide need not
move is no late slide: it is taken off, frame by frame, before any note is called late. Notes with a move tell nothing
of it by themselves, so that who is late on every move is not excused.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log2
from typing import Any

from analyzer.analysis import Planned
from analyzer.hearing.notes import Sounded, arrived
from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import state

LATE_MS = 55.0
LATE_CENTS = 30.0
"""A note that stays later than `LATE_MS` and was farther off than `LATE_CENTS` did not arrive in time. Judged: quicker
than that is the beginning of any tone, and the window in which a pitch can be read."""
PAUSE_S = 1.5
"""After so long nothing is left of the note before; judged."""
_FEW = 3                               # notes that tell how others begin; judged
_NEAR_SEMITONES = (0.6, 3.5, 7.5, 60.0)     # notes of the same pitch are asked first, then of the register
_STILL_CENTS = 20.0                    # a slide that moves less leaves no glide
_WIDEST = 0.3                          # semitones, so that hasty attacks excuse no late slide; judged
_MOST = 1.2                            # semitones: no attack that is in order begins farther off; judged


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnAttack:
    """How a player's notes begin where the slide need not move.

    `notes` told it; `flat_cents` is how far from their pitch they are 30 ms after the attack, in the middle (+ sharp).
    """

    notes: int = 0
    flat_cents: float = 0.0


def with_arrivals(counting: Mapping[int, Sounded], planned: Planned) -> tuple[dict[int, Sounded], OwnAttack]:
    """Return the notes that count, their arrivals beside how the player's notes begin, and what was taken for that."""
    import numpy as np

    plan = planned.plan
    long = {index: one for index, one in counting.items() if one.near and one.settle_ms is not None and one.began}
    if len(long) <= _FEW:
        return dict(counting), OwnAttack()
    order = list(long)
    begins = np.full((len(order), max(len(one.began) for one in long.values())), np.nan)
    for row, one in enumerate(long.values()):
        begins[row, :len(one.began)] = one.began
    begins[np.abs(begins) > _MOST] = np.nan          # a crack is nobody's way of beginning
    ways = np.array([from_before(plan.horn, one, plan.notes[index].choice, counting.get(index - 1),
                                 plan.notes[index - 1].choice if index else None) for index, one in long.items()])
    midi = np.array([one.midi or 0.0 for one in long.values()])
    found = dict(counting)
    for row, index in enumerate(order):
        others = np.arange(len(order)) != row
        found[index] = arrived(long[index], *_own(begins[others], ways[others], np.abs(midi[others] - midi[row])))
    still = begins[np.abs(ways) < _STILL_CENTS]
    known = still[:, 6][~np.isnan(still[:, 6])] if begins.shape[1] > 6 else np.zeros(0)
    return found, OwnAttack(notes=len(known), flat_cents=100 * float(np.median(known)) if len(known) >= _FEW else 0.0)


def _own(begins: Any, ways: Any, apart: Any) -> tuple[Sequence[float], Sequence[float]]:
    """Return how notes begin and how far they differ in it, by those near in pitch where the slide need not move.

    Where hardly any is without a move: half-way between those that come from below and those from above, so that what
    is late takes itself off.
    """
    import numpy as np

    for within in _NEAR_SEMITONES:
        near = apart < within
        still = near & (abs(ways) < _STILL_CENTS)
        if still.sum() >= _FEW:
            return _middle(begins[still], _FEW)
        above, below = near & (ways >= _STILL_CENTS), near & (ways <= -_STILL_CENTS)
        if min(above.sum(), below.sum()) >= _FEW - 1:
            (high, wide), (low, wide_low) = _middle(begins[above], _FEW - 1), _middle(begins[below], _FEW - 1)
            return (high + low) / 2, np.maximum(wide, wide_low)
    return (), ()


def _middle(begins: Any, few: int) -> tuple[Any, Any]:
    """Return the middle of each frame and how far notes differ from it [semitones], 0 where too few notes know it."""
    import numpy as np

    middle, wide = np.zeros(begins.shape[1]), np.zeros(begins.shape[1])
    enough = (~np.isnan(begins)).sum(axis=0) >= few
    known = begins[:, enough]
    middle[enough] = np.nanmedian(known, axis=0)
    wide[enough] = np.minimum(1.48 * np.nanmedian(np.abs(known - middle[enough]), axis=0), _WIDEST)
    return middle, wide


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

"""One way to sound one pitch on one horn."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from analyzer.words import cents_text, valves_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One way to sound one pitch: what is held, which partial, where the slide stands.

    `valves` is in playing order: ``T`` and ``S`` on a trombone, ``1`` to ``4`` on a valved horn, ``()`` when open.
    `position` counts in the scale of the valve state held, from 1; None on a horn without a slide.
    `shade` is ``#`` (a little in), ``b`` (a little out) or empty. `extension_mm` is how far the slide is out
    [mm, from 0]; None without a slide, where `out_mm` is 0. `off_cents` is sounding minus equal temperament after the
    slide has done what it can [cents]. `label` is in ASCII: ``1``, ``2#``, ``T2``, ``TS1`` with a slide; ``0``,
    ``1-2`` with valves.
    `advice` says why a choice is possible but not recommended, else None.
    Where a chord asks for another place, that is `target_cents` above equal temperament: `off_cents` then counts from
    there, and the slide stands `shift_mm` from where it would stand (+ out) [mm].
    """

    midi: int
    valves: tuple[str, ...]
    partial: int
    position: int | None
    shade: str
    extension_mm: float | None
    off_cents: float
    advice: str | None = None
    target_cents: float = 0.0
    shift_mm: float = 0.0
    label: str = field(init=False, compare=False, repr=False)
    out_mm: float = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        label = valves_text(self.valves) if self.position is None else (
            f"{''.join(self.valves)}{self.position}{self.shade}")
        object.__setattr__(self, "label", label)       # plans ask for both many times over
        object.__setattr__(self, "out_mm", self.extension_mm or 0.0)

    @property
    def off_said(self) -> str:
        """How far it is out of tune, in words; where it has a place in a chord, how far from there."""
        return cents_text(self.off_cents) + (" of its place in the chord" if self.target_cents else "")


def slide_mm(a: Candidate, b: Candidate) -> float:
    """Return how far the slide goes from one choice to the next; 0 without a slide. [mm]"""
    return abs(b.out_mm - a.out_mm)


def travel_mm(choices: Iterable[Candidate | None]) -> float:
    """Return the way of the slide along a sequence of choices, not counted across None. [mm]"""
    return sum(slide_mm(a, b) for a, b in pairwise(choices) if a is not None and b is not None)

"""Two horns held side by side: which places, combinations and notes stay, and by how much the others move."""

from dataclasses import dataclass
from typing import Literal

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import chart_choice, position_place_mm, positions, sounding_range, states
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import state
from analyzer.words import valves_text

AT_MM = 4.0
"""A place this near to another is the same place to a hand. Judged: well below a shade (20 cents, 17 mm and more)."""
ALIKE_CENTS = 3.0
"""A difference below it is no change to a player; judged: listeners begin to tell some 5 cents apart."""

Fate = Literal["stays", "moves", "new", "gone"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceChange:
    """A position of a valve state on both horns: `before_mm` and `after_mm` from the stop, None where it is not.

    `near` is the old horn's open position nearest to `after_mm`, and `beside_mm` how far beyond it the new place lies
    (+ is further out); both None for a place that is gone.
    """

    valves: Valves
    position: int
    before_mm: float | None
    after_mm: float | None
    near: int | None
    beside_mm: float | None

    @property
    def label(self) -> str:
        """Such as ``T3``."""
        return f"{''.join(self.valves)}{self.position}"

    @property
    def by_mm(self) -> float | None:
        """How far the place moves [mm, + is further out]; None where one horn lacks it."""
        return None if self.before_mm is None or self.after_mm is None else self.after_mm - self.before_mm

    @property
    def kind(self) -> Fate:
        """What becomes of it."""
        return _kind(self.before_mm, self.after_mm, alike=AT_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class TuningChange:
    """A valve combination on both horns: how far its tube is sharp of its interval [cents]; None where absent."""

    valves: Valves
    before_cents: float | None
    after_cents: float | None

    @property
    def label(self) -> str:
        """Such as ``1-3``."""
        return valves_text(self.valves, "")

    @property
    def kind(self) -> Fate:
        """What becomes of it."""
        return _kind(self.before_cents, self.after_cents, alike=ALIKE_CENTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteChange:
    """A sounding pitch with its usual choice on both horns, None where a horn has none."""

    midi: int
    before: Candidate | None
    after: Candidate | None

    @property
    def by_mm(self) -> float | None:
        """How far the hand's place moves [mm, + is further out]; None without a slide or where one horn lacks it."""
        if self.before is None or self.after is None:
            return None
        if self.before.extension_mm is None or self.after.extension_mm is None:
            return None
        return self.after.extension_mm - self.before.extension_mm

    @property
    def by_cents(self) -> float | None:
        """How far the tuning moves [cents, + is sharper]; None where one horn lacks the note."""
        return None if self.before is None or self.after is None else self.after.off_cents - self.before.off_cents

    @property
    def kind(self) -> Fate:
        """What becomes of it: it stays where label, place and tuning do."""
        if self.before is None or self.after is None:
            return "new" if self.before is None else "gone"
        same = self.before.label == self.after.label
        return "stays" if (same and abs(self.by_mm or 0.0) < AT_MM
                           and abs(self.by_cents or 0.0) < ALIKE_CENTS) else "moves"


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """The change from one horn to another: `places` on slides, `tunings` on valves, `notes` on both, low to high."""

    before: Horn
    after: Horn
    places: tuple[PlaceChange, ...]
    tunings: tuple[TuningChange, ...]
    notes: tuple[NoteChange, ...]


def transition(before: Horn, after: Horn) -> Transition:
    """Compare two horns of one family.

    Raises
    ------
    ValueError
        If one has a slide and the other has not: nothing of one lies on the other.
    """
    if before.family != after.family:
        raise ValueError(f"{before.name} and {after.name} are not both slide horns or both valved ones")
    held = dict.fromkeys((*states(before), *states(after)))
    slide = before.family == "slide"
    bounds = (*sounding_range(before), *sounding_range(after))
    notes = (NoteChange(midi=midi, before=chart_choice(before, midi), after=chart_choice(after, midi))
             for midi in range(min(bounds), max(bounds) + 1))
    return Transition(
        before=before, after=after,
        places=tuple(place for valves in held for place in _places(before, after, valves)) if slide else (),
        tunings=() if slide else tuple(
            TuningChange(valves=valves, before_cents=_sharp(before, valves), after_cents=_sharp(after, valves))
            for valves in held if valves),
        notes=tuple(note for note in notes if note.before or note.after))


def nearest_open(horn: Horn, out_mm: float) -> tuple[int, float]:
    """Return the open position nearest to a place of the slide, and how far beyond it the place lies. [mm]"""
    places = {number: position_place_mm(horn, (), number) for number in range(1, positions(horn) + 1)}
    number = min(places, key=lambda place: abs(places[place] - out_mm))
    return number, out_mm - places[number]


def beside_words(number: int, beside_mm: float) -> str:
    """Say where a place lies against an open position.

    Examples
    --------
    >>> beside_words(2, 32.6), beside_words(4, -29.5), beside_words(6, 1.2)
    ('2 + 33 mm', '4 − 30 mm', 'at 6')
    """
    if abs(beside_mm) < AT_MM:
        return f"at {number}"
    return f"{number} {'+' if beside_mm > 0 else '−'} {abs(beside_mm):.0f} mm"


def _places(before: Horn, after: Horn, valves: Valves) -> list[PlaceChange]:
    old, new = (_row_mm(horn, valves) for horn in (before, after))
    result = []
    for k in range(max(len(old), len(new))):
        after_mm = new[k] if k < len(new) else None
        near, beside = nearest_open(before, after_mm) if after_mm is not None else (None, None)
        result.append(PlaceChange(valves=valves, position=k + 1, before_mm=old[k] if k < len(old) else None,
                                  after_mm=after_mm, near=near, beside_mm=beside))
    return result


def _row_mm(horn: Horn, valves: Valves) -> list[float]:
    if valves not in states(horn):
        return []
    return [position_place_mm(horn, valves, number) for number in range(1, positions(horn, valves) + 1)]


def _sharp(horn: Horn, valves: Valves) -> float | None:
    if valves not in states(horn):
        return None
    nominal = sum(loop.semitones for loop in horn.loops if loop.name in valves)
    return 100 * nominal - state(horn, valves).cents


def _kind(before: float | None, after: float | None, *, alike: float) -> Fate:
    if before is None or after is None:
        return "new" if before is None else "gone"
    return "stays" if abs(after - before) < alike else "moves"

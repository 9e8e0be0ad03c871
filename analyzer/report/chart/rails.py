"""A change of horn for the wall: the slide across the sheet with the places of both horns, or what valves are off.

All lengths in mm of the paper; the slide is drawn to scale from the stop.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.transition import AT_MM, PlaceChange, Transition
from analyzer.report.chart.sheet import NAME_MM, OTHER_MM, USUAL_MM, Ink, wide
from analyzer.words import signed

_NAMES_MM = 30.0                      # at the left, for the names of the rails
_RAIL_MM = 8.6
_LINE_MM = OTHER_MM + 1.5             # of what stands above or below a rail
_GAP_MM = 2.4
_BROAD_MM, _MIDDLE_MM = 150.0, 110.0
"""Room from which rails have their names beside them and the largest labels, and larger ones than a phone has."""
_OLD, _NEW, _INK, _SIDE, _GUIDE = "#ffffff", "#e3e3e3", "#000000", "#444444", "#8a8a8a"


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where the slide is drawn: `end` mm of it are `length` mm of paper from `start` on.

    The names of rails stand `beside` them or above.
    """

    left: float
    start: float
    length: float
    end: float
    label_mm: float
    beside: bool

    def x(self, mm: float) -> float:
        return self.start + self.length * mm / self.end

    @property
    def over(self) -> float:
        """Room for a name above its rail."""
        return 0.0 if self.beside else _LINE_MM

    @property
    def under(self) -> float:
        """Room for what stands below a rail that is new or moves: where there is little width, in two lines."""
        return _LINE_MM * (1 if self.beside else 2) + 0.8


def rails(change: Transition, left: float, room: float) -> tuple[Ink, float]:
    """Draw the slide with a rail for each valve state of the new horn, and of the old where it differs; and its height.

    Dashed lines go down from the old horn's open positions: under each new place stands the nearest of them, and how
    many mm it lies beyond (+) or short of it (−).
    """
    beside = room >= _BROAD_MM
    names = _NAMES_MM if beside else 0.0
    label_mm = USUAL_MM if beside else NAME_MM if room >= _MIDDLE_MM else OTHER_MM
    scale = _Scale(left, left + names, room - names,
                   max(change.before.slide_end_mm, change.after.slide_end_mm), label_mm, beside)
    ink = Ink()
    states = [list(row) for _, row in groupby(change.places, key=lambda one: one.valves)]
    height = sum(_height(row, scale) for row in states)
    for number in range(1, positions(change.before) + 1):
        x = scale.x(position_place_mm(change.before, (), number))
        ink.add(f'<line x1="{x:.2f}" y1="{scale.over:.2f}" x2="{x:.2f}" y2="{height:.2f}" stroke="{_GUIDE}" '
                'stroke-width="0.25" stroke-dasharray="1 1"/>')
    y = 0.0
    for row in states:
        _state(ink, row, scale, y)
        y += _height(row, scale)
    return ink, height


def _fates(row: Sequence[PlaceChange]) -> set[str]:
    return {one.kind for one in row}


def _height(row: Sequence[PlaceChange], scale: _Scale) -> float:
    rail = scale.over + _RAIL_MM
    if _fates(row) in ({"stays"}, {"gone"}):
        return rail + _GAP_MM
    old = rail + 0.8 if any(one.before_mm is not None for one in row) else 0.0
    return old + rail + scale.under + _GAP_MM


def _state(ink: Ink, row: Sequence[PlaceChange], scale: _Scale, y: float) -> None:
    name, fates = "".join(row[0].valves) or "open", _fates(row)
    said = next(iter(fates)) if len(fates) == 1 and fates != {"moves"} else ""
    if said in ("", "gone") and any(one.before_mm is not None for one in row):
        _rail(ink, f"{name} {said or 'before'}", [(one.label, one.before_mm) for one in row], scale, y, _OLD)
        y += scale.over + _RAIL_MM + 0.8
    if said == "gone":
        return
    _rail(ink, f"{name} {said or 'now'}", [(one.label, one.after_mm) for one in row], scale, y,
          _OLD if said == "stays" else _NEW)
    if said != "stays":
        _beside(ink, row, scale, y + scale.over + _RAIL_MM)


def _beside(ink: Ink, row: Sequence[PlaceChange], scale: _Scale, y: float) -> None:
    """Say under each new place which old open position is nearest, and how far beyond it the place lies."""
    right = scale.start + scale.length
    for nth, one in enumerate(row):
        if one.after_mm is None or one.near is None:
            continue
        beside = one.beside_mm or 0.0
        text = f"at {one.near}" if abs(beside) < AT_MM else f"{one.near} {signed(beside, '−')}"
        half = wide(text, OTHER_MM) / 2
        x = max(scale.left + half, min(scale.x(one.after_mm), right - half))
        top = y + 0.6 + (0.0 if scale.beside else nth % 2 * _LINE_MM)
        ink.add(f'<rect x="{x - half:.2f}" y="{top:.2f}" width="{2 * half:.2f}" height="{OTHER_MM + 1.1:.2f}" '
                f'fill="{_OLD}"/>')
        ink.text(x, top + OTHER_MM + 0.6, text, OTHER_MM, anchor="middle")


def _rail(ink: Ink, name: str, places: Sequence[tuple[str, float | None]], scale: _Scale, y: float,
          ground: str) -> None:
    bold = ground == _NEW
    top = y + scale.over
    if scale.beside:
        ink.text(scale.left + 0.4, top + (_RAIL_MM + OTHER_MM) / 2, name, OTHER_MM, bold=bold)
    else:
        ink.add(f'<rect x="{scale.left:.2f}" y="{y:.2f}" width="{scale.length:.2f}" height="{_LINE_MM:g}" '
                f'fill="{_OLD}"/>')
        ink.text(scale.left, y + OTHER_MM + 0.5, name, OTHER_MM, bold=bold)
    ink.add(f'<rect x="{scale.start:.2f}" y="{top:.2f}" width="{scale.length:.2f}" height="{_RAIL_MM:g}" '
            f'fill="{ground}" stroke="{_SIDE}" stroke-width="0.3"/>')
    for label, mm in places:
        if mm is None:
            continue
        x = scale.x(mm)
        ink.line(x, top, x, top + _RAIL_MM, 0.8, _INK)
        late = x + 1.2 + wide(label, scale.label_mm, bold=True) > scale.start + scale.length
        ink.text(x - 1.2 if late else x + 1.2, top + (_RAIL_MM + scale.label_mm) / 2, label, scale.label_mm,
                 bold=bold, anchor="end" if late else "start")


def tuning_words(change: Transition) -> list[str]:
    """Say in words what each combination of valves is off, those that are new first. [cents]"""
    def one_of(kind: str) -> str:
        return ", ".join(f"{one.label} {signed(cents, '−')}" for one in change.tunings if one.kind == kind
                         for cents in [one.before_cents if kind == "gone" else one.after_cents] if cents is not None)

    moved = ", ".join(f"{one.label} {signed(one.before_cents, '−')}, now {signed(one.after_cents, '−')}"
                      for one in change.tunings if one.kind == "moves"
                      and one.before_cents is not None and one.after_cents is not None)
    said = (("New valves together", one_of("new")), ("Moved", moved), ("As before", one_of("stays")),
            ("Gone", one_of("gone")))
    return [f"{head}: {text}." for head, text in said if text]

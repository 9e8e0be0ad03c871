"""A change of horn as a picture: the old horn hollow, the new one filled, on the same slide or the same cents.

Slides are drawn to scale from the stop out; valved horns by how far each combination and note is out of tune.
"""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from analyzer import cautions
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.transition import (
    Fate,
    NoteChange,
    PlaceChange,
    Transition,
    beside_words,
    nearest_open,
)
from analyzer.picture.drawing import FAINT, HELD, INK, USUAL, Drawing, Picture
from analyzer.pitch import HEARD_CENTS, pitch_of
from analyzer.words import shown, signed

_TITLE = "A change of horn: what stays and what moves"
_WIDTH = 900.0
_LEFT, _RIGHT = 142.0, 880.0
_ROW_PX = 20.0
_RAIL_PX = 22.0
_BAR_PX = 19.0
_PX_PER_LETTER = 5.6                   # of 11 px type; wide enough for every letter we set


@dataclass(frozen=True, slots=True)
class _Axis:
    """What the width means: `low` at the left edge, `high` at the right. [mm or cents]"""

    low: float
    high: float

    def x(self, value: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * (value - self.low) / (self.high - self.low)


def transition_picture(change: Transition) -> Picture:
    """Draw a change of horn."""
    out = Drawing()
    slide = change.before.family == "slide"
    out.text(12, 30, _TITLE, size=20, bold=True)
    _key(out, change, 50.0)
    axis = _Axis(0.0, max(change.before.slide_end_mm, change.after.slide_end_mm)) if slide else _cents_axis(change)
    y = _rails(out, change, axis, 116.0) if slide else _combinations(out, change, axis, 116.0)
    y = _notes(out, change, axis, y + 22) + 8
    for line in textwrap.wrap(" ".join(cautions.for_changing(slide=slide, valves=not slide)), 165):
        y += 14
        out.text(12, y, line, size=10, color=FAINT)
    title = f"{_TITLE}: {change.before.description}, then {change.after.description}"
    return Picture(width=_WIDTH, height=y + 12, title=title,
                   desc=transition_words(change), body=out.body())


def transition_words(change: Transition) -> str:
    """Say in words what the picture shows."""
    moved = [_note_words(one) for one in change.notes if one.kind != "stays"]
    places = [f"{one.label} {beside_words(one.near, one.beside_mm or 0.0)}" for one in change.places
              if one.kind in ("new", "moves") and one.near is not None]
    tunings = [f"{one.label} {_cents_words(one.before_cents, one.after_cents)}" for one in change.tunings
               if one.kind != "stays"]
    parts = [f"Places against the old open positions: {', '.join(places)}." if places else "",
             f"Combinations, cents: {', '.join(tunings)}." if tunings else "",
             f"Notes that change: {', '.join(moved)}." if moved else "No note changes.", stays_words(change)]
    return " ".join(part for part in parts if part)


def stays_words(change: Transition) -> str:
    """Name the notes that stay, in runs from low to high; empty where none does."""
    runs = [list(run) for stays, run in groupby(change.notes, key=lambda one: one.kind == "stays") if stays]
    named = ["–".join(dict.fromkeys((pitch_of(run[0].midi).pretty, pitch_of(run[-1].midi).pretty))) for run in runs]
    return f"What stays: {', '.join(named)}." if named else ""


def _note_words(one: NoteChange) -> str:
    return f"{pitch_of(one.midi).pretty} {_labels(one)}"


def _labels(one: NoteChange) -> str:
    """Both labels, ``6 → T1``; one where it stays the same or is the only one."""
    names = dict.fromkeys(shown(choice.label) for choice in (one.before, one.after) if choice)
    return " → ".join(names)


def _cents_words(before: float | None, after: float | None) -> str:
    return " → ".join(signed(value, "−") for value in (before, after) if value is not None)


def _cents_said(kind: Fate, before: float | None, after: float | None) -> str:
    return {"moves": "", "new": "new: ", "gone": "gone: ", "stays": "stays"}[kind] + (
        _cents_words(before, after) if kind != "stays" else "")


def _key(out: Drawing, change: Transition, y: float) -> None:
    """Say which horn is hollow and which filled, and what a dashed line means."""
    out.dot(18, y - 4, 4.2, fill="#ffffff", stroke=USUAL)
    out.dot(18, y + 12, 4.6)
    for horn, at in ((change.before, y), (change.after, y + 16)):
        out.text(28, at, f"{'old' if horn is change.before else 'new'} horn: "
                         f"{textwrap.shorten(horn.description, 130, placeholder=' …')}")
    _way(out, 18, 64, y + 28)
    out.text(76, y + 32, "what moves, and how far; sounding pitch, usual choices", color=FAINT)


def _way(out: Drawing, a: float, b: float, y: float) -> None:
    """Draw the way from an old place to a new one: a dashed line, hollow at its start, filled at its end."""
    out.line(a, y, b, y, color=USUAL, width=1.4, dash="4 3")
    out.dot(a, y, 4.2, fill="#ffffff", stroke=USUAL)
    out.dot(b, y, 4.6)


def _said(out: Drawing, x: float, y: float, text: str, *, color: str = INK, size: float = 11.0) -> None:
    """Write a text centred on a line, on a ground of its own."""
    wide = _PX_PER_LETTER * len(text) * size / 11 + 4
    out.rect(x - wide / 2, y - size / 2 - 1, wide, size + 2, fill="#ffffff")
    out.text(x, y + 4, text, anchor="middle", color=color, size=size)


def _beside(out: Drawing, ends: Sequence[float], y: float, text: str, *, color: str = INK) -> None:
    """Write a text on the way between two ends, else right of them, else left."""
    wide = _PX_PER_LETTER * len(text)
    if len(ends) == 2 and abs(ends[1] - ends[0]) > wide + 20:
        _said(out, sum(ends) / 2, y, text, color=color)
    elif max(ends) + wide + 10 < _WIDTH - 12:
        out.text(max(ends) + 9, y + 4, text, color=color)
    else:
        out.text(min(ends) - 9, y + 4, text, anchor="end", color=color)


# --- slides ------------------------------------------------------------------------------------------------------

def _rails(out: Drawing, change: Transition, axis: _Axis, y: float) -> float:
    """Draw the slide, a rail for each valve state; return where it ends."""
    out.text(12, y, "The slide, to scale from the stop", size=14, bold=True)
    y += 12
    states = [list(row) for _, row in groupby(change.places, key=lambda one: one.valves)]
    bottom = y + sum(_rail_height(row) for row in states)
    _guides(out, change, axis, y, bottom)
    for row in states:
        _rail(out, row, change, axis, y)
        y += _rail_height(row)
    for mm in range(0, int(axis.high) + 1, 50):
        out.line(axis.x(mm), y, axis.x(mm), y + (6 if mm % 100 == 0 else 4), color=FAINT)
        if mm % 100 == 0:
            out.text(axis.x(mm), y + 17, f"{mm} mm", size=10, color=FAINT, anchor="middle")
    return y + 20


def _guides(out: Drawing, change: Transition, axis: _Axis, top: float, bottom: float) -> None:
    """Draw the old horn's open positions as lines to judge everything else by."""
    for number in range(1, positions(change.before) + 1):
        x = axis.x(position_place_mm(change.before, (), number))
        out.line(x, top, x, bottom, color=USUAL, width=0.7, dash="1 3")


def _kinds(row: Iterable[PlaceChange]) -> set[str]:
    return {one.kind for one in row}


def _rail_height(row: Sequence[PlaceChange]) -> float:
    kinds = _kinds(row)
    if kinds == {"stays"} or kinds == {"gone"}:
        return _RAIL_PX + 10
    old_rail = _RAIL_PX + 4 if any(one.before_mm is not None for one in row) else 0.0
    return old_rail + _RAIL_PX + 16 + 2 * _BAR_PX + 8


def _rail(out: Drawing, row: Sequence[PlaceChange], change: Transition, axis: _Axis, y: float) -> None:
    kinds = _kinds(row)
    name = "".join(row[0].valves) or "open"
    single = kinds == {"stays"} or kinds == {"gone"}
    if kinds == {"gone"} or (not single and any(one.before_mm is not None for one in row)):
        _ticks(out, [(one.label, one.before_mm) for one in row], axis, y, ground="#ffffff", color=USUAL)
        _rail_name(out, name, "gone" if single else "before", y, color=USUAL)
        y += _RAIL_PX + 4
    if kinds == {"gone"}:
        return
    _ticks(out, [(one.label, one.after_mm) for one in row], axis, y, ground=HELD[min(len(row[0].valves), 3)], color=INK)
    _rail_name(out, name, "stays" if single else "new" if kinds == {"new"} else "after", y, color=INK)
    if single:
        return
    y += _RAIL_PX
    for one in row:
        if one.near is None or one.after_mm is None:
            continue
        _said(out, min(axis.x(one.after_mm), _RIGHT - 24), y + 8, beside_words(one.near, one.beside_mm or 0.0),
              color=FAINT, size=10)
    for k, one in enumerate(row):
        start = one.before_mm if one.before_mm is not None else _same_number_mm(change, one.position)
        if start is None or one.after_mm is None:
            continue
        a, b, at = axis.x(start), axis.x(one.after_mm), y + 26 + _BAR_PX * (k % 2)
        _way(out, a, b, at)
        _beside(out, (a, b), at, f"{signed(one.after_mm - start, '−')} mm")


def _same_number_mm(change: Transition, position: int) -> float | None:
    """The old open position of this number, what a hand takes a new state's position for at first."""
    return position_place_mm(change.before, (), position) if position <= positions(change.before) else None


def _ticks(out: Drawing, places: Iterable[tuple[str, float | None]], axis: _Axis, y: float, *, ground: str, color: str,
           ) -> None:
    out.rect(_LEFT, y, _RIGHT - _LEFT, _RAIL_PX, fill=ground, stroke="#8a93a0")
    for label, mm in places:
        if mm is None:
            continue
        x = axis.x(mm)
        out.line(x, y, x, y + _RAIL_PX, color=color, width=1.6)
        late = x > _RIGHT - 30
        out.text(x - 4 if late else x + 4, y + 15, label, size=12, bold=True, color=color,
                 anchor="end" if late else "start")


def _rail_name(out: Drawing, name: str, fate: str, y: float, *, color: str) -> None:
    out.text(_LEFT - 10, y + 15, f"{name}: {fate}", size=12, bold=True, anchor="end", color=color)


# --- valves ------------------------------------------------------------------------------------------------------

def _cents_axis(change: Transition) -> _Axis:
    found = [value for one in change.tunings for value in (one.before_cents, one.after_cents) if value is not None]
    found += [choice.off_cents for one in change.notes if one.kind != "stays"
              for choice in (one.before, one.after) if choice]
    return _Axis(10.0 * int(min(found) / 10 - 1), 10.0 * int(max(found) / 10 + 3))


def _combinations(out: Drawing, change: Transition, axis: _Axis, y: float) -> float:
    """Draw what each combination of valves is off; return where it ends."""
    out.text(12, y, "The tube of each combination, in cents from its interval", size=14, bold=True)
    y = _cents_ruler(out, axis, y + 6)
    _ground(out, axis, y, len(change.tunings))
    for one in change.tunings:
        _row(out, y, axis, (one.label, ""), one.before_cents, one.after_cents,
             _cents_said(one.kind, one.before_cents, one.after_cents))
        y += _ROW_PX
    return y


def _cents_ruler(out: Drawing, axis: _Axis, y: float) -> float:
    step = 10 if axis.high - axis.low <= 120 else 20
    for cents in range(int(axis.low) + int(-axis.low) % step, int(axis.high) + 1, step):
        x = axis.x(cents)
        out.line(x, y + 14, x, y + 20, color=FAINT)
        out.text(x, y + 11, signed(cents, "−") if cents else "in tune", size=10, bold=not cents, anchor="middle",
                 color=FAINT if cents else INK)
    return y + 20


# --- notes -------------------------------------------------------------------------------------------------------

def _notes(out: Drawing, change: Transition, axis: _Axis, y: float) -> float:
    """Draw a row for each note that changes, highest first, and name those that stay; return where it ends."""
    slide = change.before.family == "slide"
    changed = [one for one in reversed(change.notes) if one.kind != "stays"]
    if changed:
        out.text(12, y, "Notes that change", size=14, bold=True)
        y = y + 8 if slide else _cents_ruler(out, axis, y + 6)
    value: Callable[[Candidate], float] = (
        (lambda choice: choice.out_mm) if slide else (lambda choice: choice.off_cents))
    _ground(out, axis, y, len(changed))
    if slide:
        _guides(out, change, axis, y, y + _ROW_PX * len(changed))
    for one in changed:
        before, after = (None if choice is None else value(choice) for choice in (one.before, one.after))
        if not slide:
            text = _cents_said(one.kind, before, after)
        elif one.kind == "moves":
            text = f"{signed(one.by_mm or 0.0, '−')} mm"
        else:
            text = f"new: {beside_words(*nearest_open(change.before, after))}" if after is not None else one.kind
        _row(out, y, axis, (pitch_of(one.midi).pretty, _labels(one)), before, after, text)
        y += _ROW_PX
    for line in textwrap.wrap(stays_words(change) if changed else f"No note changes. {stays_words(change)}", 140):
        y += 16
        out.text(12, y, line)
    return y


def _ground(out: Drawing, axis: _Axis, y: float, rows: int) -> None:
    """Draw what rows stand on: every second one tinted; on an axis of cents, where the ear hears nothing."""
    for place in range(0, rows, 2):
        out.rect(12, y + place * _ROW_PX, _WIDTH - 24, _ROW_PX, fill="#f4f6fa")
    if axis.low < 0 and rows:
        quiet = axis.x(HEARD_CENTS) - axis.x(0)
        out.rect(axis.x(0) - quiet, y, 2 * quiet, rows * _ROW_PX, fill=HELD[1])
        out.line(axis.x(0), y, axis.x(0), y + rows * _ROW_PX, color="#8a93a0")


def _row(out: Drawing, y: float, axis: _Axis, names: tuple[str, str], before: float | None, after: float | None,
         text: str) -> None:
    """Draw one row: its names, its old and new place, and how far that is."""
    out.text(18, y + 14, names[0], size=12, bold=True)
    if names[1]:
        out.text(56, y + 14, names[1], size=12)
    middle = y + _ROW_PX / 2
    ends = [axis.x(value) for value in (before, after) if value is not None]
    if before is None:
        out.dot(ends[0], middle, 4.6)
    elif after is None:
        out.dot(ends[0], middle, 4.2, fill="#ffffff", stroke=USUAL)
    elif text == "stays":
        out.dot(ends[1], middle, 4.6)
    else:
        _way(out, ends[0], ends[1], middle)
    _beside(out, ends, middle, text, color=FAINT if text == "stays" else INK)

"""The printable chart of a horn: where every position lies along one slide, and every way to sound each note.

Sounding pitch, highest note on top. On a slide horn the width is the slide, to scale; on a valved horn it is tuning.
"""

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import (
    candidates,
    chart_choice,
    position_place_mm,
    positions,
    sounding_range,
    states,
)
from analyzer.horns.horn import Horn
from analyzer.picture.drawing import FAINT, HELD, INK, RULE, Drawing, Picture
from analyzer.pitch import pitch_of
from analyzer.words import shown

_WIDTH = 900.0
_LEFT, _RIGHT = 96.0, 880.0
_ROW_PX = 20.0
_NEAR_PX = 13.0


def chart_picture(horn: Horn) -> Picture:
    """Draw the chart of a horn."""
    out = Drawing()
    out.text(12, 30, horn.description, size=20, bold=True)
    slide = horn.family == "slide"
    said = ("Every position to scale, 0 is the stop; sounding pitch. Filled: the usual choice. Ring: another good one. "
            "Small: possible, but out of tune or out of reach." if slide else
            "Sounding pitch. Filled: the usual choice. Ring: another good one. Small: possible, not advised. Left of "
            "the middle flat, right of it sharp, in cents.")
    out.text(12, 48, said, size=11, color=FAINT)
    top = _rulers(out, horn, 64.0) if slide else _cents_ruler(out, horn, 64.0)
    low, high = sounding_range(horn)
    y = top + 12
    guides = _places(horn) if slide else []
    bottom = y + _ROW_PX * (high - low + 1)
    for x in guides:
        out.line(x, top, x, bottom, color=RULE, width=0.8)
    words = []
    for row, midi in enumerate(range(high, low - 1, -1)):
        at = y + row * _ROW_PX
        if row % 2 == 0:
            out.rect(12, at, _RIGHT + 8 - 12, _ROW_PX, fill="#f4f6fa")
            for x in guides:
                out.line(x, at, x, at + _ROW_PX, color=RULE, width=0.8)
        usual = chart_choice(horn, midi)
        out.text(18, at + 14, pitch_of(midi).pretty, size=12, bold=True)
        out.text(52, at + 14, shown(usual.label) if usual else "none", size=12, bold=usual is not None,
                 color=INK if usual else FAINT)
        _choices(out, horn, midi, usual, at + _ROW_PX / 2)
        words.append(f"{pitch_of(midi).pretty} {shown(usual.label) if usual else 'none'}")
    return Picture(width=_WIDTH, height=bottom + 12, title=f"Chart of the {horn.description}",
                   desc=f"Usual choices from high to low: {', '.join(words)}.", body=out.body())


def _x_mm(horn: Horn, mm: float) -> float:
    return _LEFT + (_RIGHT - _LEFT) * mm / horn.slide_end_mm


def _places(horn: Horn) -> list[float]:
    return [_x_mm(horn, position_place_mm(horn, (), n)) for n in range(1, positions(horn) + 1)]


def _rulers(out: Drawing, horn: Horn, y: float) -> float:
    """Draw one ruler for each valve state along the same slide; return where they end."""
    for place, held in enumerate(states(horn)):
        name = "".join(held)
        out.rect(_LEFT, y, _RIGHT - _LEFT, 22, fill=HELD[min(len(held), 3)], stroke="#8a93a0")
        out.text(_LEFT - 8, y + 15, name or "open", size=12, bold=True, anchor="end")
        for number in range(1, positions(horn, held) + 1):
            x = _x_mm(horn, position_place_mm(horn, held, number))
            out.line(x, y, x, y + 22, color=INK, width=1.6)
            # The last stands at the slide's very end: its name goes to the left of its line.
            late = x > _RIGHT - 26
            out.text(x - 4 if late else x + 4, y + 15, f"{name}{number}", size=12, bold=place == 0,
                     anchor="end" if late else "start")
        y += 26
    for mm in range(0, int(horn.slide_end_mm) + 1, 50):
        x = _x_mm(horn, mm)
        out.line(x, y, x, y + (6 if mm % 100 == 0 else 4), color=FAINT)
        if mm % 100 == 0:
            out.text(x, y + 17, f"{mm} mm", size=10, color=FAINT, anchor="middle" if mm else "start")
    return y + 22


def _limit(horn: Horn) -> float:
    low, high = sounding_range(horn)
    most = max(abs(one.off_cents) for midi in range(low, high + 1) for one in candidates(horn, midi))
    return 10.0 * int(most / 10 + 1)


def _x_cents(cents: float, limit: float) -> float:
    middle, half = (_LEFT + _RIGHT) / 2, (_RIGHT - _LEFT) / 2 - 16
    return middle + half * cents / limit


def _cents_ruler(out: Drawing, horn: Horn, y: float) -> float:
    limit = _limit(horn)
    for cents in range(-int(limit), int(limit) + 1, 10):
        x = _x_cents(cents, limit)
        out.line(x, y + 14, x, y + 22, color=FAINT)
        out.text(x, y + 10, f"{cents:+d}" if cents else "in tune", size=10, color=INK if not cents else FAINT,
                 anchor="middle", bold=not cents)
    return y + 22


def _choices(out: Drawing, horn: Horn, midi: int, usual: Candidate | None, y: float) -> None:
    limit = _limit(horn) if horn.family == "valves" else 0.0

    def x(one: Candidate) -> float:
        return _x_mm(horn, one.out_mm) if horn.family == "slide" else _x_cents(one.off_cents, limit)

    if horn.family == "valves":
        out.line(_x_cents(0, limit), y - _ROW_PX / 2, _x_cents(0, limit), y + _ROW_PX / 2, color="#8a93a0")
    # Dots that nearly touch share one name tag, in their order; the usual choice is drawn last, on top.
    groups: list[list[Candidate]] = []
    for one in sorted(candidates(horn, midi), key=lambda way: (x(way), way is not usual)):
        if groups and x(one) - x(groups[-1][-1]) < _NEAR_PX:
            groups[-1].append(one)
        else:
            groups.append([one])
    spans = [(x(group[0]) - 6, x(group[-1]) + 6) for group in groups]
    for group in groups:
        for one in sorted(group, key=lambda way: (way is usual, way.advice is None)):
            if one is usual:
                out.dot(x(one), y, 4.6)
            elif one.advice is None:
                out.dot(x(one), y, 4.0, fill="#ffffff", stroke=INK)
            else:
                out.dot(x(one), y, 2.2, fill="#8a93a0")
    # The usual choice first, then good ones, so that these get the room beside their dots.
    order = sorted(range(len(groups)), key=lambda k: (usual not in groups[k],
                                                      all(one.advice is not None for one in groups[k])))
    for k in order:
        group = groups[k]
        good = usual in group or any(one.advice is None for one in group)
        label = ", ".join(shown(one.label) for one in group)
        size = 11.0 if good else 9.0
        wide = size * 0.54 * len(label) + 2
        others = [span for j, span in enumerate(spans) if j != k]
        for left in (spans[k][1] + 1, spans[k][0] - 1 - wide):
            if left > _LEFT - 14 and left + wide <= _RIGHT + 10 and all(
                    left + wide <= a or left >= b for a, b in others):
                out.text(left, y + 4, label, size=size, bold=group == [usual], color=INK if good else FAINT)
                spans.append((left, left + wide))
                break

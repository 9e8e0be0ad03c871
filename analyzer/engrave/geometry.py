"""Where things stand in the engraver's picture: heads of notes, staves, and the lowest ink below each staff.

Read from the text of the picture: the engraver writes every element in one form, and searching text is many times
faster than walking a tree of ten thousand elements. All measures are the engraver's units, 180 to a staff space.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from analyzer.engrave.fonts import data_path

_NUMBER = r"(-?[\d.]+)"
_PLACED = rf'<use xlink:href="#[^"]*?([0-9A-F]{{4,5}})" transform="translate\({_NUMBER}, {_NUMBER}\) scale\({_NUMBER}'
_use = re.compile(_PLACED)
# From a note's group to the first sign within its head; another note does not lie between.
_head = re.compile(r'<g id="[^"]*?n(\d+)" class="note">(?:(?!<g id).)*?class="notehead">' + _PLACED)
_staff = re.compile(r'class="staff">((?:<path d="[^"]*"[^>]*/>)+)')
_line = re.compile(rf'd="M{_NUMBER} {_NUMBER} L{_NUMBER} {_NUMBER}"')
_curve = re.compile(r'd="M([^"L]*C[^"]*)"')
_points = re.compile(r'points="([^"]*)"')
_round = re.compile(rf'cy="{_NUMBER}"[^>]* ry="{_NUMBER}"')
_box = re.compile(rf'<rect\b[^>]*? y="{_NUMBER}"[^>]*? height="{_NUMBER}"')
_text = re.compile(rf'<text\b[^>]*? y="{_NUMBER}"[^>]*>(.*?)</text>')
_size = re.compile(rf'font-size="{_NUMBER}px"')
_TEXT_RISE, _TEXT_DEPTH = 0.86, 0.22
"""How far text reaches above and below its base line: the note of a metronome mark, descenders. [em]"""
_LEAST_BELOW = 60.0
"""A row keeps as far from an empty staff's lowest line as if something stood a third of a space below it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """Head of a note: its middle, and half its width."""

    x: float
    y: float
    half: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Staff:
    """One staff of a system: top and bottom line, left and right end, and the lowest ink that belongs to it."""

    top: float
    bottom: float
    left: float
    right: float
    ink: float


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """One line of music: how many measures, heads by the ordinal of the note, staves from the top, extent of ink."""

    measures: int
    heads: Mapping[int, Head]
    staves: tuple[Staff, ...]
    top: float
    bottom: float

    @property
    def has_lyrics(self) -> bool:
        """Whether something stands below the ink that the staves' marks keep clear of."""
        return self.bottom > max((staff.ink for staff in self.staves), default=self.bottom)

    def staff_of(self, head: Head) -> Staff:
        """Return the staff that a head stands on or nearest to."""
        return min(self.staves, key=lambda staff: max(staff.top - head.y, head.y - staff.bottom, 0.0))


@cache
def _glyphs() -> Mapping[str, tuple[float, float, float]]:
    """Advance width of the music face's glyphs, and how far they reach above and below the base line. [em]"""
    sheet = (data_path() / "Leipzig.xml").read_text(encoding="utf-8")
    return {code: (float(wide) / 1000, (float(y) + float(height)) / 1000, -float(y) / 1000) for code, y, height, wide in
            re.findall(r'<g c="([0-9A-F]+)" x="[^"]*" y="([^"]*)" w="[^"]*" h="([^"]*)" h-a-x="([^"]*)"', sheet)}


def system_of(svg: str) -> System:
    """Read one system from its text, given without what makes way for marks (lyrics)."""
    glyphs = _glyphs()
    heads = {}
    for ref, code, x, y, scale in _head.findall(svg):
        half = glyphs.get(code, (0.314, 0.0, 0.0))[0] * 500 * float(scale)
        heads[int(ref)] = Head(x=float(x) + half, y=float(y), half=half)
    # From top and bottom line of each staff to its left and right end; every measure has a piece of it.
    lines: dict[tuple[float, float], tuple[float, float]] = {}
    for staff in _staff.findall(svg):
        drawn = [tuple(map(float, found)) for found in _line.findall(staff)]
        key, (x1, _, x2, _) = (drawn[0][1], drawn[-1][1]), drawn[0]
        left, right = lines.get(key, (x1, x2))
        lines[key] = (min(left, x1), max(right, x2))
    if not lines:
        return System(measures=0, heads={}, staves=(), top=0.0, bottom=0.0)
    spans = sorted(lines)
    # What lies above the middle between two staves belongs to the upper one.
    ends = [(upper[1] + lower[0]) / 2 for upper, lower in pairwise(spans)] + [float("inf")]
    inks = [bottom + _LEAST_BELOW for _, bottom in spans]
    top = spans[0][0]
    for high, low in _inks(svg, glyphs):
        top = min(top, high)
        if low > inks[0]:
            place = next(k for k, end in enumerate(ends) if low < end)
            inks[place] = max(inks[place], low)
    staves = tuple(Staff(top=span[0], bottom=span[1], left=lines[span][0], right=lines[span][1], ink=ink)
                   for span, ink in zip(spans, inks, strict=True))
    return System(measures=svg.count('class="measure"'), heads=heads, staves=staves, top=top, bottom=max(inks))


def _inks(svg: str, glyphs: Mapping[str, tuple[float, float, float]]) -> Iterable[tuple[float, float]]:
    """Yield from where to where down the page everything drawn reaches."""
    for code, _, y, scale in _use.findall(svg):
        _, rise, depth = glyphs.get(code, (0.0, 0.25, 0.25))
        yield float(y) - rise * 1000 * float(scale), float(y) + depth * 1000 * float(scale)
    for _, one, _, two in _line.findall(svg):
        yield (float(one), float(two)) if float(one) < float(two) else (float(two), float(one))
    for points in _points.findall(svg):
        ys = [float(point.split(",")[1]) for point in points.split()]
        yield min(ys), max(ys)
    for curve in _curve.findall(svg):
        yield _reach(curve)
    for y, reach in _round.findall(svg):
        yield float(y) - float(reach), float(y) + float(reach)
    for y, height in _box.findall(svg):
        yield float(y), float(y) + float(height)
    for y, inside in _text.findall(svg):
        size = max(map(float, _size.findall(inside)), default=0.0)
        yield float(y) - _TEXT_RISE * size, float(y) + _TEXT_DEPTH * size


def _reach(path: str) -> tuple[float, float]:
    """Highest and lowest point of cubic curves, looked at in four places of each and a little on the safe side."""
    ys = [float(number) for number in re.findall(r"-?[\d.]+", path)[1::2]]
    found = [ys[0]]
    for a, b, c, d in (ys[k:k + 4] for k in range(0, len(ys) - 3, 3)):
        found += [d, *((1 - t)**3 * a + 3 * t * (1 - t)**2 * b + 3 * t * t * (1 - t) * c + t**3 * d
                       for t in (0.25, 0.5, 0.75))]
    return min(found) - 12.0, max(found) + 12.0

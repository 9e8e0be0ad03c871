"""Where things stand in the engraver's picture: heads of notes, staves, and the lowest ink below each staff.

Read from the picture's tree, by class tokens and ids: which attributes an element has beside them, and in what order,
depends on the score (a colour, a type of barline, the like). All measures are the engraver's units, 180 to a staff
space.
"""

import re
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from lxml import etree

from analyzer.engrave.fonts import data_path
from analyzer.engrave.rests import measures_of_rest
from analyzer.engrave.style import matrices, numbers
from analyzer.engrave.svg import HREF, SVG, classes, code_of

_GROUP, _USE, _PATH = (f"{{{SVG}}}{name}" for name in ("g", "use", "path"))
MAKES_WAY = frozenset({"tempo", "reh", "mNum", "ending", "repeatMark", "dir", "harm"})
"""What stands above a staff for everyone: it keeps above marks that stand there."""
_TEXT_RISE, _TEXT_DEPTH = 0.86, 0.22
"""How far text reaches above and below its base line: the note of a metronome mark, descenders. [em]"""
_NO_HEAD = 100.0
"""Half the room of a note that shows no head: about that of a black one."""
_FIRST_HEAD, _LAST_HEAD = "E0A0", "E1CF"
"""Code points of heads, of all shapes: the ranges Noteheads to Shape note noteheads supplement of SMuFL 1.4."""
_UNKNOWN = (0.314, 0.25, 0.25)       # a glyph that the face's metadata does not list
_LINE = re.compile(r"M(-?[\d.]+)[ ,](-?[\d.]+) ?L(-?[\d.]+)[ ,](-?[\d.]+)")
_JOINED = re.compile(r"M(-?[\d.]+) (-?[\d.]+)H(-?[\d.]+)")
Signs = Mapping[str, tuple[str, float]]
"""Code point and scale of each sign by its name, as `tidy.scales_of` gives them."""
NO_SIGNS: Signs = {}
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
    """One staff of a system: top and bottom line, left and right end, lowest and highest ink that belong to it.

    `rise` leaves out what makes way for marks above the staff (`MAKES_WAY`).
    """

    top: float
    bottom: float
    left: float
    right: float
    ink: float
    rise: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """One line of music: how many measures, heads by the ordinal of the note, staves from the top, extent of ink.

    `indices` are those of its measures, `rests` how many measures of rest each stands for, 0 where something is played.
    """

    measures: int
    heads: Mapping[int, Head]
    staves: tuple[Staff, ...]
    top: float
    bottom: float
    indices: tuple[int, ...] = ()
    rests: tuple[int, ...] = ()

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


def note_ref(element: etree._Element) -> int | None:
    """Return the ordinal of the note that a group draws, None for other elements.

    Only the copy's own ids (``n12``) count; the engraver makes up others, with letters in them.
    """
    ref = element.get("id") or ""
    ours = ref[:1] == "n" and ref[1:].isdecimal() and len(ref) < 8 and "note" in classes(element)
    return int(ref[1:]) if ours else None


def system_of(system: etree._Element, signs: Signs = NO_SIGNS) -> System:
    """Measure one system of the engraver's picture; what makes way for marks (lyrics) counts for its `bottom` only.

    `signs` are those of `tidy.scales_of`, for a picture that is tidied.
    """
    found = _Found(signs)
    found.look(system, moves=False, sung=False, ref=None)
    heads, lines = found.heads, found.lines
    if not lines and heads:
        # A staff that shows no lines has its notes all the same.
        xs, ys = [head.x for head in heads.values()], [head.y for head in heads.values()]
        lines[min(ys), max(ys)] = (min(xs) - _LEAST_BELOW, max(xs) + _LEAST_BELOW)
    if not lines:
        return System(measures=found.measures, heads={}, staves=(), top=0.0, bottom=0.0)
    spans = sorted(lines)
    # What lies above the middle between two staves belongs to the upper one.
    ends = [(upper[1] + lower[0]) / 2 for upper, lower in pairwise(spans)]
    lowest = [bottom + _LEAST_BELOW for _, bottom in spans]
    highest = [top - _LEAST_BELOW for top, _ in spans]
    for high, _ in found.inks:
        place = bisect_right(ends, high) if ends else 0
        highest[place] = min(highest[place], high)
    for _, low in (*found.inks, *found.moving):
        if low > lowest[0]:
            place = bisect_right(ends, low) if ends else 0
            lowest[place] = max(lowest[place], low)
    staves = tuple(Staff(top=span[0], bottom=span[1], left=lines[span][0], right=lines[span][1], ink=ink,
                         rise=rise)
                   for span, ink, rise in zip(spans, lowest, highest, strict=True))
    return System(measures=found.measures, heads=heads, staves=staves,
                  top=min(spans[0][0], min((high for high, _ in (*found.inks, *found.moving)), default=spans[0][0])),
                  bottom=max((*lowest, *(low for _, low in found.verses))), indices=tuple(found.indices),
                  rests=tuple(found.rests))


class _Found:
    """What one look at a system gathers."""

    def __init__(self, signs: Signs) -> None:
        self.signs = signs
        self.known = {f"#{name}": (*_extent(code, scale), _FIRST_HEAD <= code <= _LAST_HEAD)
                      for name, (code, scale) in signs.items()}
        self.heads: dict[int, Head] = {}
        self.indices: list[int] = []
        self.rests: list[int] = []
        self.measures = 0
        # From top and bottom line of each staff to its left and right end; every measure has a piece of it.
        self.lines: dict[tuple[float, float], tuple[float, float]] = {}
        # From where to where down the page what is drawn reaches: what stays, what makes way for marks above, lyrics.
        self.inks: list[tuple[float, float]] = []
        self.moving: list[tuple[float, float]] = []
        self.verses: list[tuple[float, float]] = []
        self._rest = 0
        self._plays = False

    def look(self, group: etree._Element, *, moves: bool, sung: bool, ref: int | None) -> None:
        """Look at everything in a group, which is that of the note `ref`, if of one."""
        signs, known = self.signs, self.known
        inks = self.verses if sung else self.moving if moves else self.inks
        for child in group:
            tag = child.tag
            if tag == _GROUP:
                self._group(child, moves, sung, ref)
            elif tag == _USE:
                sign = known.get(child.get("href") or "")
                if sign is None or child.get("transform") is not None:
                    code, x, y, scale = _placed(child, signs)
                    half, rise, depth = _extent(code, scale)
                    head = _FIRST_HEAD <= code <= _LAST_HEAD
                else:
                    x, y = float(child.get("x") or 0), float(child.get("y") or 0)
                    half, rise, depth, head = sign
                inks.append((y - rise, y + depth))
                if head and ref is not None and ref not in self.heads:
                    self.heads[ref] = Head(x=x + half, y=y, half=half)
            elif tag == _PATH and (line := _LINE.fullmatch(child.get("d") or "")) is not None:
                one, two = float(line[2]), float(line[4])
                inks.append((one, two) if one < two else (two, one))
            elif isinstance(tag, str):
                inks.extend(_reaches(child, signs))

    def _group(self, group: etree._Element, moves: bool, sung: bool, ref: int | None) -> None:
        kinds = classes(group)
        if "note" in kinds:
            self._plays = True
            ref = note_ref(group)
            self.look(group, moves=moves, sung=sung, ref=ref)
            if ref is not None and ref not in self.heads and (head := _head_of(group, self.signs)) is not None:
                self.heads[ref] = head
            return
        if "measure" in kinds:
            name = group.get("id") or ""
            self.measures += 1
            self._rest, self._plays = 0, False
            self.look(group, moves=moves, sung=sung, ref=ref)
            if name[:1] == "m" and name[1:].isdecimal():
                self.indices.append(int(name[1:]))
                self.rests.append(0 if self._plays else self._rest)
            return
        if "staff" in kinds:
            self._staff(group)
        elif "multiRest" in kinds:
            self._rest = measures_of_rest(group.get("id") or "")
        elif "mRest" in kinds:
            self._rest = max(self._rest, 1)
        self.look(group, moves=moves or not MAKES_WAY.isdisjoint(kinds), sung=sung or "verse" in kinds, ref=ref)

    def _staff(self, staff: etree._Element) -> None:
        drawn = sorted((line for path in staff.iterchildren(_PATH) for line in straight_lines(path)),
                       key=lambda line: line[1])
        if drawn:
            key, (x1, _, x2, _) = (drawn[0][1], drawn[-1][1]), drawn[0]
            left, right = self.lines.get(key, (x1, x2))
            self.lines[key] = (min(left, x1), max(right, x2))


def lowest_of(group: etree._Element, signs: Signs = NO_SIGNS) -> float:
    """Return how far down what a group draws reaches; minus infinity if it draws nothing."""
    return max((low for element in group.iter(etree.Element) for _, low in _reaches(element, signs)),
               default=float("-inf"))


def rests_of(system: etree._Element) -> list[tuple[etree._Element, tuple[str, float, float]]]:
    """Return the rests of many measures of a system: their id, their middle, and the lowest line of their staff."""
    found = []
    for staff in (group for group in system.iter(_GROUP) if "staff" in classes(group)):
        lines = [line for path in staff.iterchildren(_PATH) for line in straight_lines(path)]
        for rest in (group for group in staff.iter(_GROUP) if "multiRest" in classes(group)):
            bars = [(float(bar.get("x") or 0), float(bar.get("width") or 0)) for bar in rest.iter(f"{{{SVG}}}rect")]
            if lines and bars:
                left, right = min(x for x, _ in bars), max(x + wide for x, wide in bars)
                found.append((rest, (rest.get("id") or "", (left + right) / 2, max(line[3] for line in lines))))
    return found


def _straight(path: etree._Element) -> tuple[float, float, float, float] | None:
    """Return the ends of a path that is one straight line."""
    found = _LINE.fullmatch(path.get("d") or "")
    return (float(found[1]), float(found[2]), float(found[3]), float(found[4])) if found is not None else None


def straight_lines(path: etree._Element) -> Iterable[tuple[float, float, float, float]]:
    """Yield the ends of the lines of a path: it is one, or the joined lines of a staff."""
    if (line := _straight(path)) is not None:
        yield line
    else:
        for x1, y, x2 in _JOINED.findall(path.get("d") or ""):
            yield float(x1), float(y), float(x2), float(y)


def _head_of(note: etree._Element, signs: Signs) -> Head | None:
    """Return the place of a note without a head (type "none"): of its stem, dots or flag."""
    for path in note.iter(f"{{{SVG}}}path"):
        found = numbers(path.get("d") or "")
        if len(found) >= 2:
            return Head(x=found[0], y=found[1], half=_NO_HEAD)
    for sign in note.iter(_USE, f"{{{SVG}}}ellipse"):
        if sign.tag == _USE:
            _, x, y, _ = _placed(sign, signs)
        else:
            x, y = float(sign.get("cx") or 0), float(sign.get("cy") or 0)
        return Head(x=x, y=y, half=_NO_HEAD)
    return None


def _extent(code: str, scale: float) -> tuple[float, float, float]:
    """Return half the width of a sign, and how far it reaches above and below its place."""
    wide, rise, depth = _glyphs().get(code, _UNKNOWN)
    return wide * 500 * scale, rise * 1000 * scale, depth * 1000 * scale


def _placed(use: etree._Element, signs: Signs) -> tuple[str, float, float, float]:
    """Return code, place and scale of a sign of the music face."""
    name = use.get("href") or use.get(HREF) or ""
    code, scale = signs.get(name[1:]) or (code_of(name), 1.0)
    x, y = float(use.get("x") or 0), float(use.get("y") or 0)
    if (turned := use.get("transform")) is not None:
        for matrix in matrices(turned):
            x, y, scale = x + scale * matrix[4], y + scale * matrix[5], scale * max(abs(matrix[0]), abs(matrix[1]))
    return code, x, y, scale


def _reaches(element: etree._Element, signs: Signs) -> Iterable[tuple[float, float]]:
    tag = etree.QName(element).localname
    if tag == "use":
        code, _, y, scale = _placed(element, signs)
        _, rise, depth = _extent(code, scale)
        yield y - rise, y + depth
    elif tag == "path":
        outline = element.get("d") or ""
        if "C" in outline:
            yield _reach(outline)
        elif (line := _straight(element)) is not None:
            yield min(line[1], line[3]), max(line[1], line[3])
    elif tag in ("polygon", "polyline"):
        ys = numbers(element.get("points") or "")[1::2]
        if ys:
            yield min(ys), max(ys)
    elif tag in ("ellipse", "circle"):
        y, reach = float(element.get("cy") or 0), float(element.get("ry") or element.get("r") or 0)
        yield y - reach, y + reach
    elif tag == "rect":
        y = float(element.get("y") or 0)
        yield y, y + float(element.get("height") or 0)
    elif tag == "text" and element.get("y"):
        y = float(element.get("y") or 0)
        size = max((found[0] for span in element.iter(etree.Element) if (found := numbers(span.get("font-size", "")))),
                   default=0.0)
        yield y - _TEXT_RISE * size, y + _TEXT_DEPTH * size


def _reach(path: str) -> tuple[float, float]:
    """Highest and lowest point of cubic curves, looked at in four places of each and a little on the safe side."""
    ys = [float(number) for number in re.findall(r"-?[\d.]+", path)[1::2]]
    found = [ys[0]]
    for a, b, c, d in (ys[k:k + 4] for k in range(0, len(ys) - 3, 3)):
        found += [d, *((1 - t)**3 * a + 3 * t * (1 - t)**2 * b + 3 * t * t * (1 - t) * c + t**3 * d
                       for t in (0.25, 0.5, 0.75))]
    return min(found) - 12.0, max(found) + 12.0

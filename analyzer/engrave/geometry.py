"""Where things stand in the engraver's picture: heads of notes, staves, and the lowest ink below each staff.

Read from the picture's tree, by class tokens and ids: which attributes an element has beside them, and in what order,
depends on the score (a colour, a type of barline, the like). All measures are the engraver's units, 180 to a staff
space.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from lxml import etree

from analyzer.engrave.fonts import data_path
from analyzer.engrave.rests import measures_of_rest
from analyzer.engrave.style import matrices, numbers
from analyzer.engrave.svg import HREF, SVG, classes, code_of

_GROUP = f"{{{SVG}}}g"
MAKES_WAY = frozenset({"tempo", "reh", "mNum", "ending", "repeatMark", "dir", "harm"})
"""What stands above a staff for everyone: it keeps above marks that stand there."""
_TEXT_RISE, _TEXT_DEPTH = 0.86, 0.22
"""How far text reaches above and below its base line: the note of a metronome mark, descenders. [em]"""
_NO_HEAD = 100.0
"""Half the room of a note that shows no head: about that of a black one."""
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


def system_of(system: etree._Element) -> System:
    """Measure one system of the engraver's picture; what makes way for marks (lyrics) counts for its `bottom` only."""
    glyphs = _glyphs()
    heads: dict[int, Head] = {}
    measures = 0
    indices: list[int] = []
    rests: list[int] = []
    # From top and bottom line of each staff to its left and right end; every measure has a piece of it.
    lines: dict[tuple[float, float], tuple[float, float]] = {}
    extent: list[tuple[float, float]] = []
    for group in system.iter(_GROUP):
        kinds = classes(group)
        if "measure" in kinds:
            measures += 1
            name = group.get("id") or ""
            if name[:1] == "m" and name[1:].isdecimal():
                indices.append(int(name[1:]))
                rests.append(_rest_of(group))
        elif "staff" in kinds:
            drawn = sorted((line for path in group.iterchildren(f"{{{SVG}}}path")
                            if (line := _straight(path)) is not None), key=lambda line: line[1])
            if drawn:
                key, (x1, _, x2, _) = (drawn[0][1], drawn[-1][1]), drawn[0]
                left, right = lines.get(key, (x1, x2))
                lines[key] = (min(left, x1), max(right, x2))
        elif "note" in kinds and (ref := note_ref(group)) is not None:
            head = _head_of(group, glyphs)
            if head is not None:
                heads[ref] = head
    inks = list(_inks(system, glyphs, extent))
    if not lines and heads:
        # A staff that shows no lines has its notes all the same.
        xs, ys = [head.x for head in heads.values()], [head.y for head in heads.values()]
        lines[min(ys), max(ys)] = (min(xs) - _LEAST_BELOW, max(xs) + _LEAST_BELOW)
    if not lines:
        return System(measures=measures, heads={}, staves=(), top=0.0, bottom=0.0)
    spans = sorted(lines)
    # What lies above the middle between two staves belongs to the upper one.
    ends = [(upper[1] + lower[0]) / 2 for upper, lower in pairwise(spans)] + [float("inf")]
    lowest = [bottom + _LEAST_BELOW for _, bottom in spans]
    highest = [top - _LEAST_BELOW for top, _ in spans]
    top = spans[0][0]
    for high, low, makes_way in inks:
        top = min(top, high)
        if not makes_way:
            place = next(k for k, end in enumerate(ends) if high < end)
            highest[place] = min(highest[place], high)
        if low > lowest[0]:
            place = next(k for k, end in enumerate(ends) if low < end)
            lowest[place] = max(lowest[place], low)
    staves = tuple(Staff(top=span[0], bottom=span[1], left=lines[span][0], right=lines[span][1], ink=ink,
                         rise=rise)
                   for span, ink, rise in zip(spans, lowest, highest, strict=True))
    return System(measures=measures, heads=heads, staves=staves, top=top,
                  bottom=max((*lowest, *(low for _, low in extent))), indices=tuple(indices), rests=tuple(rests))


def lowest_of(group: etree._Element) -> float:
    """Return how far down what a group draws reaches; minus infinity if it draws nothing."""
    glyphs = _glyphs()
    return max((low for element in group.iter(etree.Element) for _, low in _reaches(element, glyphs)),
               default=float("-inf"))


def rests_of(system: etree._Element) -> list[tuple[etree._Element, tuple[str, float, float]]]:
    """Return the rests of many measures of a system: their id, their middle, and the lowest line of their staff."""
    found = []
    for staff in (group for group in system.iter(_GROUP) if "staff" in classes(group)):
        lines = [line for path in staff.iterchildren(f"{{{SVG}}}path") if (line := _straight(path)) is not None]
        for rest in (group for group in staff.iter(_GROUP) if "multiRest" in classes(group)):
            bars = [(float(bar.get("x") or 0), float(bar.get("width") or 0)) for bar in rest.iter(f"{{{SVG}}}rect")]
            if lines and bars:
                left, right = min(x for x, _ in bars), max(x + wide for x, wide in bars)
                found.append((rest, (rest.get("id") or "", (left + right) / 2, max(line[3] for line in lines))))
    return found


def _rest_of(measure: etree._Element) -> int:
    """Return how many measures of rest a measure stands for, 0 where something is played in it."""
    count = 0
    for group in measure.iter(_GROUP):
        kinds = classes(group)
        if "note" in kinds:
            return 0
        if "multiRest" in kinds:
            count = measures_of_rest(group.get("id") or "")
        elif "mRest" in kinds:
            count = max(count, 1)
    return count


def _straight(path: etree._Element) -> tuple[float, float, float, float] | None:
    """Return the ends of a path that is one straight line."""
    outline = path.get("d") or ""
    found = numbers(outline)
    return (found[0], found[1], found[2], found[3]) if len(found) == 4 and "L" in outline else None


def _head_of(note: etree._Element, glyphs: Mapping[str, tuple[float, float, float]]) -> Head | None:
    """Return the place of a note's head: of its first sign, else of what else is drawn for the note."""
    for group in note.iter(_GROUP):
        if "notehead" in classes(group):
            for sign in group.iter(f"{{{SVG}}}use"):
                code, x, y, scale = _placed(sign)
                half = glyphs.get(code, (0.314, 0.0, 0.0))[0] * 500 * scale
                return Head(x=x + half, y=y, half=half)
    # A head that the score wants left out (type "none") leaves a stem, dots or a flag.
    for path in note.iter(f"{{{SVG}}}path"):
        found = numbers(path.get("d") or "")
        if len(found) >= 2:
            return Head(x=found[0], y=found[1], half=_NO_HEAD)
    for sign in note.iter(f"{{{SVG}}}use", f"{{{SVG}}}ellipse"):
        if sign.tag.endswith("use"):
            _, x, y, _ = _placed(sign)
        else:
            x, y = float(sign.get("cx") or 0), float(sign.get("cy") or 0)
        return Head(x=x, y=y, half=_NO_HEAD)
    return None


def _placed(use: etree._Element) -> tuple[str, float, float, float]:
    """Return code, place and scale of a sign of the music face."""
    x, y, scale = float(use.get("x") or 0), float(use.get("y") or 0), 1.0
    for matrix in matrices(use.get("transform") or ""):
        x, y, scale = x + scale * matrix[4], y + scale * matrix[5], scale * max(abs(matrix[0]), abs(matrix[1]))
    return code_of(use.get(HREF) or use.get("href") or ""), x, y, scale


def _inks(system: etree._Element, glyphs: Mapping[str, tuple[float, float, float]],
          verses: list[tuple[float, float]]) -> Iterable[tuple[float, float, bool]]:
    """Yield from where to where down the page everything drawn reaches, and whether it makes way for marks above.

    What lyrics reach goes to `verses`.
    """
    moves = {element for group in system.iter(_GROUP) if not MAKES_WAY.isdisjoint(classes(group))
             for element in group.iter()}
    sung = {element for group in system.iter(_GROUP) if "verse" in classes(group) for element in group.iter()}
    for element in system.iter(etree.Element):
        for reach in _reaches(element, glyphs):
            if element in sung:
                verses.append(reach)
            else:
                yield (*reach, element in moves)


def _reaches(element: etree._Element,
             glyphs: Mapping[str, tuple[float, float, float]]) -> Iterable[tuple[float, float]]:
    tag = etree.QName(element).localname
    if tag == "use":
        code, _, y, scale = _placed(element)
        _, rise, depth = glyphs.get(code, (0.0, 0.25, 0.25))
        yield y - rise * 1000 * scale, y + depth * 1000 * scale
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

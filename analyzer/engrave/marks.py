"""Our marks under an engraved system: rows of labels that keep apart, in three forms.

The forms differ in weight and shape, so that they stay apart in grey and in a poor copy:

* the usual choice: upright text;
* a choice that differs from the usual chart: bold text in a tray, a line below it with both ends turned up; the
  neighbours of one group stand in one tray, left open where the group goes on in another system;
* a note beyond the horn: a white × in a black square, and the note's head struck out.

Where the slide moves for a chord, the way of it stands under the label in small type, in mm: ``out 8``, ``in 12``.
Words need no key; an arrow to the right would mean out for one player and onwards for another.

A row stands below everything that the engraver drew under the staff, so that nothing touches a mark; where the part has
lyrics, it stands above the notes (fingerings outside slurs and clear of everything: LilyPond, *Notation Reference*,
Fingering instructions). Size: figures of 2.6 mm are read from 75 cm by most readers (0.003 radians, 2.25 mm, by nine of
ten; "Letter Size and Legibility", Human Factors 21(6), 1979).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from analyzer.engrave.fonts import FIGURE_EM, MARK_STACK, TEXT_STACK, Face, runs, width_em
from analyzer.engrave.geometry import Head, Staff, System
from analyzer.engrave.lettering import line_of, words
from analyzer.marking.mark import Mark

MARK_SIZE = 357.0
"""Size of a label, whose figures are 2.6 mm high where a staff is 7.2 mm. [engraver's units]"""
ROW_PITCH = 470.0
"""From one row to the next. [engraver's units] Room for the tray of one and the square of the next."""
_FIRST_DROP = 410.0
"""From the lowest ink to the first row's base line. [engraver's units]

A square is 296 high; the rest is air, judged by eye on the samples. More would tear marks from their notes, less would
let them touch accents in poor print.
"""
_TRAY_DEPTH = 90.0
_LIFT = 190.0                        # from the highest ink to the base line of a row above it: the tray and air
_GAP_EM = 0.3                        # least distance between neighbours in a row
_SQUARE_EM = 0.93                    # side of the square of an unplayable note
_TRAY_EM = 0.06                      # how far the tray reaches beyond its text on each side
FAR = 180.0
"""A mark may stand one staff space beside its note. [engraver's units]

Measured on the samples: 0 but for quick notes with an attachment on most, where marks stand up to 1100 away until the
music is set wider, then 120.
"""
_SQUEEZES = (1.0, 0.88, 0.78, 0.7)
"""How narrow the labels of a crowded row are set before the music is set wider; their height stays. Judged by eye."""
_AIM_SIZE = 0.72 * MARK_SIZE
"""Size of the slide's move under a label: figures of 1.9 mm, read once in practice, not at each playing (judged)."""
_AIM_DROP = 300.0                    # from a label's base line to that of the move below it, clear of the tray
_SAME_PLACE = 60.0                   # two marks of one player whose heads are nearer than this go below each other
_NAME_SIZE = 0.8 * MARK_SIZE
_NAME_HANGS = 250.0                  # how far a row's name reaches into the margin at the left
_ORDINALS = ("1st", "2nd", "3rd")


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One mark in its row: where its note is, half its label's width, half the room it takes. [engraver's units]"""

    mark: Mark
    head: Head
    half: float
    room: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRow:
    """Marks side by side, by place, under one staff or above it; `nth` counts the rows from the staff on, from 0.

    `indent` is what names of rows take at the left of the staff, `centres` where the marks stand. [engraver's units]
    """

    staff: Staff
    nth: int
    indent: float
    placed: tuple[Placed, ...]
    above: bool = False
    squeeze: float = 1.0
    grown: float = 1.0
    centres: tuple[float, ...] = ()

    @property
    def size(self) -> float:
        """Size of the labels. [engraver's units]"""
        return MARK_SIZE * self.grown

    @property
    def last(self) -> int:
        """The last row it takes: the next one too where a slide's move stands under a label."""
        return self.nth + any(placed.mark.aim for placed in self.placed)

    @property
    def baseline(self) -> float:
        """Where the text stands. [engraver's units]"""
        if self.above:
            return self.staff.rise - (_LIFT + self.last * ROW_PITCH) * self.grown
        return self.staff.ink + (_FIRST_DROP + self.nth * ROW_PITCH) * self.grown


def height_of(rows: int, grown: float = 1.0) -> float:
    """Room that `rows` rows take above the highest ink, labels `grown` times their size. [engraver's units]"""
    return (_LIFT + (rows - 1) * ROW_PITCH + _SQUARE_EM * MARK_SIZE) * grown if rows else 0.0


def depth_of(rows: int, grown: float = 1.0) -> float:
    """Room that `rows` rows take below the lowest ink, labels `grown` times their size. [engraver's units]"""
    return (_FIRST_DROP + (rows - 1) * ROW_PITCH + _TRAY_DEPTH) * grown if rows else 0.0


def form_of(mark: Mark) -> str:
    """Return ``usual``, ``changed`` or ``unplayable``."""
    return "unplayable" if not mark.playable else "changed" if mark.changed else "usual"


def rows_each(marks: Iterable[Mark]) -> int:
    """Return how many rows each player's line takes: two where slides move for chords."""
    return 1 + any(mark.aim for mark in marks)


def row_of_line(marks: Iterable[Mark]) -> dict[int, int]:
    """Return the row of each player's line that has marks, counted from 0, the first player's on top.

    Where slides move for chords each line has a second row, for that.
    """
    marks = tuple(marks)
    each = rows_each(marks)
    return {line: each * nth for nth, line in enumerate(sorted({mark.line for mark in marks}))}


def rows_of(marks: Sequence[Mark]) -> int:
    """Return how many rows marks take where no player has two notes at once."""
    return len({mark.line for mark in marks}) * rows_each(marks)


def rows_under(
    system: System, marks: Mapping[int, Sequence[Mark]], order: Mapping[int, int], row_names: Mapping[int, str],
    *, each: int = 1, above: bool = False, grown: float = 1.0,
) -> list[MarkRow]:
    """Sort the marks (by the ordinal of their note) of one system into rows.

    `order` is that of `row_of_line`, `each` how many rows a line takes there (`rows_each`), `row_names` those of
    `row_names_of`; labels are `grown` times their usual size.

    Where a player has two notes at once, the second goes one row further down.
    """
    found: dict[tuple[float, int], list[Placed]] = {}
    halves: dict[tuple[str, str], float] = {}
    staves: dict[float, Staff] = {}
    for ref, head in sorted(system.heads.items(), key=lambda item: item[1].x):
        for mark in marks.get(ref, ()):
            form = form_of(mark)
            if (mark.text, form) not in halves:
                halves[mark.text, form] = _width(mark.text, form) * MARK_SIZE * grown / 2
            staff = system.staff_of(head)
            staves[staff.top] = staff
            nth = order[mark.line]
            while (row := found.setdefault((staff.top, nth), [])) and head.x - row[-1].head.x < _SAME_PLACE:
                nth += each
            half = halves[mark.text, form]
            row.append(Placed(mark=mark, head=head, half=half, room=max(half, _aim_width(mark.aim) * grown / 2)))
    longest = max((width_em(name, "italic") * _NAME_SIZE * grown for name in row_names.values()), default=0.0)
    indent = max(0.0, longest - _NAME_HANGS + _GAP_EM * MARK_SIZE * grown) if row_names else 0.0
    return [_squeezed(MarkRow(staff=staves[top], nth=nth, indent=indent, placed=tuple(row), above=above,
                              grown=grown))
            for (top, nth), row in sorted(found.items())]


def _squeezed(row: MarkRow) -> MarkRow:
    """Return a row with labels as narrow as they need to be to stand by their notes, if that can be."""
    tried = row
    for squeeze in _SQUEEZES:
        if squeeze < 1:
            tried = replace(row, squeeze=squeeze, placed=tuple(
                placed if form_of(placed.mark) == "unplayable" else replace(
                    placed, half=placed.half * squeeze, room=placed.room * squeeze)
                for placed in row.placed))
        tried = replace(tried, centres=tuple(spread(tried)))
        if farthest([tried]) <= FAR:
            break
    return tried


def _width(text: str, form: str) -> float:
    if form == "unplayable":
        return _SQUARE_EM
    return width_em(text, "mark") if form == "usual" else width_em(text, "mark-bold") + 2 * _TRAY_EM


def _aim_width(aim: str) -> float:
    return width_em(aim, "mark") * _AIM_SIZE if aim else 0.0


def spread(row: MarkRow) -> list[float]:
    """Return centres as near as can be to the notes' (least squares) that keep neighbours apart, within the staff.

    Derived: with ``y = centre - room taken by all before``, the rule is that y must not fall, and the best such y pools
    neighbours that break it to their mean; bounds cut it off (R. E. Barlow et al., *Statistical Inference under Order
    Restrictions*, Wiley, 1972, chapter 1).
    """
    offsets = [0.0]
    for one, two in pairwise(row.placed):
        offsets.append(offsets[-1] + one.room + two.room + _GAP_EM * row.size)
    pools: list[tuple[float, int]] = []
    for placed, offset in zip(row.placed, offsets, strict=True):
        total, count = placed.head.x - offset, 1
        while pools and pools[-1][0] / pools[-1][1] > total / count:
            more, of = pools.pop()
            total, count = total + more, count + of
        pools.append((total, count))
    least = row.staff.left + row.indent + row.placed[0].room
    most = max(least, row.staff.right - row.placed[-1].room - offsets[-1])
    means = [min(max(total / count, least), most) for total, count in pools for _ in range(count)]
    return [mean + offset for mean, offset in zip(means, offsets, strict=True)]


def farthest(rows: Iterable[MarkRow]) -> float:
    """Return how far the mark farthest from its note has to move to the side. [engraver's units]"""
    return max((abs(centre - placed.head.x) for row in rows
                for placed, centre in zip(row.placed, row.centres, strict=True)), default=0.0)


def row_names_of(marks: Iterable[Mark], given: Sequence[str] = ()) -> Mapping[int, str]:
    """Return what stands at the left of each line's row: the names given, else the player's number among several."""
    lines = sorted({mark.line for mark in marks})
    if not given and len(lines) < 2:
        return {}
    names = given or _ORDINALS
    return {line: names[line - 1] if line <= len(names) else f"{line}th" for line in lines}


def drawn(rows: Sequence[MarkRow], name: str, row_names: Mapping[int, str], token: str = "mark") -> str:
    """Return the marks of one system as SVG, a group with the id `name`; `row_names` are those of `row_names_of`.

    Each mark that names a choice is a group with the class `token`.
    """
    inner: dict[tuple[str, str], str] = {}
    size = rows[0].size if rows else MARK_SIZE
    out = [f'<g class="marks" id="{name}" stroke="none" font-family="{MARK_STACK}" '
           f'font-size="{size:g}px">']
    for row in rows:
        centres = row.centres
        for k, (placed, centre) in enumerate(zip(row.placed, centres, strict=True)):
            form, text = form_of(placed.mark), placed.mark.text
            if (text, form) not in inner:
                inner[text, form] = words(text, size, _face(form))
            out.append(_drawn(placed, centre, row.baseline, form, inner[text, form], _tray(row, centres, k), token,
                              row))
        said = row_names.get(row.placed[0].mark.line)
        if said:
            beside = line_of(said, row.staff.left - _NAME_HANGS, row.baseline, _NAME_SIZE * row.grown, "italic")
            out.append(f'<g class="rowName" font-family="{TEXT_STACK}">{beside}</g>')
    return "".join([*out, "</g>"])


def _face(form: str) -> Face:
    return "mark" if form == "usual" else "mark-bold"


def _tray(row: MarkRow, centres: Sequence[float], k: int) -> str:
    """Return the path of a changed mark's share of its group's tray: from the mark before, if that is of its group."""
    here, y = row.placed[k], row.baseline
    left, right = centres[k] - here.half, centres[k] + here.half
    low, up = y + 0.2 * row.size, y + 0.02 * row.size
    start = f"M{left:.0f} {up:.0f}V{low:.0f}"
    if here.mark.joins:
        begins = centres[k - 1] + row.placed[k - 1].half if k else left
        start = f"M{begins:.0f} {low:.0f}"
    goes_on = k + 1 < len(row.placed) and row.placed[k + 1].mark.joins
    return f"{start}H{right:.0f}" + ("" if goes_on else f"V{up:.0f}")


def _drawn(placed: Placed, centre: float, y: float, form: str, inner: str, tray: str, token: str,
           row: MarkRow) -> str:
    mark, squeeze, size = placed.mark, row.squeeze, row.size
    # Only what names a choice is a mark; the cross of an unplayable note is not.
    kinds = form if form == "unplayable" else f"{token} {form}"
    opening = f'<g class="{kinds}" data-ref="{mark.ref}">'
    narrow = f' transform="scale({squeeze:g} 1)"' if squeeze < 1 else ""
    small = _AIM_SIZE * row.grown
    aim = (f'<text class="aim" x="{(centre - _aim_width(mark.aim) * row.grown * squeeze / 2) / squeeze:.0f}" '
           f'y="{y + _AIM_DROP * row.grown:.0f}" font-size="{small:g}px"{narrow}>'
           f'{words(mark.aim, small, "mark")}</text>' if mark.aim else "")
    if form == "usual":
        return f'{opening}<text x="{(centre - placed.half) / squeeze:.0f}" y="{y:.0f}"{narrow}>{inner}</text>{aim}</g>'
    if form == "changed":
        left = (centre - placed.half) / squeeze + _TRAY_EM * size
        return (f'{opening}<text x="{left:.0f}" y="{y:.0f}" font-weight="bold"{narrow}>{inner}</text>'
                f'<path d="{tray}" fill="none" stroke="currentColor" stroke-width="30"/>{aim}</g>')
    side = _SQUARE_EM * size
    left = centre - width_em(mark.text, "mark-bold") * size / 2
    top = y - (_SQUARE_EM + FIGURE_EM) / 2 * size
    return (f'{opening}<rect x="{centre - side / 2:.0f}" y="{top:.0f}" width="{side:.0f}" '
            f'height="{side:.0f}"/><text x="{left:.0f}" y="{y:.0f}" font-weight="bold" fill="white">{inner}</text></g>'
            + _struck(mark.ref, placed.head))


def _struck(ref: int, head: Head) -> str:
    """Cross out a head: two strokes on a white edge, reaching beyond it."""
    reach, rise = head.half + 45, 140
    x1, x2, y1, y2 = (f"{value:.0f}" for value in (head.x - reach, head.x + reach, head.y - rise, head.y + rise))
    d = f"M{x1} {y1}L{x2} {y2}M{x1} {y2}L{x2} {y1}"
    return (f'<g class="struck" data-ref="{ref}" fill="none"><path d="{d}" stroke="white" stroke-width="90"/>'
            f'<path d="{d}" stroke="currentColor" stroke-width="44"/></g>')


def used_by(marks: Iterable[Mark], row_names: Mapping[int, str]) -> dict[Face, set[str]]:
    """Return the characters of marks and names of rows by the face that shows them."""
    marks = tuple(marks)
    used: dict[Face, set[str]] = {}
    for text, form in {(mark.text, form_of(mark)) for mark in marks}:
        for part, face in runs(text, _face(form)):
            used.setdefault(face, set()).update(part)
    if aims := {mark.aim for mark in marks if mark.aim}:
        used.setdefault("mark", set()).update("".join(aims))
    for name in row_names.values():
        used.setdefault("italic", set()).update(name)
    return used

"""The chart for the wall, drawn: staff, big digits and slide or valves in one column a note. All lengths in mm.

Sizes follow from reading at one metre: an angle of 0.003 rad is 3 mm (Letter Size and Legibility, Human Factors 21(6),
1979, doi 10.1177/001872087912210604). Black and grey only: states differ by weight, form and brackets.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from analyzer.engrave.fonts import FIGURE_EM, MARK_STACK, Face, runs, width_em
from analyzer.engrave.lettering import words
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.horn import Horn
from analyzer.pitch import HEARD_CENTS, Pitch
from analyzer.report.chart.wall import Clef, Column, Wall
from analyzer.words import shown, signed

USUAL_MM, NAME_MM, OTHER_MM = 5.3, 4.1, 3.1
"""Ink height of figures: usual row, note names, everything else. [mm]"""
BEFORE_MM = NAME_MM
"""The same of what an old horn had for a note. [mm]"""
MARGIN_MM = 12.0
GUTTER_MM = 15.0                      # at the left of a system: names of the rows, and the clef
_SPACE = 1.75                         # between lines of the staff
_GAP = 1.8                            # between what stands in neighbouring columns
SLIDES_MM = (22.0, 18.0, 14.0)
"""How high the whole slide is drawn: the first that leaves room for the practical range on one sheet. [mm]"""
_VALVE_STEP = USUAL_MM + 1.2          # from one valve of the usual choice to the next
_INK, _BAND, _GUIDE, _SIDE = "#000000", "#e3e3e3", "#b5b5b5", "#444444"
_STEPS = "CDEFGAB"
_SIGN = {-1: "\ue260", 1: "\ue262"}
_BESIDE = (3.6, -3.6, 6.4)             # where the alternates' marks stand beside the slide
_HOLLOW = 1.2                         # their radius
# How far a head with its sign reaches above and below the middle of the head, in the music face. [spaces]
_SIGN_REACH = {-1: (1.9, 0.7), 0: (0.55, 0.55), 1: (1.42, 1.36)}
_HEAD = "\ue0a4"
# The clef's sign, its place in half spaces over the lowest line, and that line in letters over C0.
_CLEFS: dict[Clef, tuple[str, int, int]] = {
    "bass": ("\ue062", 6, 18), "treble": ("\ue050", 2, 30), "tenor": ("\ue05c", 6, 22), "alto": ("\ue05c", 4, 24)}


@dataclass(slots=True)
class Ink:
    """Shapes in order, and the characters used of each face."""

    parts: list[str] = field(default_factory=list)
    used: dict[Face, set[str]] = field(default_factory=dict)

    def text(self, x: float, y: float, text: str, ink_mm: float, *, bold: bool = False, anchor: str = "start",
             color: str = _INK) -> None:
        """Write a text with figures of that height; `y` is its base line. Of an empty text nothing is drawn."""
        if not text:
            return
        size, face = ink_mm / FIGURE_EM, _face(bold)
        for part, found in runs(text, face):
            self.used.setdefault(found, set()).update(part)
        more = (' font-weight="bold"' if bold else "") + (f' text-anchor="{anchor}"' if anchor != "start" else "")
        more += f' fill="{color}"' if color != _INK else ""
        self.parts.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.3f}px"{more}>'
                          f"{words(text, size, face)}</text>")

    def sign(self, x: float, y: float, sign: str) -> float:
        """Set a sign of music; return its width."""
        self.used.setdefault("music", set()).update(sign)
        self.parts.append(f'<text class="sign" x="{x:.2f}" y="{y:.2f}" font-size="{4 * _SPACE:.3f}px">'
                          f"{words(sign, 4 * _SPACE, 'mark')}</text>")
        return _sign_width(sign)

    def line(self, x1: float, y1: float, x2: float, y2: float, width: float = 0.2, color: str = _INK,
             name: str = "") -> None:
        """Draw a straight line; `name` is its class."""
        said = f' class="{name}"' if name else ""
        self.parts.append(f'<line{said} x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="{color}" '
                          f'stroke-width="{width:g}"/>')

    def add(self, shape: str) -> None:
        """Add a shape or a tag as it stands."""
        self.parts.append(shape)


def _face(bold: bool) -> Face:
    return "mark-bold" if bold else "mark"


def _sign_width(sign: str) -> float:
    return 4 * _SPACE * width_em(sign, "music")


def wide(text: str, ink_mm: float, bold: bool = False) -> float:
    """Return how wide a text with figures of that height is. [mm]"""
    return width_em(text, _face(bold)) * ink_mm / FIGURE_EM


def _letters(pitch: Pitch) -> int:
    return 7 * pitch.octave + _STEPS.index(pitch.step)


def _head_width(pitch: Pitch) -> float:
    return _sign_width(_HEAD) + (_sign_width(_SIGN[pitch.alter]) + 0.4 if pitch.alter else 0.0)


def _off(choice: Candidate | None) -> str:
    cents = round(choice.off_cents) if choice and choice.position is None else 0
    return signed(cents, "−") if abs(cents) > HEARD_CENTS else ""


def column_width(column: Column) -> float:
    """Return the room that a note needs, without the gap to the next."""
    usual = column.usual
    label = "×" if usual is None else usual.label if usual.position is not None else "0"
    old = [shown(column.before.label)] if column.before else []
    heads = sum(_head_width(pitch) for pitch in column.written) + 1.2 * len(column.written)
    # Hollow marks beside the slide stay nearer to their own note than to the next.
    beside = 0.0
    if usual is not None and usual.position is not None and column.alternates:
        beside = 2 * (max(abs(x) for x in _BESIDE[:len(column.alternates)]) + _HOLLOW)
    return max([heads, beside, wide(shown(label), USUAL_MM, bold=True), wide(_off(usual), OTHER_MM),
                *(wide(text, BEFORE_MM) for text in old), wide(_off(column.before), OTHER_MM),
                wide(moved_words(column), OTHER_MM) if column.before and usual else 0.0,
                *(wide(pitch.pretty, NAME_MM) for pitch in column.written),
                *(wide(shown(choice.label), OTHER_MM, rank == "common") for choice, rank in column.alternates)])


def systems_of(columns: Sequence[Column], room: float) -> list[tuple[Column, ...]]:
    """Return the notes in as few rows as fit the room, of widths as even as that allows."""
    widths = [column_width(column) + _GAP for column in columns]
    fewest = len(_broken(columns, widths, room))
    least, most = 0.0, room
    for _ in range(12):
        middle = (least + most) / 2
        fits = middle >= max(widths) and len(_broken(columns, widths, middle)) == fewest
        least, most = (least, middle) if fits else (middle, most)
    return _broken(columns, widths, most)


def _broken(columns: Sequence[Column], widths: Sequence[float], room: float) -> list[tuple[Column, ...]]:
    rows: list[list[Column]] = []
    left = 0.0
    before: Clef | None = None
    for column, width in zip(columns, widths, strict=True):
        turn = _turn(before, column.clef)
        if not rows or left < width + turn:
            rows.append([])
            left, turn = room, 0.0
        rows[-1].append(column)
        left -= width + turn
        before = column.clef
    return [tuple(row) for row in rows]


def _turn(before: Clef | None, clef: Clef) -> float:
    """Return the room for a change of clef inside a row."""
    return _sign_width(_CLEFS[clef][0]) + 2.0 if before not in (None, clef) else 0.0


def system(wall: Wall, columns: Sequence[Column], left: float, room: float, slide_mm: float) -> tuple[Ink, float]:
    """Draw one row of notes from 0 down, its slides `slide_mm` high; return it and its height."""
    ink, horn = Ink(), wall.horn
    end_mm = max(horn.slide_end_mm, wall.change.before.slide_end_mm if wall.change else 0.0)
    turns = sum(_turn(a.clef, b.clef) for a, b in pairwise(columns))
    least = GUTTER_MM + turns + sum(column_width(column) + _GAP for column in columns)
    spread = min(4.0, (room - least) / len(columns))
    two = any(len(column.written) > 1 for column in columns)
    names = NAME_MM
    low_name = names + (NAME_MM + 2.7 if two else 0.0)
    above, under = _reach(columns)
    bottom = low_name + 1.4 + above       # a sharp in a name goes below its base line
    old = bottom + under + 1.0
    band = old + (_old_height(columns) if wall.change else 0.0)
    band_height = _band_height(horn)
    tuned = any(_off(column.usual) for column in columns) or (wall.change is not None and horn.family == "slide")
    rows = max(len(column.alternates) for column in columns)
    below = band + band_height + (OTHER_MM + 2.0 if tuned else 0.6)
    slide = below + rows * (OTHER_MM + 1.7) + 2.6
    end = slide + slide_mm + 1.5 if horn.family == "slide" else slide - 1.0
    right = left + least + spread * len(columns)
    ink.add(f'<rect x="{left:.2f}" y="{band:.2f}" width="{right - left:.2f}" height="{band_height:.2f}" '
            f'fill="{_BAND}"/>')
    for number in range(5):
        ink.line(left, bottom - number * _SPACE, right, bottom - number * _SPACE, 0.18, name="staff")
    _row_names(ink, wall, columns, left, band, band_height, below, tuned=tuned)
    if wall.change:
        ink.text(left + 0.8, old + BEFORE_MM + 0.2, "before", OTHER_MM)
        if any(_off(column.before) for column in columns):
            ink.text(left + 0.8, old + BEFORE_MM + OTHER_MM + 2.4, "cents", OTHER_MM, color=_SIDE)
    if horn.family == "slide":
        _guides(ink, horn, left, right, slide, slide_mm / end_mm)
    x = left + GUTTER_MM
    before: Clef | None = None
    for column in columns:
        if column.clef != before:
            sign, up, _ = _CLEFS[column.clef]
            turn = _turn(before, column.clef)
            ink.sign(x if turn else left + 1.0, bottom - up * _SPACE / 2, sign)
            x += turn
            before = column.clef
        room_here = column_width(column) + _GAP + spread
        middle = x + room_here / 2
        ink.add(f'<g class="column" data-midi="{column.midi}">')
        _names_and_heads(ink, column, middle, (names, low_name), bottom)
        _usual(ink, horn, column.usual, middle, band)
        if column.before:
            ink.text(middle, old + BEFORE_MM + 0.2, shown(column.before.label), BEFORE_MM, anchor="middle")
            ink.text(middle, old + BEFORE_MM + OTHER_MM + 2.4, _off(column.before), OTHER_MM, anchor="middle",
                     color=_SIDE)
        under_band = moved_words(column) if wall.change and horn.family == "slide" else _off(column.usual)
        ink.text(middle, band + band_height + OTHER_MM + 1.0, under_band, OTHER_MM, anchor="middle", color=_SIDE)
        for place, (choice, rank) in enumerate(column.alternates, 1):
            ink.text(middle, below + place * (OTHER_MM + 1.7) - 0.5, shown(choice.label), OTHER_MM,
                     bold=rank == "common", anchor="middle")
        if horn.family == "slide":
            _on_the_slide(ink, column, middle, slide, slide_mm, slide_mm / end_mm)
        ink.add("</g>")
        x += room_here
    return ink, end


def _old_height(columns: Sequence[Column]) -> float:
    """Return the height of the row of the old horn's choices, and of their cents where some are off."""
    return BEFORE_MM + 2.4 + (OTHER_MM + 1.6 if any(_off(column.before) for column in columns) else 0.0)


def moved_words(column: Column) -> str:
    """Say how far the slide is moved from the old choice to the new one [mm], or that it is new; empty on valves."""
    if column.usual is None or column.usual.position is None:
        return ""
    return "new" if column.before is None else signed(column.usual.out_mm - column.before.out_mm, "−")


def _reach(columns: Sequence[Column]) -> tuple[float, float]:
    """Return how far heads and accidentals, or else the staff and its clef, reach over and under the lowest line."""
    above, under = [4 * _SPACE + 0.5], [2.9 if columns[0].clef == "treble" else 0.8]
    for column in columns:
        for pitch in column.written:
            y = (_letters(pitch) - _CLEFS[column.clef][2]) * _SPACE / 2
            over, below = _SIGN_REACH[pitch.alter]
            above.append(y + over * _SPACE)
            under.append(below * _SPACE - y)
    return max(above), max(under)


def _row_names(ink: Ink, wall: Wall, columns: Sequence[Column], left: float, band: float, height: float,
               below: float, *, tuned: bool) -> None:
    ink.text(left + 0.8, band + height / 2 + OTHER_MM / 2, "now" if wall.change else "usual", OTHER_MM, bold=True)
    if tuned:
        unit = "mm" if wall.change and wall.horn.family == "slide" else "cents"
        ink.text(left + 0.8, band + height + OTHER_MM + 1.0, unit, OTHER_MM, color=_SIDE)
    if any(column.alternates for column in columns):
        ink.text(left + 0.8, below + OTHER_MM + 1.2, "or", OTHER_MM)


def _names_and_heads(ink: Ink, column: Column, middle: float, names: tuple[float, float], bottom: float) -> None:
    for y, pitch in zip(names, column.written, strict=False):
        ink.text(middle, y, pitch.pretty, NAME_MM, anchor="middle")
    x = middle - (sum(_head_width(pitch) for pitch in column.written) + 1.2 * (len(column.written) - 1)) / 2
    for pitch in column.written:
        steps = _letters(pitch) - _CLEFS[column.clef][2]
        y = bottom - steps * _SPACE / 2
        if pitch.alter:
            x += ink.sign(x, y, _SIGN[pitch.alter]) + 0.4
        head = _sign_width(_HEAD)
        for ledger in (*range(-2, steps - 1, -2), *range(10, steps + 1, 2)):
            at = bottom - ledger * _SPACE / 2
            ink.line(x - 0.5, at, x + head + 0.5, at, 0.25, name="staff")
        ink.sign(x, y, _HEAD)
        x += head + 1.2


def _usual(ink: Ink, horn: Horn, usual: Candidate | None, middle: float, band: float) -> None:
    if usual is not None and usual.position is None and usual.valves:
        for place, valve in enumerate(horn.loop_names):
            y = band + 1.2 + place * _VALVE_STEP
            if valve in usual.valves:
                ink.text(middle, y + USUAL_MM, valve, USUAL_MM, bold=True, anchor="middle")
            else:
                ink.add(f'<circle cx="{middle:.2f}" cy="{y + USUAL_MM / 2:.2f}" r="1" fill="#ffffff" '
                        f'stroke="{_SIDE}" stroke-width="0.3"/>')
        return
    ink.text(middle, band + (_band_height(horn) + USUAL_MM) / 2, "×" if usual is None else shown(usual.label), USUAL_MM,
             bold=True, anchor="middle")


def _band_height(horn: Horn) -> float:
    return USUAL_MM + 2.4 if horn.family == "slide" else len(horn.loop_names) * _VALVE_STEP + 1.2


def _guides(ink: Ink, horn: Horn, left: float, right: float, top: float, scale: float) -> None:
    """Draw a line across for each open position; every other has its number, as on a ruler.

    `scale` is that of the drawing: a millimetre of the slide on paper.
    """
    for number in range(1, positions(horn) + 1):
        y = scale * position_place_mm(horn, (), number)
        ink.line(left + 7.0, top + y, right, top + y, 0.25, _GUIDE)
        if number % 2:
            ink.text(left + 3.2, top + y + OTHER_MM / 2, str(number), OTHER_MM, anchor="middle", color=_SIDE)


def _on_the_slide(ink: Ink, column: Column, middle: float, top: float, slide_mm: float, scale: float) -> None:
    """Draw how far the slide is out: filled for the usual choice, hollow beside it for alternates."""
    ink.line(middle, top, middle, top + slide_mm, 0.25, _SIDE)
    hollow = f'fill="#ffffff" stroke="{_INK}" stroke-width="0.4"'
    if column.usual is not None:
        y = top + scale * column.usual.out_mm
        ink.line(middle, top, middle, y, 1.1)
        ink.add(_spot(column.usual, middle, y, 1.5, f'fill="{_INK}"'))
    if column.before is not None:
        ink.add(_spot(column.before, middle + _BESIDE[0] / 2 if column.usual else middle,
                      top + scale * column.before.out_mm, _HOLLOW, hollow))
    for place, (choice, _) in enumerate(column.alternates):
        x = middle + _BESIDE[place]
        ink.add(_spot(choice, x, top + scale * choice.out_mm, _HOLLOW, hollow))


def _spot(choice: Candidate, x: float, y: float, radius: float, form: str) -> str:
    """Return a circle for the open slide, a square with an attachment held."""
    if not choice.valves:
        return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:g}" {form}/>'
    side = 1.8 * radius
    return (f'<rect x="{x - side / 2:.2f}" y="{y - side / 2:.2f}" width="{side:.2f}" height="{side:.2f}" {form}/>')


def wrapped(pieces: Iterable[str], ink_mm: float, room: float, *, bold: bool = False) -> list[str]:
    """Return pieces of text joined by blanks, broken into lines that fit the room."""
    lines: list[str] = []
    for piece in pieces:
        longer = f"{lines[-1]} {piece}" if lines else piece
        if lines and wide(longer, ink_mm, bold) <= room:
            lines[-1] = longer
        else:
            lines.append(piece)
    return lines


def rest_lines(wall: Wall, left: float, top: float, room: float) -> list[tuple[Ink, float]]:
    """Draw the list of what stands at no note, as lines; return each with its height. What is not advised is bracketed.

    A note's choices stay behind its name and may run on into the next line.
    """
    done: list[tuple[Ink, float]] = []
    height = OTHER_MM + 1.7
    x = left + room + 1
    blank = wide("  ", OTHER_MM)
    for column in wall.columns():
        for place, choice in enumerate(column.rest):
            label = shown(choice.label) if choice.advice is None else f"({shown(choice.label)})"
            name = "" if place else "/".join(pitch.pretty for pitch in column.written)
            length = wide(label, OTHER_MM) + (wide(name, OTHER_MM, bold=True) + blank if name else 0.0)
            if x + length > left + room:
                done.append((Ink(), height))
                x = left
            ink = done[-1][0]
            ink.add(f'<g class="rest" data-midi="{column.midi}">')
            if name:
                ink.text(x, top + OTHER_MM + 1, name, OTHER_MM, bold=True)
            ink.text(x + length, top + OTHER_MM + 1, label, OTHER_MM, anchor="end")
            ink.add("</g>")
            x += length + blank * (2 if place == len(column.rest) - 1 else 1)
    return done


FONT = f'font-family="{MARK_STACK}" fill="{_INK}"'
"""What a sheet's outermost group asks for."""

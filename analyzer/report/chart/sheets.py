"""Sheets of the chart for the wall: heading, key, ranges and list flow onto paper, or onto one long sheet of a page."""

from dataclasses import dataclass, field
from html import escape

from analyzer.engrave.fonts import Face, style_sheet
from analyzer.engrave.options import PageOptions
from analyzer.horns.horn import Horn
from analyzer.report.chart.sheet import (
    FONT,
    GUTTER_MM,
    MARGIN_MM,
    NAME_MM,
    OTHER_MM,
    SLIDES_MM,
    USUAL_MM,
    Ink,
    rest_lines,
    system,
    systems_of,
    wrapped,
)
from analyzer.report.chart.wall import Wall, walls

_BETWEEN_MM = 4.0                     # systems
_SLIDE_KEY = ("♯ ♭: slide a little in or out.",
              "Slide below each note to scale: filled for the usual choice, hollow for alternates.")
_HELD_KEY = "T, S: attachment held, with its own positions; square on the slide."
_VALVE_KEY = ("0: no valve.", "cents: how far the usual choice is off, where more than 5.")
_KEY = "In the band: the usual choice. Below it: alternates, best first."
_ALTERNATES = "Alternates are bold where common, plain where rare."
_REST = "The rest: seldom used; in parentheses not advised"


@dataclass(slots=True)
class _Block:
    """Something of one piece with its height and the white space after it [mm]; no page ends with what is `glued`."""

    ink: Ink
    height: float
    glued: bool = False
    after: float = 0.0
    opens: int = 0                    # which range it is the heading of, from 1; 0 if none


@dataclass(slots=True)
class _Page:
    placed: list[tuple[float, Ink]] = field(default_factory=list)


def wall_pages(horn: Horn, options: PageOptions) -> tuple[str, ...]:
    """Return the chart as sheets of paper, one SVG each, in millimetres of the paper.

    Large print enlarges everything; fewer notes then stand in a row.

    Raises
    ------
    ModuleNotFoundError
        If the engraver, whose signs of music are used, is not installed.
    """
    scale = options.scale
    wide, high = (side / scale for side in options.size_mm)
    done = []
    for wall in walls(horn):
        pages = _fitting(wall, wide - 2 * MARGIN_MM, high)
        for number, page in enumerate(pages, 1):
            foot = Ink()
            words = f"{wall.reading}: {number} of {len(pages)}" if len(pages) > 1 else wall.reading
            foot.text(wide - MARGIN_MM, high - MARGIN_MM, words, OTHER_MM, anchor="end")
            body = _drawn([*page.placed, (0.0, foot)])
            done.append(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.2f} {high:.2f}">'
                        f"<g {FONT}>{body}</g></svg>")
    return tuple(done)


def wall_screens(horn: Horn, width_mm: float) -> tuple[tuple[tuple[str, str], ...], str]:
    """Return the chart for a screen: one long sheet a way of reading, with its name, and the style sheet of faces."""
    found = []
    used: dict[Face, set[str]] = {}
    for wall in walls(horn):
        placed: list[tuple[float, Ink]] = []
        y = 0.0
        for block in _blocks(wall, width_mm - 2.0, SLIDES_MM[0], left=1.0, titled=False):
            placed.append((y, block.ink))
            y += block.height + block.after
            for face, characters in block.ink.used.items():
                used.setdefault(face, set()).update(characters)
        found.append((wall.reading, f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_mm:g} {y:.2f}">'
                                    f"<g {FONT}>{_drawn(placed)}</g></svg>"))
    return tuple(found), style_sheet(used)


def _drawn(placed: list[tuple[float, Ink]]) -> str:
    return "".join(f'<g transform="translate(0,{y:.2f})">{"".join(ink.parts)}</g>' for y, ink in placed)


def _fitting(wall: Wall, room: float, high: float) -> list[_Page]:
    """Flow the chart with the highest slides that leave its first range on the first page; else with the highest."""
    for slide_mm in SLIDES_MM if wall.horn.family == "slide" else ():
        blocks = _blocks(wall, room, slide_mm)
        end = next((place for place, block in enumerate(blocks) if block.opens == 2), len(blocks))
        pages = _flowed(blocks, high)
        if len(pages[0].placed) >= end:
            return pages
    return _flowed(_blocks(wall, room, SLIDES_MM[0]), high)


def _flowed(blocks: list[_Block], high: float) -> list[_Page]:
    """Put blocks onto pages from the top; what is glued together stands on one page, if one page holds it."""
    pages = [_Page()]
    y, end = MARGIN_MM, high - MARGIN_MM - OTHER_MM - 3.0
    for place, block in enumerate(blocks):
        needed, last = block.height, place
        while blocks[last].glued and last + 1 < len(blocks):
            needed += blocks[last].after + blocks[last + 1].height
            last += 1
        starts = place == 0 or not blocks[place - 1].glued
        whole = starts and y + needed > end and needed <= end - MARGIN_MM
        if pages[-1].placed and (whole or y + block.height > end):
            pages.append(_Page())
            y = MARGIN_MM
        pages[-1].placed.append((y, block.ink))
        y += block.height + block.after
    return pages


def _blocks(wall: Wall, room: float, slide_mm: float, *, left: float = MARGIN_MM, titled: bool = True) -> list[_Block]:
    blocks = []
    if titled:
        named = wall.horn.description.split()
        size = USUAL_MM if len(wrapped(named, USUAL_MM, room, bold=True)) == 1 else NAME_MM
        blocks += [_written(text, size, left, bold=True, glued=True) for text in wrapped(named, size, room, bold=True)]
    blocks += [_written(text, 4.0, left, bold=True, glued=True)
               for text in wrapped(f"{wall.reading}.".split(), 4.0, room, bold=True)]
    blocks += [_written(text, OTHER_MM, left, glued=True) for text in wrapped(_KEY.split(), OTHER_MM, room)]
    key: tuple[str, ...] = (_ALTERNATES, *(_SLIDE_KEY if wall.horn.family == "slide" else _VALVE_KEY))
    if wall.horn.family == "slide" and wall.horn.loop_names:
        key = (*key, _HELD_KEY)
    if any(column.usual is None for column in wall.columns()):
        key = (*key, "×: not on this horn.")
    for number, part in enumerate(wall.ranges, 1):
        heading = _written(part.heading, 4.0, left, bold=True, glued=True, above=2.0)
        heading.opens = number
        blocks.append(heading)
        for columns in systems_of(part.columns, room - GUTTER_MM):
            ink, height = system(wall, columns, left, room, slide_mm)
            blocks.append(_Block(ink, height, after=_BETWEEN_MM))
    blocks += [_written(text, OTHER_MM, left, glued=True)
               for text in wrapped(" ".join(key).split(), OTHER_MM, room)]
    if any(column.rest for column in wall.columns()):
        blocks += [_written(text, 4.0, left, bold=True, glued=True, above=1.0)
                   for text in wrapped(_REST.split(), 4.0, room, bold=True)]
        blocks += [_Block(ink, height, glued=True) for ink, height in rest_lines(wall, left, 0.0, room)]
        blocks[-1].glued = False
    return blocks


def _written(text: str, ink_mm: float, left: float, *, bold: bool = False, glued: bool = False,
             above: float = 0.0) -> _Block:
    ink = Ink()
    ink.text(left, above + ink_mm + 0.2, text, ink_mm, bold=bold)
    return _Block(ink, above + 1.65 * ink_mm, glued)


def screen_words(horn: Horn, reading: str) -> str:
    """Say in words what a sheet shows, for who does not see it."""
    return escape(f"{horn.description}. {reading}. Every note with its usual choice and alternates; the same stands in "
                  "the table under Every choice.")

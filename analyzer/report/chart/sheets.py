"""Sheets of the chart for the wall: heading, key, ranges and list flow onto paper, or onto one long sheet of a page."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from analyzer import cautions
from analyzer.engrave.fonts import Face, style_sheet
from analyzer.engrave.options import PageOptions
from analyzer.horns.horn import Horn
from analyzer.picture.transition import stays_words
from analyzer.report.chart.rails import rails, tuning_words
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
from analyzer.report.chart.sheet import wide as width_of
from analyzer.report.chart.wall import Wall, walls

PHONE_MM, SCREEN_MM = 92.0, 200.0
"""Width of a chart on a phone, and on anything wider: sizes against each other stay those of paper. [mm]"""
_HEAD_MM = 4.0
_BETWEEN_MM = 4.0                     # systems
_SLIDE_KEY = ("♯ ♭: slide a little in or out.",
              "Slide below each note to scale: filled for the usual choice, hollow for alternates.")
_HELD_KEY = "T, S: attachment held, with its own positions; square on the slide."
_VALVE_KEY = ("0: no valve.", "cents: how far the usual choice is off, where more than 5.")
_KEY = "In the band: the usual choice. Below it: alternates, best first."
_ALTERNATES = "Alternates are bold where common, plain where rare."
_CHANGE_KEY = "Before: the usual choice of the old horn. In the band: the new horn's."
_MOVED_KEY = ("Slide below each note to scale: hollow before, filled now; square with an attachment held. mm: how far "
              "the slide moves from one to the other, + is out.")
_RAILS_HEAD = "The slide, to scale"
_RAILS_KEY = "Dashed: the old open positions. 2 +24 is 24 mm beyond second, 5 −17 is 17 mm short of fifth."
_TUNED_HEAD = "How far valves are off, in cents"
_REST = "The rest: seldom used; in parentheses not advised"


@dataclass(slots=True)
class _Block:
    """Something of one piece with its height and the white space after it [mm]; no page ends with what is `glued`."""

    ink: Ink
    height: float
    glued: bool = False
    after: float = 0.0
    opens: int = 0                    # which part of the chart begins here, from 1; 0 if none


@dataclass(slots=True)
class _Page:
    placed: list[tuple[float, Ink]] = field(default_factory=list)


def wall_pages(horn: Horn, options: PageOptions) -> tuple[str, ...]:
    """Return the chart of a horn as `pages_of`."""
    return pages_of(walls(horn), options)


def pages_of(charts: Sequence[Wall], options: PageOptions) -> tuple[str, ...]:
    """Return charts as sheets of paper, one SVG each, in millimetres of the paper.

    Large print enlarges everything; fewer notes then stand in a row.

    Raises
    ------
    ModuleNotFoundError
        If the engraver, whose signs of music are used, is not installed.
    """
    scale = options.scale
    wide, high = (side / scale for side in options.size_mm)
    done = []
    for wall in charts:
        pages = _fitting(wall, wide - 2 * MARGIN_MM, high)
        for number, page in enumerate(pages, 1):
            foot = Ink()
            words = f"{wall.reading}: {number} of {len(pages)}" if len(pages) > 1 else wall.reading
            foot.text(wide - MARGIN_MM, high - MARGIN_MM, words, OTHER_MM, anchor="end")
            if number > 1:
                # A second sheet on the wall says of itself which horn it is of.
                beside = wide - 2 * MARGIN_MM - width_of(words, OTHER_MM) - 3.0
                named = wall.horn.description
                foot.text(MARGIN_MM, high - MARGIN_MM, named if width_of(named, OTHER_MM) <= beside else wall.horn.name,
                          OTHER_MM)
            body = _drawn([*page.placed, (0.0, foot)])
            done.append(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.2f} {high:.2f}">'
                        f"<g {FONT}>{body}</g></svg>")
    return tuple(done)


def screens_of(charts: Sequence[Wall], width_mm: float) -> tuple[tuple[str, ...], str]:
    """Return charts for a screen, each as one long sheet, and the style sheet of their faces."""
    found = []
    used: dict[Face, set[str]] = {}
    for wall in charts:
        placed: list[tuple[float, Ink]] = []
        y = 0.0
        for block in _blocks(wall, width_mm - 2.0, SLIDES_MM[0], left=1.0, titled=False):
            placed.append((y, block.ink))
            y += block.height + block.after
            for face, characters in block.ink.used.items():
                used.setdefault(face, set()).update(characters)
        found.append(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_mm:g} {y:.2f}">'
                     f"<g {FONT}>{_drawn(placed)}</g></svg>")
    return tuple(found), style_sheet(used)


def _drawn(placed: list[tuple[float, Ink]]) -> str:
    return "".join(f'<g transform="translate(0,{y:.2f})">{"".join(ink.parts)}</g>' for y, ink in placed)


def _fitting(wall: Wall, room: float, high: float) -> list[_Page]:
    """Flow the chart with the highest slides that leave its first range on the first page; else with the highest.

    A change of horn stands on one page, if it can. The key follows the first range if the page holds it, too, else it
    stands with the list of the rest.
    """
    for slide_mm in SLIDES_MM if wall.change else ():
        pages = _flowed(_blocks(wall, room, slide_mm), high)
        if len(pages) == 1:
            return pages
    best = SLIDES_MM[0]
    for slide_mm in SLIDES_MM if wall.horn.family == "slide" else ():
        blocks = _blocks(wall, room, slide_mm, key_early=False)
        end = next((place for place, block in enumerate(blocks) if block.opens == 2), len(blocks))
        if len(_flowed(blocks, high)[0].placed) >= end:
            best = slide_mm
            break
    blocks = _blocks(wall, room, best)
    keyed = _flowed(blocks, high)
    end = next((place for place, block in enumerate(blocks) if block.opens == 2), len(blocks))
    return keyed if len(keyed[0].placed) >= end else _flowed(_blocks(wall, room, best, key_early=False), high)


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


def _blocks(wall: Wall, room: float, slide_mm: float, *, left: float = MARGIN_MM, titled: bool = True,
            key_early: bool = True) -> list[_Block]:
    def said(text: str, *, glued: bool = True) -> list[_Block]:
        return [_written(line, OTHER_MM, left, glued=glued) for line in wrapped(text.split(), OTHER_MM, room)]

    def headed(text: str, above: float = 1.0) -> list[_Block]:
        return [_written(line, _HEAD_MM, left, bold=True, glued=True, above=above)
                for line in wrapped(text.split(), _HEAD_MM, room, bold=True)]

    blocks = _titles(wall, left, room) if titled else []
    blocks += headed(f"{wall.reading}.", 0.0)
    blocks += said(_CHANGE_KEY if wall.change else _KEY)
    if wall.change:
        if wall.horn.family == "slide":
            ink, height = rails(wall.change, left, room)
            blocks += [*headed(_RAILS_HEAD), _Block(ink, height, glued=True, after=1.0)]
            blocks += said(_RAILS_KEY) if any(one.kind in ("new", "moves") for one in wall.change.places) else []
        else:
            blocks += headed(_TUNED_HEAD)
            for text in tuning_words(wall.change):
                blocks += said(text)
        blocks[-1].glued = False
    for number, part in enumerate(wall.ranges, 1):
        heading = _written(part.heading, _HEAD_MM, left, bold=True, glued=True, above=2.0)
        heading.opens = number
        blocks.append(heading)
        for columns in systems_of(part.columns, room - GUTTER_MM):
            ink, height = system(wall, columns, left, room, slide_mm)
            blocks.append(_Block(ink, height, after=_BETWEEN_MM))
        if number == 1 and (key_early or wall.change):
            # What the signs mean stands beside the notes that everybody reads.
            blocks += said(_key(wall))
            blocks[-1].glued = False
    if not key_early and not wall.change:
        blocks += said(_key(wall))
    if wall.change:
        slide = wall.horn.family == "slide"
        care = cautions.for_changing(slide=slide, valves=not slide)
        for text in (stays_words(wall.change) or "No note stays.", f"{care[0]} {care[-1]}"):
            blocks += said(text)
        blocks[-1].glued = False
    if any(column.rest for column in wall.columns()):
        blocks += headed(_REST)
        blocks += [_Block(ink, height, glued=True) for ink, height in rest_lines(wall, left, 0.0, room)]
        blocks[-1].glued = False
    return blocks


def _titles(wall: Wall, left: float, room: float) -> list[_Block]:
    """Return the horn as the heading, and under it the one that the change comes from."""
    names = [(wall.horn.description, USUAL_MM, True)]
    if wall.change:
        names = [(f"New horn: {wall.horn.description}", USUAL_MM, True),
                 (f"Before: {wall.change.before.description}", NAME_MM, False)]
    blocks = []
    for name, most, bold in names:
        size = most if len(wrapped(name.split(), most, room, bold=bold)) == 1 else NAME_MM
        blocks += [_written(text, size, left, bold=bold, glued=True)
                   for text in wrapped(name.split(), size, room, bold=bold)]
    return blocks


def _key(wall: Wall) -> str:
    """Return what the signs of a chart mean."""
    slide = wall.horn.family == "slide"
    key: tuple[str, ...] = (_MOVED_KEY if slide else _VALVE_KEY[0],) if wall.change else (
        _ALTERNATES, *(_SLIDE_KEY if slide else _VALVE_KEY))
    if wall.change and not slide:
        key = (*key, _VALVE_KEY[1].replace("the usual choice is", "each is"))
    if slide and wall.horn.loop_names and not wall.change:
        key = (*key, _HELD_KEY)
    if any(column.usual is None for column in wall.columns()):
        key = (*key, "×: not on this horn.")
    return " ".join(key)


def _written(text: str, ink_mm: float, left: float, *, bold: bool = False, glued: bool = False,
             above: float = 0.0) -> _Block:
    ink = Ink()
    ink.text(left, above + ink_mm + 0.2, text, ink_mm, bold=bold)
    return _Block(ink, above + 1.65 * ink_mm, glued)


def screen_words(wall: Wall) -> str:
    """Say in words what a sheet shows, for who does not see it."""
    if wall.change:
        return escape(f"From {wall.change.before.description} to {wall.horn.description}. {wall.reading}. Every note "
                      "that changes, with its usual choice before and now; the same stands in the tables below.")
    return escape(f"{wall.horn.description}. {wall.reading}. Every note with its usual choice and alternates; the same "
                  "stands in the table under Every choice.")


def screen_html(charts: Sequence[Wall]) -> str:
    """Return charts for a page, in a form for a phone and a wide one; without the engraver a sentence that says so."""
    out = []
    try:
        for form, width_mm in (("narrow", PHONE_MM), ("wide", SCREEN_MM)):
            sheets, faces = screens_of(charts, width_mm)
            out.append(f'<svg width="0" height="0" aria-hidden="true"><style>{faces}</style></svg>')
            out += [f'<div class="sheet {form}" role="img" aria-label="{screen_words(wall)}">{sheet}</div>'
                    for wall, sheet in zip(charts, sheets, strict=True)]
    except ModuleNotFoundError:
        return "<p>Left out: it needs the engraver. Install the extra: pip install 'lowbrass[engrave]'.</p>"
    return "".join(out)

"""The music engraved once, with room kept for the marks: what `engrave` then fills with marks, again and again.

The engraver (verovio) holds the interpreter's lock while it works: to engrave several parts at once, use processes.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import ceil
from typing import Any, TypeVar

from lxml import etree

from analyzer.engrave import native
from analyzer.engrave.breaks import with_breaks
from analyzer.engrave.copy import Copy
from analyzer.engrave.fonts import Face, data_path, runs
from analyzer.engrave.geometry import MAKES_WAY, Signs, System, lowest_of, rests_of, system_of
from analyzer.engrave.marks import depth_of, height_of
from analyzer.engrave.options import PageOptions
from analyzer.engrave.svg import (
    MAKER_SIZE,
    SUBTITLE_SIZE,
    SVG,
    TITLE_SIZE,
    Heading,
    classes,
    fit_texts,
    heading_height,
    heading_of,
    set_music_signs,
    styled,
    used_characters,
    wrap,
)
from analyzer.engrave.tailored import dynamics_above, exact_lines
from analyzer.engrave.tidy import Sizes, prefixed, scales_of, thinned, tidied
from analyzer.guard import guarded
from analyzer.stave import USUAL_MM, USUAL_STAVE, Stave

_Found = TypeVar("_Found")
_UNITS_PER_MM = 10.0                 # the engraver's page units: staff 72 units high, 7.2 mm on paper
_UNITS_PER_PX = 2.0                  # on a screen: staff 36 px high, marks 16 px
_INNER = 10.0                        # finer units that the picture counts in, to a page unit
_HALF_SPACE = 90.0                   # [finer units] half a staff space, in which the engraver's options count
_MARGIN = 120                        # [page units] 12 mm on paper, half an inch
_PUNCHED = 150                       # [page units] 15 mm where sheets are punched: left of odd pages, right of even
_NOTICE = 40                         # [page units] for a second and third line at the foot
_FOOT_DROP, _HEAD_RISE = 50, 40      # [page units] the foot below the music's field, the running head above it
_NUMBER_RISE = 40                    # [page units] how far a measure's number reaches out of the field
_RANGE_SIZE, _RANGE_DROP = 270.0, 330.0      # [engraver's units] numbers of the measures of a long rest; judged by eye
_SCREEN_MARGIN = 30
_SCREEN_SLACK = 40
_BETWEEN_SYSTEMS = 4                 # [half spaces] from the marks of a system to the highest of the next; judged
_BETWEEN_STAVES = 12                 # [half spaces] the engraver's own default
_MOST_SPACING = 48                   # [half spaces] the engraver's own limit
_LOOSER: tuple[tuple[float, float], ...] = (
    (1.0, 1.0), (1.3, 1.0), (1.7, 1.0), (1.7, 1.2), (1.7, 1.45), (1.7, 1.75), (1.7, 2.1), (1.7, 2.5))
"""Ways to make room for marks, one after another: wider spacing of the notes, then smaller music."""
STEPS = len(_LOOSER)
SMALLER = next(step for step, (_, shrink) in enumerate(_LOOSER) if shrink > 1)
"""The first step with smaller music: where one measure fills the line, wider spacing brings nothing."""
_SPACING_LINEAR = 0.25               # the engraver's own default
_WORDS, _MOST_WORDS = 4.5, 8.0       # [half spaces] the engraver's own size of all words, and its limit
_LINES = {"staffLineWidth": 0.15, "stemWidth": 0.2, "ledgerLineThickness": 0.25, "barLineWidth": 0.3,
          "hairpinThickness": 0.2, "tupletBracketThickness": 0.2, "lyricLineThickness": 0.25}
"""Weight of thin lines: the engraver's own defaults, each at least doubled before its limit. [half spaces]"""
_APART = {"rightMarginBarLine": 1.5, "leftMarginClef": 2.0}
"""Where a player asks for sizes: a stem that starts right behind a barline looks like a second one. [half spaces]"""
LAYOUT: dict[str, Any] = {
    "footer": "none", "svgViewBox": True, "svgFormatRaw": True, "xmlIdSeed": 1, "mnumInterval": 0,
    "breaksNoWidow": True, "smuflTextFont": "none",
    "multiRestStyle": "block", "minLastJustification": 0.6,
}
"""Options that are always the engraver's."""
_STAFF = re.compile(r'<g [^<>]*class="(?:[^"]* )?staff[ "]')
_CREDIT, _CREDIT_LINE = '<credit page="1">{}</credit><part-list>', '<credit-words justify="center">x</credit-words>'
_HEADER_LINE, _MOST_BELOW_HEADER = 324.0, 24.0       # [engraver's units] a line of its header; [half spaces] its limit
_LINE_HERE, _MARKS_HERE, _HEAD_HERE, _FOOT_HERE = (
    f'<slot class="{name}"/>' for name in ("line", "marks", "head", "foot"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One engraved page, in pieces of its SVG.

    `opening` goes up to the first system, `lines` are the systems without the end of their group (where the marks go),
    `closing` follows the foot. `systems` are the lines measured.
    """

    opening: str
    lines: tuple[str, ...]
    closing: str
    systems: tuple[System, ...]

    @property
    def glyphs(self) -> tuple[str, ...]:
        """Definitions of the signs that are drawn, each a group."""
        return tuple(f"{glyph}</g>" for glyph in self.opening.split("<defs>")[1].split("</defs>")[0].split("</g>")[:-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Engraving:
    """Engraved music with room for `rows` rows of marks under each staff.

    `used` are the characters of its texts by face. `width` and `height` are those between the margins, `margin` is that
    at the left and right. [engraver's units] With `above` the rows stand above the staves: the part has lyrics.
    `staff_mm` is the height of a staff on paper, smaller than was asked where a measure does not fit the line. [mm]
    `sorted_marks` keeps the marks that were last sorted into rows: whether they fit is asked before they are drawn.
    `asked` are the sizes that were asked for; those of `options` are what came of them.
    """

    sheets: tuple[Sheet, ...]
    options: PageOptions
    rows: int
    used: tuple[tuple[Face, str], ...]
    width: float
    height: float
    margin: float
    above: bool = False
    staff_mm: float = USUAL_MM
    sorted_marks: list[Any] = field(default_factory=list, init=False, compare=False, repr=False)
    asked: Stave = USUAL_STAVE

    @property
    def foot_at(self) -> float:
        """Base line of the foot, in the margin below the music's field. [engraver's units]"""
        return self.height + _FOOT_DROP * _INNER / self.options.scale

    @property
    def head_at(self) -> float:
        """Base line of the running head, in the margin above. [engraver's units]"""
        risen = height_of(self.rows, self.options.stave.text) if self.above else 0.0
        return -_HEAD_RISE * _INNER / self.options.scale - risen - _number_rise(self.options) * _INNER

    def turned(self, opening: str) -> str:
        """Return the opening of an even page: the wider margin, where sheets are punched, is at the right there."""
        left, right = (round(side / self.options.scale * _INNER) for side in (_PUNCHED, _MARGIN))
        return opening.replace(f"translate({left}", f"translate({right}", 1)


def laid_out(copy: Copy, options: PageOptions, rows: int, step: int = 0) -> Engraving:
    """Engrave the music of `copy` on pages; its marks are not looked at.

    `rows` is the number of rows of marks to keep room for, `step` (0 to `STEPS` - 1) how loosely to set the notes.

    Raises
    ------
    ValueError
        If the engraver cannot read the music.
    """
    looser, shrink = _LOOSER[step]
    paper = options.paper != "screen"
    scale = options.scale / shrink
    margin = round(_MARGIN / scale) if paper else _SCREEN_MARGIN
    left = round(_PUNCHED / scale) if paper else _SCREEN_MARGIN
    above = _has_lyrics(copy)
    risen = (_risen(rows, options, paper=paper) if above else 0) + _number_rise(options)
    if paper:
        width, height = (round(mm * _UNITS_PER_MM / scale) for mm in options.size_mm)
    else:
        width, height = max(100, round(options.width_px * _UNITS_PER_PX / scale)), 60000
    inner = (width - left - margin) * _INNER
    heading = _heading(copy, inner, options.stave.text) if paper else Heading()
    headed = bool(heading.title or heading.subtitle or heading.makers or heading.part)
    # The engraver's own header is lines of one size; the rest of ours is asked for as the margin below it.
    height_asked, line_height = heading_height(heading), _HEADER_LINE * options.stave.text
    lines = max(1, ceil((height_asked - _MOST_BELOW_HEADER * _HALF_SPACE) / line_height))
    music = copy.musicxml.replace("<part-list>", _CREDIT.format(_CREDIT_LINE * lines), 1) if headed else copy.musicxml
    if options.breaks:
        music = with_breaks(music, options.breaks)
    if options.stave.dynamics == "above":
        music = dynamics_above(music)
    drawn = engraver(native.pages, music, LAYOUT | _spacing(music, rows, looser, options) | {
        "breaks": "encoded" if options.breaks else "auto",
        "pageWidth": width, "pageHeight": height, "pageMarginLeft": left, "pageMarginRight": margin,
        "pageMarginTop": margin + risen,
        "pageMarginBottom": margin + (0 if above else _below(rows, options))
        + (ceil(_NOTICE * options.stave.text) if paper and copy.notice else 0),
        "adjustPageHeight": not paper, "header": "encoded" if headed else "none",
        "bottomMarginHeader": min(_MOST_BELOW_HEADER, max(0.0, (height_asked - lines * line_height) / _HALF_SPACE)),
    }, where=copy.title)
    used: dict[Face, set[str]] = {}
    sheets = tuple(_sheet(svg, copy, options, rows, inner, used,
                          size_mm=options.size_mm if paper else None, px_per_unit=options.width_px / width,
                          heading=heading_of(heading, inner, -risen * _INNER) if number == 1 else "")
                   for number, svg in enumerate(drawn, 1))
    return Engraving(sheets=sheets, options=options, rows=rows, used=_sorted(used, heading), width=inner, above=above,
                     staff_mm=USUAL_MM * scale, height=(height - 2 * margin - risen) * _INNER, margin=margin * _INNER)


def in_one_line(copy: Copy, options: PageOptions, rows: int, step: int = 0) -> Engraving:
    """Engrave the music of `copy` in one line, trimmed to the music, as big as on a screen; else as `laid_out`."""
    options = replace(options, paper="screen")
    # A single line has all the width it wants: where pages make the music smaller, it is set wider still.
    looser, shrink = _LOOSER[step]
    above = _has_lyrics(copy)
    music = dynamics_above(copy.musicxml) if options.stave.dynamics == "above" else copy.musicxml
    drawn = engraver(native.pages, music, LAYOUT | _spacing(copy.musicxml, rows, looser * shrink, options) | {
        "breaks": "none", "adjustPageWidth": True, "adjustPageHeight": True, "header": "none", "pageWidth": 60000,
        "pageHeight": 60000, "pageMarginLeft": _SCREEN_MARGIN, "pageMarginRight": _SCREEN_MARGIN,
        "pageMarginTop": _SCREEN_MARGIN + (_risen(rows, options, paper=False) if above else 0),
        "pageMarginBottom": _SCREEN_MARGIN + (0 if above else _below(rows, options))},
        1, where=copy.title)
    used: dict[Face, set[str]] = {}
    sheet = _sheet(drawn[0], copy, options, rows, 0.0, used, px_per_unit=options.scale / _UNITS_PER_PX)
    return Engraving(sheets=(sheet,), options=options, rows=rows, used=_sorted(used, Heading()), width=0.0, height=0.0,
                     margin=_SCREEN_MARGIN * _INNER, above=above)


def engraver(work: Callable[..., _Found], musicxml: str, options: dict[str, Any], *more: Any, where: str) -> _Found:
    """Let the engraver do a piece of `native` work, in a process that may die; `where` names the music in problems.

    Raises
    ------
    ValueError
        If it cannot read the music.
    Unreadable
        If it broke off, or met a limit of time or memory.
    """
    return guarded(work, musicxml, options, str(data_path()), *more, where=where or "the music")


def _risen(rows: int, options: PageOptions, *, paper: bool) -> int:
    """Room above the first system for its rows, on a screen also for what makes way for them. [page units]"""
    return ceil(height_of(rows, options.stave.text) / _INNER) + (0 if paper else _SCREEN_SLACK)


def _has_lyrics(copy: Copy) -> bool:
    """Whether words are sung to the notes: marks then stand above, since syllables belong below."""
    return "<lyric" in copy.musicxml


def _spacing(musicxml: str, rows: int, looser: float, options: PageOptions) -> dict[str, Any]:
    """Return options that keep room for rows below every staff and for labels side by side, and weights of lines."""
    stave = options.stave
    room = ceil(depth_of(rows, stave.text) / _HALF_SPACE)
    # Measured: systems stand apart by the first, and by a part of the second even where a system is one staff.
    staves = _BETWEEN_STAVES + room if "<staves>" in musicxml else 0
    weights = {name: usual * stave.lines for name, usual in _LINES.items()} if stave.lines != 1 else {}
    apart = {} if stave == USUAL_STAVE else _APART
    between = _BETWEEN_SYSTEMS * max(1.0, stave.text) + room
    return {"spacingSystem": min(_MOST_SPACING, round(between * stave.systems)),
            "spacingStaff": min(_MOST_SPACING, staves),
            "spacingLinear": min(1.0, _SPACING_LINEAR * looser * stave.room),
            "lyricSize": min(_MOST_WORDS, _WORDS * stave.text)} | weights | apart


def _below(rows: int, options: PageOptions) -> int:
    """Room for the marks of the last system. [page units]"""
    return ceil(depth_of(rows, options.stave.text) / _INNER)


def _number_rise(options: PageOptions) -> int:
    """Room between the running head and the first system for numbers of measures that grew. [page units]"""
    return ceil(max(0.0, _NUMBER_RISE * options.stave.text - _HEAD_RISE / options.scale))


def _heading(copy: Copy, width: float, times: float) -> Heading:
    width /= times
    subtitle = wrap(copy.subtitle, MAKER_SIZE if copy.part else SUBTITLE_SIZE, width, "regular")
    return Heading(title=wrap(copy.title, TITLE_SIZE, width, "bold")[:3],
                   subtitle=subtitle[:2 if times == 1 else 4],
                   movement=wrap(copy.movement, SUBTITLE_SIZE, width, "regular")[:1], part=copy.part,
                   makers=tuple(line for name in copy.makers
                                for line in wrap(name, MAKER_SIZE, width / (2 if copy.part else 1), "regular"))[:2],
                   times=times)


def _sorted(used: dict[Face, set[str]], heading: Heading) -> tuple[tuple[Face, str], ...]:
    """Return characters by face, those of the heading among them, always in the same order."""
    given: tuple[tuple[tuple[str, ...], Face], ...] = (
        (heading.title, "bold"), (heading.subtitle, "regular"), (heading.makers, "regular"),
        (heading.movement, "regular"), ((heading.part,), "bold"))
    for lines, face in given:
        for part, shown in runs("".join(lines), face):
            used.setdefault(shown, set()).update(part)
    return tuple((face, "".join(sorted(found))) for face, found in sorted(used.items()))


def _sheet(svg: str, copy: Copy, options: PageOptions, rows: int, inner: float, used: dict[Face, set[str]], *,
           size_mm: tuple[float, float] | None = None, px_per_unit: float = 1.0, heading: str = "") -> Sheet:
    """Turn the engraver's picture into ours; `used` collects the characters of its texts."""
    if not _STAFF.search(svg):
        raise ValueError("the engraver found no music to show")
    sizes: Sizes = {}
    root = etree.fromstring(thinned(svg, sizes, options.id_prefix).encode())
    tidied(root, sizes, options.id_prefix)
    signs = scales_of(sizes, options.id_prefix)
    page = styled(root)
    if options.stave.lines != 1:
        exact_lines(page, _LINES["staffLineWidth"] * _HALF_SPACE * options.stave.lines)
    lines: list[etree._Element] = []
    for child in list(page):
        if "pgHead" in classes(child):
            page.remove(child)
        elif "system" in classes(child):
            lines.append(child)
    _number_rests(lines, dict(copy.ranges), options.stave.text)
    systems = tuple(system_of(line, signs) for line in lines)
    above = _has_lyrics(copy)
    if above:
        systems = tuple(_made_way(line, system, height_of(rows, options.stave.text), signs)
                        for line, system in zip(lines, systems, strict=True))
    prefixed(root, options.id_prefix)
    set_music_signs(page)
    fit_texts(page, inner or float("inf"))
    for line in lines:
        line.addprevious(_slot("line"))
        line.append(_slot("marks"))
    for verse in () if above else (group for group in root.iter(f"{{{SVG}}}g") if "verse" in classes(group)):
        # The part's own lyrics make way for our rows.
        verse.set("transform", f"translate(0, {depth_of(rows, options.stave.text):g})")
    for face, characters in used_characters(root).items():
        used.setdefault(face, set()).update(characters)
    page.append(_slot("foot"))
    # First, so that a reader of the text meets the title before the music.
    page.insert(0, _slot("head"))
    _size(root, size_mm, px_per_unit)
    whole = etree.tostring(root, encoding="unicode").replace(_HEAD_HERE, heading, 1)
    opening, *found = whole.split(_LINE_HERE)
    *others, last = (part.split(f"{_MARKS_HERE}</g>") for part in found)
    return Sheet(opening=opening, lines=tuple(part[0] for part in (*others, last)), systems=systems,
                 closing=last[1].split(_FOOT_HERE)[1])


def _number_rests(lines: list[etree._Element], ranges: Mapping[str, str], times: float) -> None:
    """Print the numbers of its measures under each long rest, `times` their usual size."""
    for line in lines if ranges else ():
        for rest, (name, middle, bottom) in rests_of(line):
            if name in ranges:
                owner = rest.getparent()
                assert owner is not None
                text = etree.SubElement(owner, f"{{{SVG}}}text", {
                    "class": "range", "x": f"{middle:.0f}", "y": f"{bottom + _RANGE_DROP * times:.0f}",
                    "text-anchor": "middle", "font-size": f"{_RANGE_SIZE * times:g}px", "font-style": "italic",
                    "stroke": "none"})
                etree.SubElement(text, f"{{{SVG}}}tspan").text = ranges[name]


def _made_way(line: etree._Element, system: System, height: float, signs: Signs) -> System:
    """Move what stands above the staff for everyone up, above our rows, all by the same; return the system so."""
    if not system.staves:
        return system
    staff = system.staves[0]
    lows = {group: lowest_of(group, signs) for group in line.iter(f"{{{SVG}}}g")
            if not MAKES_WAY.isdisjoint(classes(group))}
    above = {group: low for group, low in lows.items() if low <= staff.top + _HALF_SPACE}
    up = height + max(0.0, max(above.values(), default=staff.rise) - staff.rise)
    for group in above:
        group.set("transform", f"translate(0, {-up:g})")
    return replace(system, top=min(staff.rise - height, system.top - (up if above else 0.0)))


def _slot(name: str) -> etree._Element:
    """Return a sign of ours at which the picture is parted."""
    slot = etree.Element(f"{{{SVG}}}slot")
    slot.set("class", name)
    return slot


def _size(root: etree._Element, size_mm: tuple[float, float] | None, px_per_unit: float) -> None:
    """Write width and height: of the paper, else of what the picture shows."""
    box = [float(number) for number in root.get("viewBox", "0 0 100 100").split()]
    width, height = size_mm or (box[2] * px_per_unit, box[3] * px_per_unit)
    unit = "mm" if size_mm else "px"
    root.set("width", f"{width:g}{unit}")
    root.set("height", f"{height:g}{unit}")

"""Engrave one part with our marks: pages for paper, one long page for a screen, short excerpts, sound.

The engraver (verovio) holds the interpreter's lock while it works: to engrave several parts at once, use processes.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal

from lxml import etree

from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.fonts import Face, data_path
from analyzer.engrave.marks import by_class, draw_marks, line_count
from analyzer.engrave.svg import (
    MAKER_SIZE,
    SUBTITLE_SIZE,
    TITLE_SIZE,
    Heading,
    draw_foot,
    draw_heading,
    embed_fonts,
    fit_texts,
    heading_height,
    parsed,
    set_music_signs,
    tidy,
    used_characters,
    wrap,
)
from analyzer.marking.mark import Mark
from analyzer.score.document import Document

__all__ = ["NoteTime", "PageOptions", "engraved_excerpt", "engraved_pages", "engraving_copy", "excerpt_svg", "midi_of",
           "note_times"]

Paper = Literal["a4", "letter", "screen"]

PAPER_MM: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height; A4 of ISO 216, letter of ANSI/ASME Y14.1 (8.5 by 11 inches). [mm]"""

LARGE_PRINT = 1.5
"""How much larger everything is in large print: a staff of 10.8 mm instead of 7.2 mm.

Judged: at 1.3 a mark is still below 12 points, at 1.7 fewer than three measures of sixteenths fit a line.
"""
_UNITS_PER_MM = 10.0                 # the engraver's page units: staff 72 units high, 7.2 mm on paper
_UNITS_PER_PX = 2.0                  # on a screen: staff 36 px high, marks 16 px
_MARGIN = 100                        # [page units] 10 mm on paper
_SCREEN_MARGIN = 30
_FOOT = 110                          # [page units] for the two lines at the foot
_FAR = 180.0
"""A mark may stand one staff space beside its note. [engraver's units]

Measured: 132 at most in real parts at all sizes; 1300 where a measure is wider than a phone and has to be squeezed.
"""
_SHRINK, _MOST_SHRINKS = 1.2, 8      # then the music is engraved smaller, until the widest measure fits
_LAYOUT: dict[str, Any] = {
    # Measured: with these two the marks of sixteenths keep apart (0 of 396 touch; with the defaults 51).
    "lyricSize": 3.6, "lyricWordSpace": 2.0,
    # Two rows of marks need air for the tray and the square; the next system, room for the row that was moved down.
    "lyricHeightFactor": 1.35, "spacingSystem": 7, "spacingStaff": 13,
    "footer": "none", "svgViewBox": True, "svgFormatRaw": True, "xmlIdSeed": 1, "mnumInterval": 0,
    "breaksNoWidow": True,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOptions:
    """Form of the pages.

    `paper` ``screen`` gives one page as long as the music, `width_px` wide. `large_print` enlarges everything by
    `LARGE_PRINT`. `id_prefix` goes before the ids of notes (``n12``) and measures (``m3``), for pages that show several
    pictures. Without `embed_fonts` a picture is smaller and relies on fonts with the widths of Times.
    """

    paper: Paper = "a4"
    large_print: bool = False
    width_px: int = 900
    id_prefix: str = ""
    embed_fonts: bool = True

    def __post_init__(self) -> None:
        """Refuse sizes that no music fits on."""
        if self.paper not in ("a4", "letter", "screen"):
            raise ValueError(f"paper is a4, letter or screen, not {self.paper!r}")
        if not 200 <= self.width_px <= 10000:
            raise ValueError(f"width_px is {self.width_px}; it goes from 200 to 10000")

    @property
    def scale(self) -> float:
        """Enlargement against the usual size."""
        return LARGE_PRINT if self.large_print else 1.0

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the sheet. [mm] A screen page counts as A4."""
        return PAPER_MM["a4" if self.paper == "screen" else self.paper]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTime:
    """When the note with ordinal `ref` starts in the sound of `midi_of`. [s]"""

    ref: int
    onset_s: float


def engraved_pages(musicxml: str, options: PageOptions | None = None) -> tuple[str, ...]:
    """Engrave an `engraving_copy`; return one SVG a page.

    The pictures hold real text, need no other file, and are the same bytes for the same input.

    Raises
    ------
    ValueError
        If the engraver cannot read the music.
    """
    options = options or PageOptions()
    source = _parse(musicxml)
    shrink = 1.0
    for _ in range(_MOST_SHRINKS):
        pages = _laid_out(source, options, shrink)
        if pages.moved <= _FAR:
            break
        shrink *= _SHRINK
    return tuple(_written(root, pages.used if options.embed_fonts else {}) for root in pages.roots)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pages:
    """Finished pictures, the characters they use, and how far a mark stands from its note. [engraver's units]"""

    roots: tuple[etree._Element, ...]
    used: dict[Face, set[str]]
    moved: float


def _laid_out(source: etree._Element, options: PageOptions, shrink: float) -> _Pages:
    paper = options.paper != "screen"
    scale = options.scale / shrink
    margin = round(_MARGIN / scale) if paper else _SCREEN_MARGIN
    if paper:
        page_width, page_height = (round(mm * _UNITS_PER_MM / scale) for mm in options.size_mm)
    else:
        page_width, page_height = max(100, round(options.width_px * _UNITS_PER_PX / scale)), 60000
    inner = (page_width - 2 * margin) * 10.0
    heading = _heading(source, inner) if paper else Heading()
    toolkit = _load(_one_line_header(source), _LAYOUT | {
        "pageWidth": page_width, "pageHeight": page_height, "pageMarginLeft": margin, "pageMarginRight": margin,
        "pageMarginTop": margin, "pageMarginBottom": margin + (_FOOT if paper else 0), "adjustPageHeight": not paper,
        "header": "encoded" if heading.title or heading.subtitle or heading.makers else "none",
        # The engraver's own header is one line; the rest of ours is asked for as the margin below it.
        "bottomMarginHeader": min(24.0, max(0.0, (heading_height(heading) - 324) / 90)),
    })
    roots = [parsed(toolkit.renderToSVG(number), options.id_prefix) for number in range(1, toolkit.getPageCount() + 1)]
    lines = line_count(source)
    used: dict[Face, set[str]] = {}
    moved = 0.0
    running = " · ".join(part for part in (_text(source, "work/work-title"), _subtitle(source)) if part)
    for number, root in enumerate(roots, start=1):
        foot = f"{running} · {number} / {len(roots)}".lstrip(" ·") if paper else ""
        moved = max(moved, _finish(root, options, lines=lines, used=used, heading=heading if number == 1 else Heading(),
                                   inner=inner, foot=foot, foot_y=(page_height - 2 * margin) * 10.0))
        if paper:
            root.set("width", f"{options.size_mm[0]:g}mm")
            root.set("height", f"{options.size_mm[1]:g}mm")
        else:
            _size(root, options.width_px)
    return _Pages(roots=tuple(roots), used=used, moved=moved)


def engraved_excerpt(musicxml: str, options: PageOptions | None = None) -> str:
    """Engrave a few measures in one line, as one SVG trimmed to the music, without title or foot.

    Sizes are those of a screen page; `options` gives large print, id prefix and fonts.
    """
    options = replace(options or PageOptions(), paper="screen")
    source = _parse(musicxml)
    toolkit = _load(musicxml, _LAYOUT | {
        "breaks": "none", "adjustPageWidth": True, "adjustPageHeight": True, "header": "none", "pageWidth": 60000,
        "pageHeight": 60000, "pageMarginLeft": _SCREEN_MARGIN, "pageMarginRight": _SCREEN_MARGIN,
        "pageMarginTop": _SCREEN_MARGIN, "pageMarginBottom": _SCREEN_MARGIN + 12})
    root = parsed(toolkit.renderToSVG(1), options.id_prefix)
    used: dict[Face, set[str]] = {}
    _finish(root, options, lines=line_count(source), used=used, heading=Heading(), inner=0.0, foot="", foot_y=0.0)
    _size(root, float(root.get("viewBox", "0 0 100 100").split()[2]) / _UNITS_PER_PX * options.scale)
    return _written(root, used if options.embed_fonts else {})


def excerpt_svg(
    document: Document, part_id: str, measures: tuple[int, int], marks: Iterable[Mark] = (), *,
    options: PageOptions | None = None,
) -> str:
    """Engrave measures `measures[0]` to `measures[1]` of one part in one line, as an SVG to stand in a page.

    Parameters
    ----------
    document : Document
        The score; it is not changed.
    part_id : str
        Id of the part.
    measures : (int, int)
        First and last measure index, both shown (a line's `measures[k].index`, not the printed number).
    marks : iterable of Mark
        What stands under the notes; marks of other parts and measures are left out.
    options : PageOptions, optional
        Large print; `id_prefix`, which keeps the ids of several pictures in one page apart; `embed_fonts` False where
        the page has the faces already.

    Returns
    -------
    str
        One `<svg>` trimmed to the music, with width and height in px (a staff is 36 px high), without title or foot.

    Raises
    ------
    ValueError
        If the part has no music, the measures lie outside it, or the engraver cannot read them.
    """
    return engraved_excerpt(engraving_copy(document, part_id, marks, measures=measures), options)


def midi_of(document: Document, part_id: str, *, measures: tuple[int, int] | None = None) -> bytes:
    """Return one part, or some measures of it, as a Standard MIDI File, without our marks."""
    import base64

    toolkit = _load(engraving_copy(document, part_id, measures=measures, fold=False), _LAYOUT | {"breaks": "none"})
    return base64.b64decode(toolkit.renderToMIDI())


def note_times(document: Document, part_id: str, *, measures: tuple[int, int] | None = None) -> tuple[NoteTime, ...]:
    """Return when each note of `midi_of` starts, by time; a note that a repeat brings again comes again."""
    toolkit = _load(engraving_copy(document, part_id, measures=measures, fold=False), _LAYOUT | {"breaks": "none"})
    times = []
    for event in toolkit.renderToTimemap():
        for name in event.get("on", ()):
            # A repeated note has the id with a suffix.
            plain = str(name).split("-rend")[0]
            if plain[:1] == "n" and plain[1:].isdigit():
                times.append(NoteTime(ref=int(plain[1:]), onset_s=float(event["tstamp"]) / 1000))
    return tuple(times)


def _parse(musicxml: str) -> etree._Element:
    try:
        return etree.fromstring(musicxml.encode("utf-8"))
    except etree.XMLSyntaxError as error:
        raise ValueError(f"the copy to engrave is no XML: {error}") from None


def _load(musicxml: str, layout: dict[str, Any]) -> Any:
    import verovio

    # Warnings about ties and slurs that a cut has opened are expected and would go to the terminal.
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit(False)
    # The default path is known only in the thread that imported verovio.
    toolkit.setResourcePath(str(data_path()))
    toolkit.setInputFrom("musicxml")
    toolkit.setOptions(layout)
    if not toolkit.loadData(musicxml) or toolkit.getPageCount() < 1:
        raise ValueError("the engraver cannot read this music")
    return toolkit


def _one_line_header(source: etree._Element) -> str:
    """Return the copy with one plain header line, to keep room that `bottomMarginHeader` then widens."""
    copy = etree.fromstring(etree.tostring(source))
    for path in ("work", "movement-title", "identification", "credit"):
        for element in copy.findall(path):
            copy.remove(element)
    # A credit: the header that the engraver makes up from a title would come back on every page.
    credit = etree.Element("credit", page="1")
    etree.SubElement(credit, "credit-words", justify="center", valign="top").text = "x"
    copy.insert(0, credit)
    return etree.tostring(copy, encoding="unicode")


def _text(source: etree._Element, path: str) -> str:
    return " ".join((source.findtext(path) or "").split())


def _subtitle(source: etree._Element) -> str:
    return next((" ".join((credit.findtext("credit-words") or "").split()) for credit in source.findall("credit")
                 if credit.findtext("credit-type") == "subtitle"), "")


def _heading(source: etree._Element, width: float) -> Heading:
    def makers() -> Iterable[str]:
        for creator in source.findall("identification/creator"):
            name = " ".join((creator.text or "").split())
            if name:
                yield f"arr. {name}" if creator.get("type") == "arranger" else name

    return Heading(title=wrap(_text(source, "work/work-title"), TITLE_SIZE, width, "bold")[:3],
                   subtitle=wrap(_subtitle(source), SUBTITLE_SIZE, width, "regular")[:2],
                   makers=tuple(line for name in makers() for line in wrap(name, MAKER_SIZE, width, "regular"))[:2])


def _finish(
    root: etree._Element, options: PageOptions, *, lines: int, used: dict[Face, set[str]], heading: Heading,
    inner: float, foot: str, foot_y: float,
) -> float:
    """Turn the engraver's picture into ours; return how far a mark stands from its note at most."""
    for header in by_class(root, "pgHead"):
        parent = header.getparent()
        if parent is not None:
            parent.remove(header)
    forms, moved = draw_marks(root, lines=lines, prefix=options.id_prefix)
    page = tidy(root)
    draw_heading(page, heading, inner)
    if foot:
        draw_foot(page, foot, tuple(forms), width=inner, y=foot_y)
    set_music_signs(page)
    fit_texts(page, inner or float("inf"))
    for face, characters in used_characters(root).items():
        used.setdefault(face, set()).update(characters)
    return moved


def _size(root: etree._Element, width_px: float) -> None:
    box = [float(number) for number in root.get("viewBox", "0 0 100 100").split()]
    root.set("width", f"{width_px:g}px")
    root.set("height", f"{width_px * box[3] / box[2]:g}px")


def _written(root: etree._Element, used: dict[Face, set[str]]) -> str:
    embed_fonts(root, used)
    return etree.tostring(root, encoding="unicode")

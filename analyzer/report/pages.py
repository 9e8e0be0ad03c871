"""Files of pages: `.svg` (part and picture in one), `.pdf` (parts, then pictures), `.html` (the report)."""

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Literal, TypeVar

from analyzer.analysis import Analysis, Planned
from analyzer.marking.mapping import marks
from analyzer.picture.drawing import BASE, FAINT, INK, Drawing, Picture, clean, num
from analyzer.picture.picture import LARGE, WIDE, key_of, pictures_of
from analyzer.problem import unreadable
from analyzer.report.page import Each, name_of, page_html

_UNITS_PER_MM = 4.2                    # [px/mm] on paper: letters of 11 px become 7.4 points high
_MARGIN_MM = 10.0
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class PageChoices:
    """What the user chose: the paper of a PDF and of print, and large print."""

    paper: Literal["a4", "letter"] = "a4"
    large: bool = False


def page_file(analysis: Analysis, ending: str, choices: PageChoices | None = None, *, each: Each = iter) -> bytes:
    """Return the bytes of a page file; the same for the same input.

    Parameters
    ----------
    analysis : Analysis
        The lines to show, in order, each with its own engraved part.
    ending : str
        ``.svg``, ``.pdf`` or ``.html``.
    choices : PageChoices
        Paper and size of print.
    each : callable
        Goes through the lines, perhaps showing progress.

    Raises
    ------
    Unreadable
        If a library of the extra ``engrave`` is missing, or the engraver cannot read the part.
    ValueError
        If the ending is another one.
    """
    choices = choices or PageChoices()
    if ending == ".html":
        return page_html(analysis, lambda one, form: _engraved(analysis, one, form, choices), each=each,
                         large=choices.large).encode()
    if ending == ".svg":
        return _svg(analysis, choices, each).encode()
    if ending == ".pdf":
        return _pdf(analysis, choices, each)
    raise ValueError(f"pages are .svg, .pdf or .html, not {ending!r}")


def _needing(work: Callable[[], _T], where: str) -> _T:
    """Do work that needs the engraving libraries, or say in one line how to get them."""
    try:
        return work()
    except ModuleNotFoundError as error:
        raise unreadable("missing-extra", where=where,
                         what=f"a page with music needs {error.name}, which is not installed",
                         try_="Install the extra: pip install 'lowbrass[engrave]'") from error


def _engraved(analysis: Analysis, one: Planned, form: str, choices: PageChoices) -> tuple[str, ...]:
    def work() -> tuple[str, ...]:
        from analyzer.engrave.engrave import PageOptions, engraved_pages, engraving_copy

        measures = one.plan.line.measures
        whole = len(measures) == len(analysis.document.part_measures(one.part.id))
        copy = engraving_copy(
            analysis.document, one.part.id, marks([one]),
            measures=None if whole or not measures else (measures[0].index, measures[-1].index),
            title=analysis.document.title or "", subtitle=f"{name_of(one)} · {one.plan.horn.description}")
        prefix = f"{form[0]}{analysis.lines.index(one) + 1}-"
        if form == "paper":
            options = PageOptions(paper=choices.paper, large_print=choices.large, id_prefix=prefix)
        else:
            options = PageOptions(paper="screen", width_px=360 if form == "narrow" else 900, id_prefix=prefix,
                                  large_print=choices.large and form == "wide")
        return engraved_pages(copy, options)

    try:
        return _needing(work, analysis.document.name)
    except ValueError as error:
        raise unreadable("cannot-engrave", where=f"{analysis.document.name}, {one.part.name or one.part.id}",
                         what=f"the music cannot be engraved: {error}",
                         try_="Map it without -o, or write an annotated .musicxml and print that from your editor.",
                         ) from error


def _svg(analysis: Analysis, choices: PageChoices, each: Each) -> str:
    """Stack, line by line: heading, engraved part, key, pictures."""
    title = analysis.document.title or analysis.document.name
    parts: list[str] = []
    said: list[str] = []
    y = 0.0
    for number, one in enumerate(each(analysis.lines)):
        head = Drawing()
        if number == 0:
            head.text(12, 34, title, size=24, bold=True)
            y += 44
        head.text(12, y + 18, f"{name_of(one)} · {one.plan.horn.description}", size=14, color=FAINT)
        parts.append(f'<g {BASE}>{head.body()}</g>')
        y += 34
        for page in _engraved(analysis, one, "wide", choices):
            width, height = _size(page)
            scale = WIDE / width
            parts.append(_nested(page, y, WIDE, height * scale))
            y += height * scale + 14
        if not one.plan.notes:
            continue
        grown = LARGE if choices.large else 1.0
        for picture in (key_of(one, width=WIDE / grown), *pictures_of(one, width=WIDE / grown)):
            parts.append(picture.placed(0, y, grown))
            said.append(picture.desc)
            y += picture.height * grown + 8
        y += 24
    words = f"The part with a mark under each note, and below it how the player moves. {' '.join(said)}"
    body = "".join(parts)
    return ('<?xml version="1.0" encoding="UTF-8"?>\n'
            f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'viewBox="-10 0 {num(WIDE + 20)} {num(y + 4)}" width="{num(WIDE + 20)}" height="{num(y + 4)}" role="img" '
            f'aria-labelledby="t d"><title id="t">{escape(clean(title))}</title>'
            f'<desc id="d">{escape(clean(words))}</desc>'
            f'<rect x="-10" width="{num(WIDE + 20)}" height="{num(y + 4)}" fill="#ffffff"/>{body}</svg>\n')


def _size(svg: str) -> tuple[float, float]:
    """Width and height of an engraved picture, from its root. [px]"""
    from lxml import etree

    root = etree.fromstring(svg.encode())
    return float(str(root.get("width", "1px"))[:-2]), float(str(root.get("height", "1px"))[:-2])


def _nested(svg: str, y: float, width: float, height: float) -> str:
    from lxml import etree

    root = etree.fromstring(svg.encode())
    root.set("x", "0")
    root.set("y", num(y))
    root.set("width", num(width))
    root.set("height", num(height))
    root.set("color", INK)
    return etree.tostring(root, encoding="unicode")


def _pdf(analysis: Analysis, choices: PageChoices, each: Each) -> bytes:
    def work() -> bytes:
        from analyzer.engrave.engrave import PageOptions
        from analyzer.engrave.pdf import pdf_of

        options = PageOptions(paper=choices.paper, large_print=choices.large)
        music: list[str] = []
        drawn: list[str] = []
        for one in each(analysis.lines):
            music += _engraved(analysis, one, "paper", choices)
            drawn += sheets_of(one, options.size_mm, scale=LARGE if choices.large else 1.0,
                               title=analysis.document.title or analysis.document.name)
        return pdf_of([*music, *drawn], options, title=analysis.document.title or analysis.document.name)

    return _needing(work, analysis.document.name)


def sheets_of(one: Planned, size_mm: tuple[float, float], *, scale: float = 1.0, title: str = "") -> list[str]:
    """Return the pictures of a line on sheets of paper, each an SVG of the sheet's shape.

    `size_mm` is the sheet, `scale` above 1 draws everything larger.
    """
    if not one.plan.notes:
        return []
    units = _UNITS_PER_MM / scale
    wide, high, margin = size_mm[0] * units, size_mm[1] * units, _MARGIN_MM * units
    width = wide - 2 * margin
    name = "Slide picture" if one.plan.horn.family == "slide" else "Valve picture"
    rest: list[Picture] = [key_of(one, width=width), *pictures_of(one, width=width)]
    sheets: list[str] = []
    while rest:
        head = Drawing()
        head.text(margin, margin + 14, f"{name} · {title}", size=15, bold=True)
        head.text(margin, margin + 31, f"{name_of(one)} · {one.plan.horn.description}", size=12, color=FAINT)
        y = margin + 44
        parts = [f'<g {BASE}>{head.body()}</g>']
        first = True
        while rest and (first or y + rest[0].height <= high - margin):
            picture = rest.pop(0)
            parts.append(picture.placed(margin, y))
            y += picture.height + 10
            first = False
        sheets.append(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(wide)} {num(high)}">'
                      f'{"".join(parts)}</svg>')
    return sheets

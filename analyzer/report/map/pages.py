"""Files of pages: `.svg` (part and picture in one), `.pdf` (the parts as they are handed out), `.html` (the report)."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from html import escape
from typing import Literal, TypeVar

from analyzer.analysis import Analysis, Planned, with_notes
from analyzer.engrave.fonts import Face
from analyzer.engrave.options import PageOptions
from analyzer.marking.which import Pictures, Which, aim_said, asked_for
from analyzer.picture.drawing import BASE, FAINT, INK, MARGIN_MM, UNITS_PER_MM, Drawing, Picture, clean, num
from analyzer.picture.picture import LARGE, WIDE, key_of, pictures_of
from analyzer.problem import unreadable
from analyzer.report.map.page import Each, page_html, subtitle_of
from analyzer.report.map.printed import part_copy
from analyzer.stave import USUAL_MM, USUAL_STAVE, Stave

_T = TypeVar("_T")
_LARGE_SPOTS, _MOST_GROWN = 1.25, 1.7
"""How much larger a sheet of hard spots is drawn in large print, and for one player's eyes at most: judged by eye, as
many spots as stand in two columns, and one at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageChoices:
    """What the user chose: paper of a PDF and of print, large print, which notes are marked, pictures on paper."""

    paper: Literal["a4", "letter"] = "a4"
    large: bool = False
    which: Which = "all"
    pictures: Pictures = "hard"


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
        If a library of the extra ``engrave`` is missing, the engraver cannot read the part, or no line has a note.
    ValueError
        If the ending is another one.
    """
    choices = choices or PageChoices()
    analysis = with_notes(analysis)
    if ending == ".html":
        music = _Music(analysis, choices)
        page = page_html(analysis, music.systems, each=each, large=choices.large, faces=music.faces).encode()
        return _whole(page, analysis, choices)
    if ending == ".svg":
        return _whole(_svg(analysis, choices, each).encode(), analysis, choices)
    if ending == ".pdf":
        return _pdf(analysis, choices, each)
    raise ValueError(f"pages are .svg, .pdf or .html, not {ending!r}")


def _whole(page: bytes, analysis: Analysis, choices: PageChoices) -> bytes:
    """Return a finished page if it shows every mark, one each (a PDF is painted of such pictures)."""
    from analyzer.engrave.drawn import marks_lost, tokens

    planned = sum(note.choice is not None for one in analysis.lines
                  for note in asked_for(one.plan.notes, choices.which))
    found = tokens(page)
    if found != planned:
        raise marks_lost(analysis.document.name, planned, planned - found)
    return page


def _needing(work: Callable[[], _T], where: str) -> _T:
    """Do work that needs the engraving libraries, or say in one line how to get them."""
    try:
        return work()
    except ModuleNotFoundError as error:
        raise unreadable("missing-extra", where=where,
                         what=f"a page with music needs {error.name}, which is not installed",
                         try_="Install the extra: pip install 'lowbrass[engrave]'") from error


class _Music:
    """The engraved lines of a report, and the characters that they show."""

    def __init__(self, analysis: Analysis, choices: PageChoices) -> None:
        self._analysis = analysis
        self._choices = choices
        self._used: dict[Face, set[str]] = {}

    def systems(self, one: Planned, form: str, width_px: int = 0) -> tuple[str, ...]:
        """Engrave a line for a ``narrow`` or ``wide`` page, or one of another form and width, one SVG a system."""
        def work() -> tuple[str, ...]:
            from analyzer.engrave.engrave import engraved, faces_of, systems_with

            again = form != "wide"
            copy = part_copy(self._analysis, one, self._choices.which)
            engraving = engraved(copy, PageOptions(
                paper="screen", width_px=width_px or (360 if again else 900),
                large_print=self._choices.large and not again, again=again,
                stave=_on_a_phone(one) if again else one.plan.player.stave,
                id_prefix=f"{form[0]}{self._analysis.lines.index(one) + 1}-"))
            for face, characters in faces_of(engraving, copy).items():
                self._used.setdefault(face, set()).update(characters)
            return systems_with(engraving, copy)

        return engraved_or_said(work, self._analysis, one)

    def faces(self) -> str:
        """Return the style sheet with the faces of all systems so far."""
        if not self._used:
            return ""
        from analyzer.engrave.fonts import style_sheet

        return style_sheet(self._used)


def _on_a_phone(one: Planned) -> Stave:
    """A player's sizes but for the height of the staff: what is narrow is as large as its width allows."""
    return replace(one.plan.player.stave, staff_mm=USUAL_MM)


def systems_of(analysis: Analysis, one: Planned, widths_px: Mapping[str, int],
               ) -> tuple[dict[str, tuple[str, ...]], str]:
    """Return the systems of a line in forms of these widths, by form, and the style sheet of their faces."""
    music = _Music(analysis, PageChoices())
    return {form: music.systems(one, form, width_px) for form, width_px in widths_px.items()}, music.faces()


def _notice(analysis: Analysis) -> str:
    """Return what a page on its own says of care: a part is handed out without the words around it."""
    return f"{analysis.cautions[0]} {analysis.cautions[-1]}"


def _pages(analysis: Analysis, one: Planned, options: PageOptions, which: Which, notice: str = "",
           ) -> tuple[str, ...]:
    """Engrave a line, one SVG a page."""
    from analyzer.engrave.engrave import engraved_pages

    def work() -> tuple[str, ...]:
        return engraved_pages(part_copy(analysis, one, which, notice=notice), options)

    return engraved_or_said(work, analysis, one)


def engraved_or_said(work: Callable[[], _T], analysis: Analysis, one: Planned) -> _T:
    """Engrave, or say in one line why that cannot be done."""
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
        aimed = " · in, out: the slide’s move for the chord, in mm" if any(
            map(aim_said, asked_for(one.plan.notes, choices.which))) else ""
        head.text(12, y + 18, subtitle_of(one) + aimed, size=14, color=FAINT)
        parts.append(f'<g {BASE}>{head.body()}</g>')
        y += 34
        options = PageOptions(paper="screen", large_print=choices.large, id_prefix=f"l{number + 1}-",
                              stave=one.plan.player.stave)
        for page in _pages(analysis, one, options, choices.which):
            width, height = _size(page)
            scale = WIDE / width
            parts.append(nested(page, y, WIDE, height * scale))
            y += height * scale + 14
        if not one.plan.notes:
            continue
        grown = LARGE if choices.large else 1.0
        for picture in (key_of(one, width=WIDE / grown), *pictures_of(one, width=WIDE / grown)):
            parts.append(picture.placed(0, y, grown))
            said.append(picture.desc)
            y += picture.height * grown + 8
        y += 24
    foot = Drawing()
    foot.text(12, y, _notice(analysis), size=11, color=FAINT)
    parts.append(f'<g {BASE}>{foot.body()}</g>')
    y += 14
    words = f"The part with a mark under each note, and below it how the player moves. {' '.join(said)}"
    body = "".join(parts)
    return ('<?xml version="1.0" encoding="UTF-8"?>\n'
            f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'viewBox="-10 0 {num(WIDE + 20)} {num(y + 4)}" width="{num(WIDE + 20)}" height="{num(y + 4)}" role="img" '
            f'aria-labelledby="t d"><title id="t">{escape(clean(title))}</title>'
            f'<desc id="d">{escape(clean(words))}</desc>'
            f'<rect x="-10" width="{num(WIDE + 20)}" height="{num(y + 4)}" fill="#ffffff"/>{body}</svg>\n')


_SIZED = re.compile(r'<svg [^>]*? width="([\d.]+)px" height="([\d.]+)px"')


def _size(svg: str) -> tuple[float, float]:
    """Width and height of an engraved picture, from its root. [px]"""
    found = _SIZED.match(svg)
    assert found is not None
    return float(found[1]), float(found[2])


def nested(svg: str, y: float, width: float, height: float) -> str:
    """Return an engraved picture to stand within another, at another size."""
    opening, rest = svg.split(">", 1)
    opening = re.sub(r' (?:width|height)="[^"]*"', "", opening)
    return (f'{opening} x="0" y="{num(y)}" width="{num(width)}" height="{num(height)}" color="{INK}">{rest}')


def _pdf(analysis: Analysis, choices: PageChoices, each: Each) -> bytes:
    def work() -> bytes:
        from analyzer.engrave.pdf import pdf_of
        from analyzer.report.map.hard_spots import hard_sheet  # a whole review; other pages have none

        options = PageOptions(paper=choices.paper, large_print=choices.large, embed_fonts=False)
        sheets: list[str] = []
        for one in each(analysis.lines):
            own = replace(options, stave=one.plan.player.stave)
            scale = LARGE if choices.large else 1.0
            grown = min(scale, _LARGE_SPOTS) if own.stave == USUAL_STAVE else max(
                1.0, own.scale * max(1.0, own.stave.text))
            hard = None if choices.pictures == "none" else engraved_or_said(
                partial(hard_sheet, analysis, one, options.size_mm, scale=min(grown, _MOST_GROWN)), analysis, one)
            sheets += _pages(analysis, one, own, choices.which, notice="" if hard else _notice(analysis))
            sheets += [hard] if hard else []
            if choices.pictures == "all":
                sheets += sheets_of(one, options.size_mm, scale=scale,
                                    title=analysis.document.title or analysis.document.name)
        return pdf_of(sheets, options, title=analysis.document.title or analysis.document.name)

    return _needing(work, analysis.document.name)


def sheets_of(one: Planned, size_mm: tuple[float, float], *, scale: float = 1.0, title: str = "") -> list[str]:
    """Return the pictures of a line on sheets of paper, each an SVG of the sheet's shape.

    `size_mm` is the sheet, `scale` above 1 draws everything larger.
    """
    if not one.plan.notes:
        return []
    units = UNITS_PER_MM / scale
    wide, high, margin = size_mm[0] * units, size_mm[1] * units, MARGIN_MM * units
    width = wide - 2 * margin
    name = "Slide picture" if one.plan.horn.family == "slide" else "Valve picture"
    rest: list[Picture] = [key_of(one, width=width), *pictures_of(one, width=width)]
    sheets: list[str] = []
    while rest:
        head = Drawing()
        head.text(margin, margin + 14, f"{name} · {title}", size=15, bold=True)
        head.text(margin, margin + 31, subtitle_of(one), size=12, color=FAINT)
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


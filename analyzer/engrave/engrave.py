"""Engrave one part with our marks: pages for paper, one long page for a screen, short excerpts.

The music is engraved once, without marks (`layout`); the marks are drawn into it, so that other marks under the same
music cost a hundredth of an engraving: `engraved` first, then `pages_with` or `mark_layers` as often as marks change.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from analyzer.engrave.copy import Copy, engraving_copy
from analyzer.engrave.drawn import all_drawn
from analyzer.engrave.fonts import Face, style_sheet
from analyzer.engrave.geometry import System
from analyzer.engrave.layout import SMALLER, STEPS, Engraving, Sheet, in_one_line, laid_out
from analyzer.engrave.marks import (
    MarkRow,
    depth_of,
    drawn,
    farthest,
    form_of,
    row_names_of,
    row_of_line,
    rows_under,
    used_by,
)
from analyzer.engrave.options import PAPER_MM, PageOptions
from analyzer.engrave.sound import midi_of, note_times
from analyzer.engrave.svg import LOOK, SVG, foot_of
from analyzer.marking.mark import Mark
from analyzer.score.document import Document

__all__ = ["PAPER_MM", "Copy", "Engraving", "PageOptions", "engraved", "engraved_excerpt", "engraved_pages",
           "engraving_copy", "excerpt_svg", "faces_of", "mark_layers", "midi_of", "new_layers", "note_times",
           "pages_with", "places_of", "suits", "systems_with"]

FAR = 180.0
"""A mark may stand one staff space beside its note. [engraver's units]

Measured on the samples: 0 but for quick notes with an attachment on most, where marks stand up to 1100 away until the
music is set wider, then 120.
"""
_AIR = 100.0
"""Above and below a system that stands alone. [engraver's units]"""
LayOut = Callable[[Copy, PageOptions, int, int], Engraving]
"""Engraves music for an option set, with room for some rows of marks, in one of the `STEPS` degrees of looseness."""


def engraved(copy: Copy, options: PageOptions | None = None, *, lay_out: LayOut = laid_out) -> Engraving:
    """Engrave the music of a copy so that its marks fit below the notes.

    Parameters
    ----------
    copy : Copy
        Of `engraving_copy`.
    options : PageOptions, optional
        Form of the pages.
    lay_out : callable
        Does the engraving; a caller who engraves the same music again and again may remember its results.

    Raises
    ------
    ValueError
        If the engraver cannot read the music.
    """
    options = options or PageOptions()
    rows = len(row_of_line(copy.marks))
    step = 0
    while True:
        engraving = lay_out(copy, options, rows, step)
        if step == STEPS - 1 or suits(engraving, copy.marks, copy.row_names):
            return engraving
        under = _rows(engraving, copy.marks, copy.row_names)
        needed = max((row.nth + 1 for found in under for row in found), default=0)
        if needed > rows:
            rows = needed
        else:
            step = max(step + 1, SMALLER if _one_measure_is_too_wide(engraving, under) else 0)


def _one_measure_is_too_wide(engraving: Engraving, rows: Sequence[Sequence[MarkRow]]) -> bool:
    systems = _systems(engraving)
    return any(system.measures == 1 and farthest(under) > FAR for system, under in zip(systems, rows, strict=True))


def suits(engraving: Engraving, marks: Sequence[Mark], row_names: Sequence[str] = ()) -> bool:
    """Tell whether marks fit into an engraving made for others: enough rows, and each mark by its note."""
    return _fit(engraving, _rows(engraving, marks, row_names))


def _fit(engraving: Engraving, rows: Sequence[Sequence[MarkRow]]) -> bool:
    return (max((row.nth + 1 for under in rows for row in under), default=0) <= engraving.rows
            and all(farthest(under) <= FAR for under in rows))


def pages_with(engraving: Engraving, copy: Copy) -> tuple[str, ...]:
    """Return the pages of an engraving, one SVG each, with the marks of `copy`; its music is not looked at.

    The pictures hold real text, need no other file, and are the same bytes for the same input.
    """
    layers = iter(mark_layers(engraving, copy.marks, copy.row_names))
    sheet = style_sheet(faces_of(engraving, copy)) if engraving.options.embed_fonts else ""
    style = f'<style type="text/css">{sheet}</style>' if sheet else ""
    pages = []
    for page, foot in zip(engraving.sheets, _feet(engraving, copy), strict=True):
        lines = "".join(f"{line}{next(layers)}</g>" for line in page.lines)
        opening, rest = page.opening.split(">", 1)
        pages.append(f"{opening}>{style}{rest}{lines}{foot}{page.closing}")
    return tuple(pages)


def systems_with(engraving: Engraving, copy: Copy) -> tuple[str, ...]:
    """Return the systems of an engraving one by one, each an SVG as wide as the page, for a web page to break between.

    The first holds the glyphs of all: they belong into one document, which has the faces of `faces_of`. Titles and
    feet are left out.
    """
    marked = zip(_rows(engraving, copy.marks, copy.row_names), mark_layers(engraving, copy.marks, copy.row_names),
                 strict=True)
    glyphs = dict.fromkeys(glyph for sheet in engraving.sheets for glyph in sheet.glyphs)
    width = engraving.width + 2 * engraving.margin
    found: list[str] = []
    for sheet in engraving.sheets:
        for line, system in zip(sheet.lines, sheet.systems, strict=True):
            under, layer = next(marked)
            used = max((row.nth + 1 for row in under), default=0)
            # The part's own lyrics were moved down by all rows that room was kept for.
            below = depth_of(engraving.rows if system.has_lyrics else used)
            top, bottom = system.top - _AIR, system.bottom + below + _AIR
            defined = "" if found else f'<defs>{"".join(glyphs)}</defs>'
            found.append(
                f'<svg xmlns="{SVG}" viewBox="0 {top:.0f} {width:.0f} {bottom - top:.0f}" {LOOK} overflow="visible">'
                f'{defined}<g transform="translate({engraving.margin:.0f})">{line}{layer}</g></g></svg>')
    return tuple(found)


def faces_of(engraving: Engraving, copy: Copy) -> dict[Face, set[str]]:
    """Return the characters of an engraving with the marks of `copy`, by the face that shows them."""
    used: dict[Face, set[str]] = {face: set(characters) for face, characters in engraving.used}
    for face, characters in used_by(copy.marks, row_names_of(copy.marks, copy.row_names)).items():
        used.setdefault(face, set()).update(characters)
    for foot in _feet(engraving, copy):
        used.setdefault("regular", set()).update(foot)
    return used


def mark_layers(engraving: Engraving, marks: Sequence[Mark], row_names: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the marks of every system, from the first on, each an SVG group ``<g class="marks" id="…">``.

    The id is the options' `id_prefix`, ``marks-`` and the number of the system in the whole part, from 0: so a page
    that shows the pictures can put the group with new marks in the place of the one with the old. Groups of marks
    (``class="mark usual"``) and of struck heads tell their note by `data-ref`.
    """
    layers = _layers(engraving, _rows(engraving, marks, row_names), row_names_of(marks, row_names))
    all_drawn(layers, marks)
    return layers


def new_layers(
    engraving: Engraving, marks: Sequence[Mark], before: Sequence[Mark] | None = None,
) -> tuple[str, ...] | None:
    """Return the groups of `mark_layers` that differ from those of the marks `before`, all of them without these.

    None if the marks do not suit the engraving; the marks `before` must have. Of a single changed mark only its system
    is looked at, a hundredth of the work.
    """
    among = list(range(len(_systems(engraving))))
    if before is not None and row_of_line(before) == row_of_line(marks):
        others = {mark.ref for mark in set(before).symmetric_difference(marks)}
        among = [nth for nth, system in enumerate(_systems(engraving)) if not others.isdisjoint(system.heads)]
    rows = _rows(engraving, marks, (), among)
    return _layers(engraving, rows, row_names_of(marks), among) if _fit(engraving, rows) else None


def places_of(engraving: Engraving) -> Engraving:
    """Return what `new_layers` needs of an engraving: where its notes stand, without the text of its pages."""
    return replace(engraving, sheets=tuple(
        replace(sheet, opening="", lines=(), closing="") for sheet in engraving.sheets))


def _layers(engraving: Engraving, rows: Sequence[Sequence[MarkRow]], names: Mapping[int, str],
            among: Iterable[int] | None = None) -> tuple[str, ...]:
    options = engraving.options
    token = "mark-again" if options.again else "mark"
    return tuple(drawn(under, f"{options.id_prefix}marks-{number}", names, token)
                 for number, under in zip(range(len(rows)) if among is None else among, rows, strict=True))


def engraved_pages(copy: Copy, options: PageOptions | None = None) -> tuple[str, ...]:
    """Engrave a copy with its marks; return one SVG a page.

    Raises
    ------
    ValueError
        If the engraver cannot read the music.
    """
    return pages_with(engraved(copy, options), copy)


def engraved_excerpt(copy: Copy, options: PageOptions | None = None) -> str:
    """Engrave a few measures in one line, as one SVG trimmed to the music, without title or foot.

    Sizes are those of a screen page; `options` gives large print, id prefix and fonts.
    """
    return pages_with(engraved(copy, options, lay_out=in_one_line), copy)[0]


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


def _systems(engraving: Engraving) -> list[System]:
    return [system for sheet in engraving.sheets for system in sheet.systems]


def _rows(engraving: Engraving, marks: Sequence[Mark], row_names: Sequence[str],
          among: Iterable[int] | None = None) -> list[list[MarkRow]]:
    """Return the rows of marks of every system, or of those with these numbers."""
    by_ref: dict[int, list[Mark]] = {}
    for mark in sorted(marks, key=lambda found: found.line):
        by_ref.setdefault(mark.ref, []).append(mark)
    order, names = row_of_line(marks), row_names_of(marks, row_names)
    systems = _systems(engraving)
    chosen = systems if among is None else [systems[nth] for nth in among]
    return [rows_under(system, by_ref, order, names) for system in chosen]


def _feet(engraving: Engraving, copy: Copy) -> list[str]:
    """Return the foot of every page: what the part is, page numbers, what the forms of marks on the page mean."""
    if engraving.options.paper == "screen":
        return [""] * len(engraving.sheets)
    by_ref: dict[int, set[str]] = {}
    for mark in copy.marks:
        by_ref.setdefault(mark.ref, set()).add(form_of(mark))
    running = " · ".join(part for part in (copy.title, copy.subtitle) if part)
    return [foot_of(f"{running} · {number} / {len(engraving.sheets)}".lstrip(" ·"), sorted(_forms(sheet, by_ref)),
                    notice=copy.notice, width=engraving.width, y=engraving.height)
            for number, sheet in enumerate(engraving.sheets, 1)]


def _forms(sheet: Sheet, by_ref: Mapping[int, set[str]]) -> set[str]:
    """Return the forms of marks that occur on a page."""
    return set().union(*(by_ref.get(ref, set()) for system in sheet.systems for ref in system.heads))

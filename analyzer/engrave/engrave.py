"""Engrave one part with our marks: pages for paper, one long page for a screen, short excerpts.

The music is engraved once, without marks (`layout`); the marks are drawn into it, so that other marks under the same
music cost a hundredth of an engraving: `engraved` first, then `pages_with` or `mark_layers` as often as marks change.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from lxml import etree

from analyzer.engrave.breaks import SQUEEZES, better_pages, breaks_of, hurried, little_left, with_company
from analyzer.engrave.copy import Copy, engraving_copy
from analyzer.engrave.drawn import all_drawn
from analyzer.engrave.fonts import Face, runs, style_sheet
from analyzer.engrave.geometry import System
from analyzer.engrave.layout import SMALLER, STEPS, Engraving, Sheet, in_one_line, laid_out
from analyzer.engrave.marks import (
    FAR,
    MarkRow,
    depth_of,
    drawn,
    farthest,
    form_of,
    row_names_of,
    row_of_line,
    rows_each,
    rows_of,
    rows_under,
    used_by,
)
from analyzer.engrave.options import PAPER_MM, PageOptions
from analyzer.engrave.sound import midi_of, note_times
from analyzer.engrave.svg import LOOK, SVG, foot_of, running_head
from analyzer.marking.mark import Mark
from analyzer.score.document import Document
from analyzer.stave import USUAL_MM, USUAL_STAVE

__all__ = ["PAPER_MM", "Copy", "Engraving", "PageOptions", "engraved", "engraved_excerpt", "engraved_pages",
           "engraving_copy", "excerpt_svg", "faces_of", "mark_layers", "midi_of", "new_layers", "note_times",
           "pages_with", "places_of", "suits", "systems_with"]

_AIR = 100.0
"""Above and below a system that stands alone. [engraver's units]"""
_LESS_TEXT = 0.9
"""Steps in which words and marks give way where they are asked larger than fits; judged."""
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
    asked = options.stave
    rows = rows_of(copy.marks)
    step = 0
    while True:
        engraving = lay_out(copy, options, rows, step)
        if step == STEPS - 1 or suits(engraving, copy.marks, copy.row_names):
            done = _paged(engraving, copy, lay_out, step) if options.paper != "screen" else engraving
            return done if asked == done.asked else replace(done, asked=asked)
        under = _rows(engraving, copy.marks, copy.row_names)
        needed = max((row.last + 1 for found in under for row in found), default=0)
        if needed > rows:
            rows = needed
        else:
            step = max(step + 1, SMALLER if _one_measure_is_too_wide(engraving, under) else 0)
            if step >= SMALLER and options.stave.text > 1:
                # Whoever asks for large words and marks needs the staff still more: it is the last to give way.
                less = replace(options.stave, text=max(1.0, options.stave.text * _LESS_TEXT))
                options, step, rows = replace(options, stave=less), 0, rows_of(copy.marks)


def _paged(engraving: Engraving, copy: Copy, lay_out: LayOut, step: int) -> Engraving:
    """Return an engraving for paper with better page turns and nothing alone at its end, where that can be."""
    def again(before: Engraving, **changed: Any) -> Engraving | None:
        """Engrave in another form; None if the marks do not fit or something leaves the page."""
        other = lay_out(copy, replace(before.options, **changed), before.rows, step)
        low = 0.0 if other.above else depth_of(other.rows, other.options.stave.text)
        inside = all(sheet.systems[-1].bottom + low <= other.height + _AIR for sheet in other.sheets if sheet.systems)
        return other if inside and suits(other, copy.marks, copy.row_names) else None

    engraving = _well_turned(engraving, again)
    breaks = with_company([sheet.systems for sheet in engraving.sheets])
    other = again(engraving, breaks=breaks) if breaks else None
    return other if other is not None and len(other.sheets) == len(engraving.sheets) else engraving


def _well_turned(engraving: Engraving, again: Callable[..., Engraving | None]) -> Engraving:
    """Return an engraving whose pages turn and end better, where that can be; `again` engraves it in another form."""
    if len(engraving.sheets) < 2:
        return engraving
    # A height of staff that was asked for stays.
    if engraving.options.stave == USUAL_STAVE and little_left([sheet.systems for sheet in engraving.sheets]):
        for squeeze in SQUEEZES:
            smaller = again(engraving, squeeze=squeeze)
            if smaller is not None and len(smaller.sheets) < len(engraving.sheets):
                engraving = smaller
                break
    pages = [sheet.systems for sheet in engraving.sheets]
    wanted = better_pages(pages, *_room(engraving)) if all(pages) else None
    breaks = breaks_of(pages, wanted) if wanted else None
    if wanted is None or breaks is None:
        return engraving
    other = again(engraving, breaks=breaks)
    return other if other is not None and [len(sheet.systems) for sheet in other.sheets] == [
        len(page) for page in wanted] else engraving


def _room(engraving: Engraving) -> tuple[list[float], list[float]]:
    """Return what each system takes of a page, and what each page has. [engraver's units]"""
    heights: list[float] = []
    room: list[float] = []
    below = 0.0 if engraving.above else depth_of(engraving.rows, engraving.options.stave.text)
    for sheet in engraving.sheets:
        tops = [system.top for system in sheet.systems]
        pitches = [two - one for one, two in pairwise(tops)]
        last = sheet.systems[-1]
        # The last system of a page needs no gap below it; this one has it, on the safe side.
        heights += [*pitches, last.bottom - last.top + below + 2 * _AIR]
        room.append(engraving.height - tops[0] + 2 * _AIR)
    return heights, room if len(room) < 2 else [room[0], max(room[1:])]


def _one_measure_is_too_wide(engraving: Engraving, rows: Sequence[Sequence[MarkRow]]) -> bool:
    systems = _systems(engraving)
    return any(system.measures == 1 and farthest(under) > FAR for system, under in zip(systems, rows, strict=True))


def suits(engraving: Engraving, marks: Sequence[Mark], row_names: Sequence[str] = ()) -> bool:
    """Tell whether marks fit into an engraving made for others: enough rows, and each mark by its note."""
    return _fit(engraving, _rows(engraving, marks, row_names))


def _fit(engraving: Engraving, rows: Sequence[Sequence[MarkRow]]) -> bool:
    return (max((row.last + 1 for under in rows for row in under), default=0) <= engraving.rows
            and all(farthest(under) <= FAR for under in rows))


def pages_with(engraving: Engraving, copy: Copy) -> tuple[str, ...]:
    """Return the pages of an engraving, one SVG each, with the marks of `copy`; its music is not looked at.

    The pictures hold real text, need no other file, and are the same bytes for the same input.
    """
    layers = iter(mark_layers(engraving, copy.marks, copy.row_names))
    sheet = style_sheet(faces_of(engraving, copy)) if engraving.options.embed_fonts else ""
    style = f'<style type="text/css">{sheet}</style>' if sheet else ""
    pages = []
    paper = engraving.options.paper != "screen"
    for number, (page, (foot, _)) in enumerate(zip(engraving.sheets, _feet(engraving, copy), strict=True), 1):
        lines = "".join(f"{line}{next(layers)}</g>" for line in page.lines)
        turned = engraving.turned(page.opening) if paper and number % 2 == 0 else page.opening
        opening, rest = turned.split(">", 1)
        pages.append(f"{opening}>{style}{rest}{lines}{foot}{page.closing}")
    return tuple(pages)


def systems_with(engraving: Engraving, copy: Copy) -> tuple[str, ...]:
    """Return the systems of an engraving one by one, each an SVG as wide as the page, for a web page to break between.

    The first holds the glyphs of all: they belong into one document, which has the faces of `faces_of`. Titles and
    feet are left out.
    """
    rows = _rows(engraving, copy.marks, copy.row_names)
    marked = zip(rows, _all_layers(engraving, rows, copy.marks, copy.row_names), strict=True)
    glyphs = dict.fromkeys(glyph for sheet in engraving.sheets for glyph in sheet.glyphs)
    width = engraving.width + 2 * engraving.margin
    found: list[str] = []
    for sheet in engraving.sheets:
        for line, system in zip(sheet.lines, sheet.systems, strict=True):
            under, layer = next(marked)
            used = max((row.last + 1 for row in under), default=0)
            # The part's own lyrics were moved down by all rows that room was kept for.
            below = 0.0 if engraving.above else depth_of(
                engraving.rows if system.has_lyrics else used, engraving.options.stave.text)
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
    for _, said in _feet(engraving, copy):
        for part, face in runs(said, "regular"):
            used.setdefault(face, set()).update(part)
    return used


def mark_layers(engraving: Engraving, marks: Sequence[Mark], row_names: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the marks of every system, from the first on, each an SVG group ``<g class="marks" id="…">``.

    The id is the options' `id_prefix`, ``marks-`` and the number of the system in the whole part, from 0: so a page
    that shows the pictures can put the group with new marks in the place of the one with the old. Groups of marks
    (``class="mark usual"``) and of struck heads tell their note by `data-ref`.
    """
    return _all_layers(engraving, _rows(engraving, marks, row_names), marks, row_names)


def _all_layers(engraving: Engraving, rows: Sequence[Sequence[MarkRow]], marks: Sequence[Mark],
                row_names: Sequence[str]) -> tuple[str, ...]:
    layers = _layers(engraving, rows, row_names_of(marks, row_names))
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
        others = _changed(before, marks)
        among = [nth for nth, system in enumerate(_systems(engraving)) if not others.isdisjoint(system.heads)]
    rows = _rows(engraving, marks, (), among)
    return _layers(engraving, rows, row_names_of(marks), among) if _fit(engraving, rows) else None


def _changed(before: Sequence[Mark], marks: Sequence[Mark]) -> set[int]:
    """Return the notes whose marks differ."""
    if len(before) == len(marks):
        # The same notes in the same order, as a rule: to compare them in pairs costs a fifth of making sets of them.
        pairs = [(one, two) for one, two in zip(before, marks, strict=True) if one != two]
        return {mark.ref for pair in pairs for mark in pair}
    return {mark.ref for mark in set(before).symmetric_difference(marks)}


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
    kept = engraving.sorted_marks
    if among is None and kept and kept[0] is marks and kept[1] == row_names:
        found: list[list[MarkRow]] = kept[2]
        return found
    by_ref: dict[int, list[Mark]] = {}
    for mark in sorted(marks, key=lambda found: found.line):
        by_ref.setdefault(mark.ref, []).append(mark)
    order, names = row_of_line(marks), row_names_of(marks, row_names)
    systems = _systems(engraving)
    chosen = systems if among is None else [systems[nth] for nth in among]
    grown, each = engraving.options.stave.text, rows_each(marks)
    rows = [rows_under(system, by_ref, order, names, each=each, above=engraving.above, grown=grown)
            for system in chosen]
    if among is None:
        kept[:] = marks, row_names, rows
    return rows


def _feet(engraving: Engraving, copy: Copy) -> list[tuple[str, str]]:
    """Return head and foot of every page as SVG, and their words: what the part is, page numbers, what marks mean."""
    pages = len(engraving.sheets)
    if engraving.options.paper == "screen":
        return [("", "")] * pages
    by_ref: dict[int, set[str]] = {}
    for mark in copy.marks:
        by_ref.setdefault(mark.ref, set()).update({form_of(mark), *(["aimed"] if mark.aim else [])})
    title = " · ".join(part for part in (copy.title, copy.subtitle) if part)
    running, grown = copy.running or title, engraving.options.stave.text
    found = []
    turned = hurried([sheet.systems for sheet in engraving.sheets]) if all(
        sheet.systems for sheet in engraving.sheets) else set()
    notice = " ".join(said for said in (copy.notice, _set_smaller(engraving)) if said)
    for number, sheet in enumerate(engraving.sheets, 1):
        head = running_head(running, number, pages, width=engraving.width, y=engraving.head_at,
                            times=grown) if number > 1 else ""
        foot = foot_of("", sorted(_forms(sheet, by_ref)), notice=notice if number == 1 else "",
                       width=engraving.width, times=grown,
                       y=engraving.foot_at, head=head, turn="V.S." if number in turned else "")
        found.append((foot, "".join(map(str, etree.fromstring(foot).itertext()))))
    return found


def _set_smaller(engraving: Engraving) -> str:
    """Say where staff or words are not as large as the player's file asks; empty where they are."""
    asked, got = engraving.asked, engraving.staff_mm
    said = []
    if asked.staff_mm != USUAL_MM and got <= 0.99 * asked.staff_mm:
        said.append(f"staff of {got:.1f} mm, not {asked.staff_mm:g}")
    if (text := engraving.options.stave.text) < asked.text:
        said.append(f"words and marks {text:.2g} times as large as usual, not {asked.text:g}")
    return f"{', '.join(said).capitalize()}: a measure with its marks would not fit the line." if said else ""


def _forms(sheet: Sheet, by_ref: Mapping[int, set[str]]) -> set[str]:
    """Return the forms of marks that occur on a page."""
    return set().union(*(by_ref.get(ref, set()) for system in sheet.systems for ref in system.heads))

"""A practice sheet for the stand: one page of paper, a picture, or a page for a screen; real text, engraved music.

Every exercise is engraved by itself, with its clef and key, below its number, its words and a box for each tempo to
tick. The sheet shrinks a little before it takes a second page.
"""

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from html import escape

from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.engrave import engraved_pages
from analyzer.engrave.options import PageOptions, Paper
from analyzer.picture.drawing import BASE, FAINT, INK, MARGIN_MM, RULE, UNITS_PER_MM, Drawing, clean, num
from analyzer.practice.builder import BEATS, Exercise
from analyzer.practice.drills import RECALL_OFFER, WARM_UP, Drills
from analyzer.practice.weeks import WEEKS_SAID, Day, by_week
from analyzer.report.drill.sheet import part_name, sheet_score, sheet_title
from analyzer.report.drill.stream import PART
from analyzer.report.shell import shell
from analyzer.stave import USUAL_MM

_MARGIN = MARGIN_MM * UNITS_PER_MM
_HEAD = 74.0
_SCREEN_PX = 900
# Staff heights tried, as shares of the screen's 36 px (8.6 mm): 6.9 mm is a usual part's, 5.1 mm a full score's.
_STAFF_PX = 36.0
_SCALES = (0.8, 0.74, 0.68, 0.62, 0.6)
_WORDS = 34.0
"""Heading and words above an exercise."""
_GAP, _MOST_GAP = 6.0, 20.0
_AIR_PX = 11.0
"""Margin of an engraved picture that the sheet does without, above and below."""
_MEMORY = 40.0
"""What is asked from memory, above the foot."""
_WEEKS_HEAD, _WEEK = 34.0, 15.0
"""Heading of the weeks, and the row of one."""
_LETTER = 5.4
"""Width of a letter of 11 units; a little more than our faces take."""

_Engrave = Callable[[Exercise, int, int, int, str], str]


def sheet_file(drills: Drills, ending: str, days: Sequence[Day] = (), *, paper: Paper = "a4") -> bytes:
    """Return the sheet as ``.pdf``, ``.svg`` (pages below each other) or ``.html``; equal drills give equal bytes.

    The weeks stand on it where `days` has some.

    Raises
    ------
    ValueError
        If the ending is another one.
    ImportError
        If music21 (extra `build`) or the engraver (extra `engrave`) is not installed.
    """
    if ending == ".html":
        return _html(drills, days).encode()
    sheets = sheet_pages(drills, days, paper=paper, embed_fonts=ending == ".svg")
    if ending == ".svg":
        return (_stacked(sheets, paper) + "\n").encode()
    if ending == ".pdf":
        from analyzer.engrave.pdf import pdf_of

        return pdf_of(sheets, PageOptions(paper=paper), title=sheet_title(drills))
    raise ValueError(f"a sheet is .pdf, .svg or .html, not {ending!r}")


def _stacked(sheets: Sequence[str], paper: Paper) -> str:
    if len(sheets) == 1:
        return sheets[0]
    wide, high = (mm * UNITS_PER_MM for mm in PageOptions(paper=paper).size_mm)
    body = "".join(f'<g transform="translate(0,{num(high * k)})">{sheet}</g>' for k, sheet in enumerate(sheets))
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(wide)} {num(high * len(sheets))}" '
            f'width="{num(wide)}" height="{num(high * len(sheets))}" role="img">{body}</svg>')


def sheet_pages(drills: Drills, days: Sequence[Day] = (), *, paper: Paper = "a4", embed_fonts: bool = True,
                ) -> tuple[str, ...]:
    """Return the sheet as SVG, a page each: one wherever the music fits it at a size that can be read.

    Weeks that find no room below the music have a page of their own. A player's own height of staff is kept, over as
    many pages as it takes; headings stay as they are.
    """
    wide, high = (mm * UNITS_PER_MM for mm in PageOptions(paper=paper).size_mm)
    engrave = _engraver(drills, embed_fonts=embed_fonts)
    foot = _foot(drills, wide)
    bottom = high - _MARGIN - sum(size + 3 for _, size in foot) - 10 - (_MEMORY if drills.recall else 0)
    weeks = by_week(days)
    room = _WEEKS_HEAD + _WEEK * len(weeks) if weeks else 0.0
    pages: list[list[str]] = []
    own = drills.kit.learner.stave
    scales = _SCALES if own.staff_mm == USUAL_MM else (own.staff_mm * UNITS_PER_MM / _STAFF_PX,)
    for below, scale in [(room, scale) for scale in scales] + [(0.0, scale) for scale in scales if room]:
        pages = _laid_out(drills, engrave, wide, bottom - below, scale)
        if len(pages) == 1:
            break
    table = Drawing()
    if room and below:
        _weeks(table, weeks, bottom - room + _GAP, wide)
    elif room:
        _weeks(table, weeks, _MARGIN + _HEAD, wide)
        pages.append([])
    if room:
        pages[-1].append(f"<g {BASE}>{table.body()}</g>")
    return tuple(_sheet(drills, page, number, len(pages), wide, high, foot) for number, page in enumerate(pages, 1))


def _foot(drills: Drills, wide: float) -> list[tuple[str, float]]:
    """Return the lines at the foot with their sizes: what is not on the sheet, then the cautions."""
    width = wide - 2 * _MARGIN
    remarks = [(line, 10.0) for text in drills.remarks for line in _wrapped(text, width, size=10.0)]
    return remarks + [(line, 9.0) for line in _wrapped(" ".join(drills.cautions), width, size=9.0)]


def _weeks(out: Drawing, rows: Sequence[Sequence[str]], y: float, wide: float) -> None:
    """Draw the weeks: a row each, its days side by side with a box to tick."""
    out.text(_MARGIN, y + 12, "Weeks", size=13, bold=True)
    out.text(_MARGIN + 52, y + 12, f"{WEEKS_SAID} Tick the day.", italic=True)
    columns = max(len(row) for row in rows) - 1
    step = (wide - 2 * _MARGIN - 52) / columns
    for number, (name, *cells) in enumerate(rows, 1):
        out.text(_MARGIN, y + 14 + _WEEK * number, name)
        for k, cell in enumerate(cells):
            x = _MARGIN + 52 + k * step
            out.rect(x, y + 5 + _WEEK * number, 9, 9, stroke=INK)
            out.text(x + 14, y + 14 + _WEEK * number, cell)


def _engraver(drills: Drills, *, embed_fonts: bool) -> _Engrave:
    """Return what engraves one exercise: its place on the sheet, first measure, width [px] and prefix of ids."""
    document, marks = sheet_score(drills, headings=False)
    # How high the staff is comes of the size that the picture is placed at.
    stave = replace(drills.kit.learner.stave, staff_mm=USUAL_MM)

    def engrave(exercise: Exercise, place: int, first: int, width_px: int, prefix: str) -> str:
        copy = engraving_copy(document, PART, marks, measures=(first, first + len(exercise.measures) - 1))
        return engraved_pages(copy, PageOptions(paper="screen", width_px=width_px, id_prefix=f"{prefix}{place}-",
                                                embed_fonts=embed_fonts, stave=stave))[0]

    return engrave


def _laid_out(drills: Drills, engrave: _Engrave, wide: float, bottom: float, scale: float) -> list[list[str]]:
    """Return the shapes of each page at a size of the music; they end above `bottom`."""
    inner = wide - 2 * _MARGIN
    pages: list[list[tuple[int, Exercise, str, float]]] = [[]]
    y, first = _MARGIN + _HEAD, 0
    for place, exercise in enumerate(drills.exercises, 1):
        music = engrave(exercise, place, first, round(inner / scale), "e")
        first += len(exercise.measures)
        height = _WORDS + (_height_px(music) - 2 * _AIR_PX) * scale
        if y + height > bottom and pages[-1]:
            pages.append([])
            y = _MARGIN + _HEAD
        pages[-1].append((place, exercise, music, height))
        y += height + _GAP
    return [_spread(page, wide, bottom, scale) for page in pages]


def _spread(page: list[tuple[int, Exercise, str, float]], wide: float, bottom: float, scale: float) -> list[str]:
    """Return the shapes of one page, the room that is left shared out between the exercises."""
    left = bottom - _MARGIN - _HEAD - sum(height for *_, height in page)
    gap = min(_MOST_GAP, left / max(1, len(page)))
    shapes: list[str] = []
    y = _MARGIN + _HEAD
    for place, exercise, music, height in page:
        head = Drawing()
        _heading(head, exercise, place, y, wide)
        shapes += [f"<g {BASE}>{head.body()}</g>", _placed(music, _MARGIN, y + _WORDS - _AIR_PX * scale, scale)]
        y += height + gap
    return shapes


def _heading(out: Drawing, exercise: Exercise, place: int, y: float, wide: float) -> None:
    """Draw number and title, the metronome with a box to tick for each step, and what to do."""
    out.text(_MARGIN, y + 14, f"{place}. {exercise.title}", size=13, bold=True)
    out.text(_MARGIN, y + 29, exercise.told("as ticked"), italic=True)
    steps = [str(step) for step in exercise.steps or (exercise.tempo_bpm,)]
    # From left to right, as a screen reader takes it; the last number ends at the margin.
    x = wide - _MARGIN - sum(7 * len(step) + 22 for step in steps)
    _beat(out, x - 17, y + 12, exercise.beat)
    out.text(x - 5, y + 14, "=")
    for step in steps:
        out.rect(x + 8, y + 4.5, 10, 10, stroke=INK)
        out.text(x + 22, y + 14, step)
        x += 7 * len(step) + 22


def _beat(out: Drawing, x: float, y: float, beat: Fraction) -> None:
    """Draw the note that the metronome counts."""
    plain = beat * 2 / 3 if beat.numerator % 3 == 0 else beat
    out.dot(x, y, 3.2, fill="#ffffff" if plain >= 2 else INK, stroke=INK, line=1.2)
    if plain < 4:
        out.line(x + 3.2, y, x + 3.2, y - 12, color=INK, width=1.2)
    flags = [12 - 4 * k for k, value in enumerate((Fraction(1), Fraction(1, 2), Fraction(1, 4))) if plain < value]
    for above in flags:
        out.path(f"M{num(x + 3.2)} {num(y - above)} q1 4 4 7", width=1.4)
    if plain != beat:
        out.dot(x + 7.5, y - 1, 1.1)


def _memory(out: Drawing, drills: Drills, y: float, wide: float) -> None:
    """Draw what to try from memory, with a box for each day."""
    days = drills.recall[0].after_days
    out.text(_MARGIN, y + 12, "From memory", size=13, bold=True)
    out.text(_MARGIN + 92, y + 12, f"after {', '.join(str(day) for day in days)} days: marks covered; say, sing, play, "
             f"tick. {RECALL_OFFER}", italic=True)
    step = (wide - 2 * _MARGIN) / max(4, len(drills.recall))
    for k, one in enumerate(drills.recall):
        x = _MARGIN + k * step
        out.text(x, y + 29, one.play)
        for j in range(len(days)):
            out.rect(x + step - 12 - 13 * (len(days) - j), y + 20, 9, 9, stroke=INK)


def _sheet(drills: Drills, shapes: list[str], number: int, of: int, wide: float, high: float,
           foot: Sequence[tuple[str, float]]) -> str:
    head, end = Drawing(), Drawing()
    head.text(_MARGIN, _MARGIN + 18, textwrap.shorten(sheet_title(drills), 70, placeholder=" …"), size=20, bold=True)
    learner = textwrap.shorten(drills.kit.learner.name, 24, placeholder=" …")
    head.text(_MARGIN, _MARGIN + 38, f"{part_name(drills)} · {drills.planned.plan.horn.description}", size=12,
              color=FAINT)
    head.text(_MARGIN, _MARGIN + 58, f"{WARM_UP} Tick a tempo when it was clean three times.")
    for label, x, known in (("Name", wide - _MARGIN - 290, learner if learner != "player" else ""),
                            ("Week of", wide - _MARGIN - 130, "")):
        head.text(x, _MARGIN + 58, f"{label} {known}".strip(), color=INK if known else FAINT)
        if not known:
            head.line(x + _LETTER * len(label) + 8, _MARGIN + 60, x + 130, _MARGIN + 60, color=RULE)
    y = high - _MARGIN - sum(size + 3 for _, size in foot)
    end.line(_MARGIN, y - 4, wide - _MARGIN, y - 4, color=RULE)
    if drills.recall and number == of:
        _memory(end, drills, y - 10 - _MEMORY, wide)
    for text, size in foot:
        end.text(_MARGIN, y + size + 1, text, size=size, color=INK if size > 9 else FAINT)
        y += size + 3
    if of > 1:
        end.text(wide - _MARGIN, high - 16, f"{number} / {of}", size=10, color=FAINT, anchor="end")
    said = "; ".join(f"{place}. {one.title}" for place, one in enumerate(drills.exercises, 1))
    return (f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'viewBox="0 0 {num(wide)} {num(high)}" width="{num(wide)}" height="{num(high)}" role="img" '
            f'aria-labelledby="t{number} d{number}"><title id="t{number}">{escape(clean(sheet_title(drills)))}</title>'
            f'<desc id="d{number}">{escape(clean(said))}</desc>'
            f'<rect width="{num(wide)}" height="{num(high)}" fill="#ffffff"/>'
            f'<g {BASE}>{head.body()}</g>{"".join(shapes)}<g {BASE}>{end.body()}</g></svg>')


def _wrapped(text: str, width: float, *, size: float) -> list[str]:
    return textwrap.wrap(text, int(width / (_LETTER * size / 11)))


def _height_px(svg: str) -> float:
    from lxml import etree

    return float(str(etree.fromstring(svg.encode()).get("height", "0")).removesuffix("px"))


def _placed(svg: str, x: float, y: float, scale: float) -> str:
    """Return an engraved picture as part of a larger one."""
    from lxml import etree

    root = etree.fromstring(svg.encode())
    root.set("color", INK)
    return (f'<g transform="translate({num(x)},{num(y)}) scale({scale:g})">'
            f'{etree.tostring(root, encoding="unicode")}</g>')


def _html(drills: Drills, days: Sequence[Day]) -> str:
    """Return the sheet as a page: it reads on a phone, and prints."""
    engrave = _engraver(drills, embed_fonts=True)
    parts, first = [], 0
    for place, one in enumerate(drills.exercises, 1):
        beat = BEATS.get(one.beat, "beat")
        words = one.words.replace("Metronome ", f"Metronome, {beat} = ") if one.steps else \
            f"{one.words} {beat.capitalize()} = {one.tempo_bpm}."
        music = "".join(f'<div class="picture {kind}">{engrave(one, place, first, width, kind[0])}</div>'
                        for kind, width in (("wide", _SCREEN_PX), ("narrow", 360)))
        first += len(one.measures)
        parts.append(f'<section style="break-inside: avoid"><h2>{place}. {escape(one.title)}</h2>'
                     f"<p>{escape(words)}</p>{music}</section>")
    recall = "".join(f"<li>{escape(one.ask)}</li>" for one in drills.recall)
    after = ", ".join(str(day) for day in drills.recall[0].after_days) if drills.recall else ""
    memory = (f"<section><h2>From memory, after {after} days</h2><p>{RECALL_OFFER}</p><ul>{recall}</ul></section>"
              if recall else "")
    rows = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in by_week(days))
    weeks = f"<section><h2>Weeks</h2><p>{WEEKS_SAID}</p><table>{rows}</table></section>" if rows else ""
    remarks = "".join(f"<p>{escape(text)}</p>" for text in drills.remarks)
    care = "".join(f"<li>{escape(line)}</li>" for line in drills.cautions)
    lead = f"{part_name(drills)}, {drills.planned.plan.horn.description}. {WARM_UP}"
    cautions = f'<section class="care"><h2>Cautions</h2><ul>{care}</ul></section>'
    return shell(remarks + "".join(parts) + weeks + memory + cautions, heading=sheet_title(drills), lead=lead)


"""What was heard as a page: the part with its marks, and under each system a line of deviation at the notes' places.

One section a student; for a class, a table for the teacher first.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap

from analyzer.analysis import Analysis, Planned
from analyzer.engrave.options import PageOptions
from analyzer.hearing.advice import Advice, advice_of, well_of
from analyzer.hearing.causes import elsewhere
from analyzer.hearing.hear import HeardNote, Hearing
from analyzer.picture.drawing import BASE, FAINT, INK, MARGIN_MM, RULE, UNITS_PER_MM, Drawing, clean, num
from analyzer.report.heading import supposed_text
from analyzer.report.listen.document import NO_GRADE, Student, cautions_of, median_off_cents, together_said
from analyzer.report.listen.text import heard_said, place_of
from analyzer.report.map.page import subtitle_of
from analyzer.report.map.pages import engraved_or_said, nested
from analyzer.report.map.printed import own_of, part_copy
from analyzer.report.plain import plain
from analyzer.report.shell import row, safe, shell, table
from analyzer.words import measures_short, shown

_WIDE = 900.0
_HIGH = 84.0                           # of a line of deviation
_ZERO = 34.0
_MOST_CENTS = 40.0                     # farther off is drawn there, with its number
_UP = 26.0                             # for `_MOST_CENTS`
ABOUT = ("Below the notes: how far each was from its target. A filled dot above the line is sharp, below it flat; the "
         "dotted lines are 20 cents. \"in 14\" below: the slide was 14 mm too far in, \"out\" too far out; L late "
         "slide, S smear, C cracked, R rising to the pitch; p4 played in fourth where the plan has another place; × "
         "another note, – not heard.")
_SHEET = re.compile(r"A sheet: lowbrass drill SCORE .*?--measures (\S+)\.")
_SIGNS = {"late slide": "L", "smear": "S", "cracked": "C", "scoop": "R"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """The engraved systems of a part: SVG, height and heads of each (x of a note's head, in units of `_WIDE`)."""

    systems: tuple[str, ...]
    heights: tuple[float, ...]
    heads: tuple[Mapping[int, float], ...]
    glyphs: str
    faces: str


def listen_page(analysis: Analysis, students: Sequence[Student], ending: str) -> bytes:
    """Return a page of what was heard, ``.html`` or ``.pdf``.

    Raises
    ------
    Unreadable
        If the music cannot be engraved.
    ValueError
        If the ending is another one.
    """
    hearings = [one.hearing for one in students if one.hearing is not None]
    sheet = engraved_or_said(lambda: _engraved(analysis, hearings[0]), analysis, hearings[0].planned)
    if ending == ".html":
        return _html(analysis, students, sheet).encode()
    if ending == ".pdf":
        return engraved_or_said(lambda: _pdf(analysis, students, sheet), analysis, hearings[0].planned)
    raise ValueError(f"pages are .html or .pdf, not {ending!r}")


def heard_pictures(analysis: Analysis, hearing: Hearing, width_px: float, id_prefix: str,
                   ) -> list[tuple[str, str, Mapping[int, float]]]:
    """Return each system of the part, the line of deviation below it, and where each note stands, for the local page.

    The third is the place from the left by the note's number in the plan, in units of which the picture has `width_px`.
    The music is without its own faces.

    Raises
    ------
    Unreadable
        If the music cannot be engraved.
    """
    sheet = engraved_or_said(lambda: _engraved(analysis, hearing, width_px, id_prefix), analysis, hearing.planned)
    places = {note.note.refs[0]: index for index, note in enumerate(hearing.planned.plan.notes)}
    return [(svg, _strip(hearing, heads, width_px), {places[ref]: x for ref, x in heads.items() if ref in places})
            for svg, heads in zip(sheet.systems, sheet.heads, strict=True)]


def _strip(hearing: Hearing, heads: Mapping[int, float], wide: float) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(wide)} {num(_HIGH)}" role="img" '
            f'aria-label="Deviation of the notes above; the same in words below"><g {BASE}>'
            f"{_deviation(hearing, heads).body()}</g></svg>")


def _engraved(analysis: Analysis, hearing: Hearing, wide: float = _WIDE, id_prefix: str = "") -> _Sheet:
    from analyzer.engrave.engrave import engraved, faces_of, systems_with
    from analyzer.engrave.fonts import style_sheet

    copy = part_copy(analysis, hearing.planned, "all")
    engraving = engraved(copy, PageOptions(paper="screen", width_px=int(wide), id_prefix=id_prefix))
    systems = systems_with(engraving, copy)
    scale = wide / (engraving.width + 2 * engraving.margin)
    heights = tuple(scale * float(svg.split('viewBox="', 1)[1].split('"', 1)[0].split()[3]) for svg in systems)
    # The engraving may be of the line alone: back to the notes of the source.
    source = {drawn: ref for ref, drawn in own_of(analysis.document, hearing.planned).refs.items()}
    heads = tuple({source[ref]: scale * (head.x + engraving.margin) for ref, head in system.heads.items()
                   if ref in source}
                  for sheet in engraving.sheets for system in sheet.systems)
    glyphs = systems[0].split("<defs>", 1)[1].split("</defs>", 1)[0] if "<defs>" in systems[0] else ""
    return _Sheet(systems=systems, heights=heights, heads=heads, glyphs=glyphs,
                  faces=style_sheet(faces_of(engraving, copy)))


def _deviation(hearing: Hearing, heads: Mapping[int, float]) -> Drawing:
    """Draw the line of deviation of one system."""
    out = Drawing()
    left, right = min(heads.values(), default=60.0) - 16, max(heads.values(), default=60.0) + 16
    for cents in (-20, 20):
        out.line(left, _y(cents), right, _y(cents), color=RULE, dash="2 3")
    out.line(left, _ZERO, right, _ZERO, color=FAINT)
    for cents, text in ((20, "+20"), (0, "0"), (-20, "−20")):
        out.text(left - 6, _y(cents) + 3.5, text, size=11, color=FAINT, anchor="end")
    out.text(left - 6, _y(-20) + 15, "cents", size=11, color=FAINT, anchor="end")
    for note in hearing.notes:
        x = heads.get(hearing.planned.plan.notes[note.index].note.refs[0])
        if x is not None:
            _note(out, x, note, hearing.planned)
    return out


def _y(cents: float) -> float:
    return _ZERO - _UP * max(-_MOST_CENTS, min(_MOST_CENTS, cents)) / _MOST_CENTS


def _note(out: Drawing, x: float, note: HeardNote, planned: Planned) -> None:
    cause = note.cause
    if cause.kind == "missed":
        out.text(x, _HIGH - 4, "–", size=14, bold=True, anchor="middle")
        return
    if cause.heard_as is not None:
        out.text(x, _ZERO + 4, "×", size=14, bold=True, anchor="middle")
        out.text(x, _HIGH - 4, cause.heard_as.pretty, size=13, anchor="middle")
        return
    if cause.off_cents is None:
        out.dot(x, _ZERO, 2.5, fill="#ffffff", stroke=INK)
        return
    out.line(x, _ZERO, x, _y(cause.off_cents), color=INK, width=1.6)
    out.dot(x, _y(cause.off_cents), 3.2, fill=INK if abs(cause.off_cents) >= 10 else "#ffffff", stroke=INK)
    if abs(cause.off_cents) > _MOST_CENTS:
        out.text(x + 5, _y(cause.off_cents) + 3, f"{abs(cause.off_cents):.0f}", size=11)
    said = _SIGNS.get(cause.attack, "")
    if (way := elsewhere(planned.plan.notes[note.index].choice, note.place)) is not None:
        said += f"{' ' if said else ''}p{shown(way.label)}"
    if cause.slide_mm is not None and abs(cause.off_cents) >= 10:
        said += f"{' ' if said else ''}{'out' if cause.slide_mm > 0 else 'in'} {abs(cause.slide_mm):.0f}"
    if said:
        out.text(x, _HIGH - 4, said, size=13, anchor="middle")


def _name(student: Student) -> str:
    return student.file


def _html(analysis: Analysis, students: Sequence[Student], sheet: _Sheet) -> str:
    several = len(students) > 1
    body = [_class_table(students)] if several else []
    first = True
    for number, student in enumerate(students, 1):
        body.append(_section(analysis, student, number, sheet, with_glyphs=first))
        first = first and student.hearing is None
    told = next(one.hearing for one in students if one.hearing is not None)
    care = "".join(f"<li>{safe(text)}</li>" for text in cautions_of(told, analysis.cautions))
    body.append(f'<section class="care" aria-labelledby="care"><h2 id="care">Cautions</h2><ul>{care}</ul></section>')
    title = analysis.document.title or analysis.document.name
    style = (" .heard svg { display: block; width: 100%; height: auto; } .student { break-before: page; }"
             " .student:first-of-type { break-before: auto; }")
    return shell("".join(body), heading=f"{title}: heard",
                 lead=f"{passage_of(told.planned)}. {NO_GRADE}", title=f"{title}: what was heard",
                 style=style + sheet.faces)


CLASS_HEADS = ("Recording", "Right notes", "Typically off, cents", "First thing to work on")


def class_row(one: Student) -> tuple[str, str, str, str]:
    """Return what the teacher's table says of a student."""
    if one.hearing is None:
        return one.file, "–", "–", _why_not(one)
    notes, middle, advice = one.hearing.notes, median_off_cents(one.hearing), advice_of(one.hearing)
    return (one.file, f"{sum(note.cause.heard for note in notes)} of {len(notes)}",
            "–" if middle is None else f"{middle:.0f}",
            _with_measures(advice[0]) if advice else "Nothing stands out.")


def _why_not(one: Student) -> str:
    """Say why nothing was heard of a student's file, without its name."""
    if one.problem is None:
        return "Not heard."
    what = one.problem.what if one.problem.what.endswith(".") else f"{one.problem.what}."
    return f"Not heard: {what} {one.problem.try_}".strip()


def _class_table(students: Sequence[Student]) -> str:
    rows = "".join(row(*class_row(one)) for one in students)
    together = together_said(students)
    return ("<h2>The class</h2>" + table("The class", CLASS_HEADS, rows)
            + (f"<p><strong>{safe(together)}</strong></p>" if together else ""))


def _section(analysis: Analysis, student: Student, number: int, sheet: _Sheet, *, with_glyphs: bool) -> str:
    head = f'<section class="student" aria-labelledby="s{number}"><h2 id="s{number}">{safe(_name(student))}</h2>'
    if student.hearing is None:
        return f"{head}<p>{safe(_why_not(student))}</p></section>"
    hearing = student.hearing
    out = [head, f'<p class="lead">{safe(plain(heard_said(hearing)))}</p>']
    supposed = plain(supposed_text(hearing.planned))
    out.append(f'<p class="faint">{safe(supposed)}</p>' if supposed else "")
    well = "".join(f"<li>{safe(plain(text))}</li>" for text in well_of(hearing))
    out.append(f"<h3>What went well</h3><ul>{well}</ul>" if well else "")
    advice = "".join(f"<li><strong>{safe(_with_measures(one))}</strong> {safe(_to_try(one))}</li>"
                     for one in advice_of(hearing))
    out.append(f"<h3>To work on</h3><ol>{advice}</ol>" if advice else "<p>Nothing stands out that needs work.</p>")
    out.append(f'<h3>The part, as it was heard</h3><p class="faint">{safe(ABOUT)}</p><div class="heard">')
    for place, (svg, heads) in enumerate(zip(sheet.systems, sheet.heads, strict=True)):
        if place == 0 and not with_glyphs:
            svg = svg.replace(f"<defs>{sheet.glyphs}</defs>", "")
        if number > 1:                 # ids stand once in a document
            svg = svg.replace(' id="', f' id="s{number}-') if place else _renamed(svg, number)
        out.append(svg)
        out.append(_strip(hearing, heads, _WIDE))
    words = "".join(f"<li>{safe(place_of(hearing, note))} {safe(plain(note.cause.what))}</li>" for note in hearing.notes
                    if note.cause.what)
    out.append(f"</div><details><summary>Note by note, in words</summary><ul>{words or '<li>All is well.</li>'}</ul>"
               "</details></section>")
    return "".join(out)


def _renamed(svg: str, number: int) -> str:
    """Give the ids of a repeated system their own names; those of shared glyphs stay where they are defined."""
    return svg.replace(' id="', f' id="s{number}-') if "<defs>" not in svg else svg


def _pdf(analysis: Analysis, students: Sequence[Student], sheet: _Sheet) -> bytes:
    from analyzer.engrave.pdf import pdf_of

    options = PageOptions(paper="a4")
    wide, high = (mm * UNITS_PER_MM for mm in options.size_mm)
    title = analysis.document.title or analysis.document.name
    pages: list[str] = []
    if len(students) > 1:
        pages += _class_pages(title, students, analysis.cautions, wide, high)
    for student in students:
        if student.hearing is not None:
            pages += _student_pages(analysis, student.hearing, sheet, wide, high, f"{title} · {_name(student)}")
    return pdf_of(pages, options, title=f"{title}: what was heard")


class _Paper:
    """Sheets filled from the top: words and pictures, a new sheet where one is full."""

    def __init__(self, wide: float, high: float, glyphs: str = "") -> None:
        self.wide, self.high, self.glyphs = wide, high, glyphs
        self.margin = MARGIN_MM * UNITS_PER_MM
        self.pages: list[str] = []
        self._begin()

    def _begin(self) -> None:
        self.y, self.parts = self.margin, list[str]()

    def room(self, height: float) -> None:
        """Begin a new sheet if this one lacks the room."""
        if self.y + height > self.high - self.margin and self.parts:
            self.done()

    def words(self, text: str, *, size: float = 12.0, bold: bool = False, indent: float = 0.0,
              color: str = INK) -> None:
        """Set a paragraph."""
        letters = int((self.wide - 2 * self.margin - indent) / (0.5 * size))
        for line in wrap(clean(text), letters) or [""]:
            self.room(1.35 * size)
            self.y += 1.3 * size
            drawn = Drawing()
            drawn.text(self.margin + indent, self.y, line, size=size, bold=bold, color=color)
            self.parts.append(f"<g {BASE}>{drawn.body()}</g>")

    def head(self, text: str) -> None:
        """Set a heading."""
        self.y += 5
        self.words(text, size=12.5, bold=True)

    def cells(self, columns: Sequence[tuple[float, int]], texts: Sequence[str], *, size: float = 11.0,
              bold: bool = False) -> None:
        """Set a row of a table with a rule below; a column is where it begins and how many letters a line has."""
        lines = [wrap(clean(text), letters) or [""] for text, (_, letters) in zip(texts, columns, strict=True)]
        height = 1.3 * size * max(map(len, lines)) + 8
        self.room(height)
        drawn = Drawing()
        for (x, _), own in zip(columns, lines, strict=True):
            for number, line in enumerate(own, 1):
                drawn.text(self.margin + x, self.y + 1.3 * size * number, line, size=size, bold=bold)
        self.y += height
        drawn.line(self.margin, self.y - 2, self.wide - self.margin, self.y - 2, color=RULE)
        self.parts.append(f"<g {BASE}>{drawn.body()}</g>")

    def put(self, svg: str, height: float) -> None:
        """Put a picture, as wide as the sheet allows."""
        self.parts.append(svg)
        self.y += height

    def done(self) -> None:
        """Close the sheet."""
        self.pages.append(
            f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 '
            f'{num(self.wide)} {num(self.high)}"><defs>{self.glyphs}</defs>{"".join(self.parts)}</svg>')
        self._begin()


def _student_pages(analysis: Analysis, hearing: Hearing, sheet: _Sheet, wide: float, high: float, head: str,
                   ) -> list[str]:
    paper = _Paper(wide, high, sheet.glyphs)
    paper.words(head, size=16, bold=True)
    paper.words(passage_of(hearing.planned), color=FAINT)
    paper.words(plain(heard_said(hearing)))
    if supposed := plain(supposed_text(hearing.planned)):
        paper.words(supposed, size=10, color=FAINT)
    for place, text in enumerate(well_of(hearing)):
        if not place:
            paper.head("What went well")
        paper.words(f"+ {plain(text)}", indent=8)
    advice = advice_of(hearing)
    paper.head("To work on" if advice else "Nothing stands out that needs work.")
    for number, one in enumerate(advice, 1):
        paper.words(f"{number}. {_with_measures(one)}", bold=True, indent=8)
        paper.words(_to_try(one), indent=22)
    paper.y += 8
    scale = (wide - 2 * paper.margin) / _WIDE
    for svg, height, heads in zip(sheet.systems, sheet.heights, sheet.heads, strict=True):
        paper.room((height + _HIGH) * scale + 8)
        bare = svg.replace(f"<defs>{sheet.glyphs}</defs>", "")
        placed = nested(bare, paper.y, _WIDE * scale, height * scale).replace(' x="0"', f' x="{num(paper.margin)}"', 1)
        paper.put(placed, height * scale)
        strip = _deviation(hearing, heads).body()
        paper.put(f'<g {BASE} transform="translate({num(paper.margin)} {num(paper.y)}) scale({scale:.4f})">{strip}</g>',
                  _HIGH * scale + 8)
    paper.words(ABOUT, size=10, color=FAINT)
    for text in cautions_of(hearing, analysis.cautions):
        paper.words(text, size=10.5)
    paper.done()
    return paper.pages


def passage_of(planned: Planned) -> str:
    """Return part, horn and measures of a passage, for a heading."""
    first, last = (planned.plan.notes[place].note.measure for place in (0, -1))
    return f"{subtitle_of(planned)} · {f'measure {first}' if first == last else f'measures {first} to {last}'}"


def _with_measures(one: Advice) -> str:
    """Return what to work on, with its measures before the full stop."""
    what, measures = plain(one.what).removesuffix("."), measures_short(one.where)
    return f"{what[:-1]}; {measures})." if what.endswith(")") else f"{what} ({measures})."


def _to_try(one: Advice) -> str:
    """Return what to try, for paper: a sheet is named, not the words that make it."""
    return plain(_SHEET.sub(r"A practice sheet of measures \1 helps.", one.try_))


def _class_pages(title: str, students: Sequence[Student], cautions: Sequence[str], wide: float, high: float,
                 ) -> list[str]:
    paper = _Paper(wide, high)
    paper.words(f"{title}: the class", size=16, bold=True)
    told = next(one.hearing for one in students if one.hearing is not None)
    paper.words(passage_of(told.planned), color=FAINT)
    inside = wide - 2 * paper.margin
    columns = [(share * inside, letters) for share, letters in ((0.0, 26), (0.3, 12), (0.42, 12), (0.54, 52))]
    paper.y += 8
    paper.cells(columns, CLASS_HEADS, bold=True)
    for one in students:
        paper.cells(columns, class_row(one))
    paper.y += 10
    if together := together_said(students):
        paper.words(together, bold=True)
        paper.y += 6
    for text in cautions_of(told, cautions):
        paper.words(text, size=10.5)
    paper.done()
    return paper.pages

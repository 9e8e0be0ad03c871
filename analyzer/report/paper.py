"""Pages of words and tables for paper, set by reportlab's page layout: any answer as a sheet, one style for all."""

import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from analyzer.paper_here import Paper
from analyzer.problem import Problem
from analyzer.report.blocks import Block, Cautions, Findings, Gap, Head, Hint, Said, Table, Title
from analyzer.report.shell import safe as escaped

TEXT_FACE, BOLD_FACE = "LowbrassText", "LowbrassTextBold"
PT_PER_MM = 72 / 25.4
MARGIN_MM = 15.0
_CELL_PT = 9.0
_PADDING_PT = 4.0
_LONGEST_PT = 45 * PT_PER_MM           # a longer word, such as the name of a file, is cut where its cell ends
_HEAD_LETTERS = 80
_FRAME_PT = 6.0                        # reportlab sets a page's text so far within its margins
_SHORT_ROWS = 20                       # a table of fewer rows stays on one page
_SHORT_FINDINGS = 8
_LONGEST_HEAD = 200                    # letters; a longer one could fill a page, so it stands once


def safe(text: str) -> str:
    """Return text as a paragraph may hold it; signs that the text face lacks come from the music face."""
    from analyzer.engrave.fonts import runs
    from analyzer.engrave.paint import font_of

    return "".join(escaped(part) if face == "regular" else f'<font name="{font_of(face)}">{escaped(part)}</font>'
                   for part, face in runs(text, "regular"))


def forms() -> dict[str, Any]:
    """Return the paragraph styles by name: title, head, under (a lesser head), text, in (set in),
    cell, small."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfbase.pdfmetrics import registerFontFamily

    from analyzer.engrave.paint import font_of

    registerFontFamily(TEXT_FACE, normal=font_of("regular"), bold=font_of("bold"), italic=font_of("italic"),
                       boldItalic=font_of("bold-italic"))
    base = ParagraphStyle("text", fontName=TEXT_FACE, fontSize=10, leading=13, spaceAfter=3)
    return {"text": base, "cell": ParagraphStyle("cell", parent=base, fontSize=_CELL_PT, leading=11, spaceAfter=0),
            "head": ParagraphStyle("head", parent=base, fontName=BOLD_FACE, fontSize=12, leading=15, keepWithNext=1),
            "under": ParagraphStyle("under", parent=base, fontName=BOLD_FACE, fontSize=10.5, leading=14,
                                     keepWithNext=1),
            "in": ParagraphStyle("in", parent=base, leftIndent=4 * PT_PER_MM),
            "title": ParagraphStyle("title", parent=base, fontName=BOLD_FACE, fontSize=20, leading=24),
            "small": ParagraphStyle("small", parent=base, fontSize=8.5, leading=11)}


def grid() -> Any:
    """Return the style of a table: ruled, its first row shaded."""
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import TableStyle

    return TableStyle([("GRID", (0, 0), (-1, -1), 0.5, HexColor("#777777")), ("VALIGN", (0, 0), (-1, -1), "TOP"),
                       ("LEFTPADDING", (0, 0), (-1, -1), _PADDING_PT), ("RIGHTPADDING", (0, 0), (-1, -1), _PADDING_PT),
                       ("BACKGROUND", (0, 0), (-1, 0), HexColor("#ececec"))])


def sheet(blocks: Sequence[Block], paper: Paper = "a4", problems: Iterable[Problem] = ()) -> bytes:
    """Return an answer as a PDF: what its text says, in the same words and order, findings in tables.

    `problems`, which a terminal shows beside the answer, stand before the cautions.
    """
    form, wide = forms(), _wide_pt(paper)
    story: list[Any] = []
    end: list[Any] = []
    for block in blocks:
        (end if isinstance(block, Cautions) else story).extend(_set(block, form, wide))
    told = [problem.line() for problem in problems]
    if told:
        story += [*_set(Head("Found while reading"), form, wide), *(_paragraph(line, form["text"]) for line in told)]
    title = next((block.text for block in blocks if isinstance(block, Title)), "")
    return built([*story, *end], paper, title)


def _set(block: Block, form: Mapping[str, Any], wide_pt: float) -> list[Any]:
    from reportlab.platypus import CondPageBreak, Spacer

    match block:
        case Title():
            return [_paragraph(block.text, form["title"]), Spacer(1, 2 * PT_PER_MM)]
        case Head():
            return [CondPageBreak(30 * PT_PER_MM), Spacer(1, (4 if block.ruled else 2) * PT_PER_MM),
                    _paragraph(block.text, form["head"] if block.ruled else form["under"])]
        case Said():
            set_in = form["in"] if block.indent else form["text"]
            return [_paragraph(block.text, set_in, strong=block.strong)]
        case Hint():
            return [_paragraph(block.text, form["in"] if block.indent else form["text"])]
        case Gap():
            return [Spacer(1, 1.5 * PT_PER_MM)]
        case Table():
            return _tables(block.rows, form, wide_pt, short=_SHORT_ROWS, right=block.right)
        case Findings():
            return _tables([block.heads, *(row.cells for row in block.rows)], form, wide_pt,
                           short=_SHORT_FINDINGS) if block.rows else []
        case Cautions():
            return [Spacer(1, 4 * PT_PER_MM), *(_paragraph(f"Caution: {line}", form["small"]) for line in block.lines)]


def _paragraph(text: str, style: Any, *, strong: bool = False) -> Any:
    from reportlab.platypus import Paragraph

    said = "<br/>".join(safe(line) for line in text.split("\n"))
    return Paragraph(f"<b>{said}</b>" if strong else said, style)


def _tables(rows: Sequence[Sequence[str]], form: Mapping[str, Any], wide_pt: float, *, short: int,
            right: bool = False) -> list[Any]:
    """Return a table as wide as the page at most: its cells wrap between words, and columns too many for one go below,
    each time beside the first column."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import CondPageBreak, Spacer
    from reportlab.platypus import Table as Ruled

    rows = [row for row in rows if any(row)]
    least, most = zip(*(_widths_pt(column) for column in zip(*rows, strict=True)), strict=True)
    # What a heading is kept together with: a short table, else only some room for its first rows.
    out: list[Any] = [] if len(rows) <= short else [CondPageBreak(25 * PT_PER_MM)]
    number = ParagraphStyle("number", parent=form["cell"], alignment=2)
    for columns in _runs(least, wide_pt):
        cells = [[_paragraph(row[k], number if right and k else form["cell"], strong=not nth) for k in columns]
                 for nth, row in enumerate(rows)]
        widths = _shared([least[k] for k in columns], [most[k] for k in columns], wide_pt)
        out += [Ruled(cells, colWidths=widths, style=grid(), splitInRow=1, hAlign="LEFT",
                      repeatRows=int(max(map(len, rows[0])) <= _LONGEST_HEAD)),
                Spacer(1, 2 * PT_PER_MM)]
    return out


def _widths_pt(column: Sequence[str]) -> tuple[float, float]:
    """Width of a column's longest word (of a very long one, a part) and of its longest line. [pt]"""
    from analyzer.engrave.fonts import width_em

    def width(text: str) -> float:
        return width_em(text, "bold") * _CELL_PT + 2 * _PADDING_PT + 1

    lines = [line for cell in column for line in cell.split("\n")]
    return (min(_LONGEST_PT, max((width(word) for line in lines for word in line.split()), default=width(""))),
            max(width(line) for line in lines))


def _runs(least: Sequence[float], wide_pt: float) -> Iterator[list[int]]:
    """Yield the columns of each table, by number: as many as find room, the first one in all."""
    run: list[int] = [0]
    for k in range(1, len(least)):
        if len(run) > 1 and sum(least[j] for j in run) + least[k] > wide_pt:
            yield run
            run = [0]
        run.append(k)
    yield run


def _shared(least: Sequence[float], most: Sequence[float], wide_pt: float) -> list[float]:
    """Share the width among columns: each its longest line where there is room, else its longest word and a share."""
    if sum(most) <= wide_pt:
        return list(most)
    room = max(0.0, wide_pt - sum(least))
    # The root of what a column would like more: a column of sentences leaves something to its neighbours.
    likes = [(longest - word) ** 0.5 for word, longest in zip(least, most, strict=True)]
    given = [min(longest, word + room * like / (sum(likes) or 1.0))
             for word, longest, like in zip(least, most, likes, strict=True)]
    widest = max(range(len(given)), key=lambda k: most[k] - given[k])
    given[widest] += max(0.0, wide_pt - sum(given))
    return given


def _wide_pt(paper: Paper) -> float:
    return (210.0 if paper == "a4" else 215.9) * PT_PER_MM - 2 * MARGIN_MM * PT_PER_MM - 2 * _FRAME_PT


def built(story: list[Any], paper: Paper, title: str) -> bytes:
    """Return a PDF of these paragraphs, tables and pictures; equal input gives equal bytes.

    Of several pages each says its number and how many there are, and from the second on the title.
    """
    from reportlab.lib.pagesizes import A4, letter
    from reportlab.platypus import SimpleDocTemplate

    out = io.BytesIO()
    margin = MARGIN_MM * PT_PER_MM
    # invariant: no time of day in the file.
    SimpleDocTemplate(out, pagesize=A4 if paper == "a4" else letter, leftMargin=margin, rightMargin=margin,
                      topMargin=margin, bottomMargin=margin, title=title, creator="lowbrass", invariant=1).build(
                          story, canvasmaker=_numbered(title))
    return out.getvalue()


def _numbered(title: str) -> Any:
    """Return a canvas that keeps its pages until it knows how many there are."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc]  # reportlab is not typed
        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802  reportlab's name
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for nth, state in enumerate(self._kept, 1):
                self.__dict__.update(state)
                if len(self._kept) > 1:
                    _draw_number(self, nth, len(self._kept), title)
                super().showPage()
            super().save()

    return Numbered


def _draw_number(canvas: Any, nth: int, of: int, title: str) -> None:
    wide_pt, high_pt = canvas._pagesize
    small, margin = forms()["small"], MARGIN_MM * PT_PER_MM
    for text, x, y in ((f"Page {nth} of {of}", wide_pt - margin - 60, 7 * PT_PER_MM),
                       *([(_fitting(title), margin + _FRAME_PT, high_pt - 11 * PT_PER_MM)] if nth > 1 else ())):
        paragraph = _paragraph(text, small)
        paragraph.wrapOn(canvas, wide_pt - 2 * margin, margin)
        paragraph.drawOn(canvas, x, y)


def _fitting(title: str) -> str:
    """Return a title for the running head: one line; of a long one its beginning."""
    return title if len(title) <= _HEAD_LETTERS else f"{title[:_HEAD_LETTERS - 2].rstrip()} …"

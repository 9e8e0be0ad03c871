"""Pages of words and tables for paper, set by reportlab's page layout: forms, grid, and the finished PDF."""

import io
from typing import Any, Literal

from analyzer.report.shell import safe as escaped

Paper = Literal["a4", "letter"]
TEXT_FACE, BOLD_FACE = "LowbrassText", "LowbrassTextBold"
PT_PER_MM = 72 / 25.4
MARGIN_MM = 15.0


def safe(text: str) -> str:
    """Return text as a paragraph may hold it; signs that the text face lacks come from the music face."""
    from analyzer.engrave.fonts import runs
    from analyzer.engrave.paint import FONT_NAME

    return "".join(escaped(part) if face == "regular" else f'<font name="{FONT_NAME[face]}">{escaped(part)}</font>'
                   for part, face in runs(text, "regular"))


def forms() -> dict[str, Any]:
    """Return the paragraph styles by name: title, head, text, cell, small."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfbase.pdfmetrics import registerFontFamily

    from analyzer.engrave.paint import register_fonts

    register_fonts()
    registerFontFamily(TEXT_FACE, normal=TEXT_FACE, bold=BOLD_FACE, italic=f"{TEXT_FACE}Italic",
                       boldItalic=f"{TEXT_FACE}BoldItalic")
    base = ParagraphStyle("text", fontName=TEXT_FACE, fontSize=10, leading=13, spaceAfter=3)
    return {"text": base, "cell": ParagraphStyle("cell", parent=base, fontSize=9, leading=11, spaceAfter=0),
            "head": ParagraphStyle("head", parent=base, fontName=BOLD_FACE, fontSize=12, leading=15),
            "title": ParagraphStyle("title", parent=base, fontName=BOLD_FACE, fontSize=20, leading=24),
            "small": ParagraphStyle("small", parent=base, fontSize=8.5, leading=11)}


def grid() -> Any:
    """Return the style of a table: ruled, its first row shaded."""
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import TableStyle

    return TableStyle([("GRID", (0, 0), (-1, -1), 0.5, HexColor("#777777")), ("VALIGN", (0, 0), (-1, -1), "TOP"),
                       ("BACKGROUND", (0, 0), (-1, 0), HexColor("#ececec"))])


def built(story: list[Any], paper: Paper, title: str) -> bytes:
    """Return a PDF of these paragraphs, tables and pictures; equal input gives equal bytes."""
    from reportlab.lib.pagesizes import A4, letter
    from reportlab.platypus import SimpleDocTemplate

    out = io.BytesIO()
    margin = MARGIN_MM * PT_PER_MM
    # invariant: no time of day in the file.
    SimpleDocTemplate(out, pagesize=A4 if paper == "a4" else letter, leftMargin=margin, rightMargin=margin,
                      topMargin=margin, bottomMargin=margin, title=title, creator="lowbrass", invariant=1).build(story)
    return out.getvalue()

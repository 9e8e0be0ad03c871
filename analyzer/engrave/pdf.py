"""Pages as one PDF: vector music and real text, made without a browser and without system libraries.

Why reportlab with a painter of our own (measured on one page of an 84-measure part, first call of a process, on a
machine with two cores):

===================  ======  =====================================================================================
way                  time    result
===================  ======  =====================================================================================
Chromium             1.2 s   right, but a browser must be installed
cairosvg             0.6 s   needs the cairo library of the system; accidentals in text come from whatever font is there
svglib + reportlab   1.1 s   title cut and overprinted, accidentals lost
fpdf2's SVG reader   0.2 s   no music: nested pictures and paths of `use` are not read
typst                0.1 s   page shrunk, first words overprinted; 81 MB to install
reportlab, painter   1.1 s   right; 0.2 s once the fonts are read; wheels for every platform; same bytes every time
===================  ======  =====================================================================================

The engraver draws with few kinds of shapes, so the painter is small. Its fonts are the engraver's own, embedded as the
subsets used, with the table that lets text be searched and copied.
"""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from analyzer.engrave.engrave import PageOptions
from analyzer.engrave.paint import Painter

_PT_PER_MM = 72 / 25.4


def pdf_of(svgs: Sequence[str], page: PageOptions | None = None, *, title: str = "") -> bytes:
    """Return a PDF with one page for each picture, fitted to the paper.

    Parameters
    ----------
    svgs : sequence of str
        Pictures such as `engraved_pages` makes; at least one.
    page : PageOptions
        Gives the paper; ``screen`` becomes A4.
    title : str
        Title of the document, for readers and search; not printed.

    Raises
    ------
    ValueError
        If there is no picture, or one is no SVG.
    """
    from reportlab.pdfgen.canvas import Canvas

    if not svgs:
        raise ValueError("there is no page to put into the PDF")
    width, height = ((mm * _PT_PER_MM) for mm in (page or PageOptions()).size_mm)
    out = io.BytesIO()
    painter = Painter()
    pages = [painter.paint(svg, width, height) for svg in svgs]
    with painter.fonts() as regular, _binary_streams():
        # invariant: no time of day and no chance in the file.
        canvas = Canvas(out, pagesize=(width, height), pageCompression=1, invariant=1, initialFontName=regular)
        canvas.setTitle(title or "Annotated part")
        canvas.setCreator("lowbrass")
        canvas.setAuthor("")
        for drawn in pages:
            painter.onto(canvas, drawn)
            canvas.showPage()
        canvas.save()
    return out.getvalue()


@contextmanager
def _binary_streams() -> Iterator[None]:
    """Let reportlab write compressed streams as they are: as letters they are a quarter larger, and slow to make."""
    from reportlab import rl_config

    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before

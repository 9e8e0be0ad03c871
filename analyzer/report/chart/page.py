"""The chart of a horn as a page: on a staff, along the slide or by tuning, and as a table of every choice."""

from collections.abc import Sequence

from analyzer.engrave.options import PageOptions, Paper
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.picture.drawing import num
from analyzer.picture.horn_chart import chart_picture
from analyzer.pitch import pitch_of
from analyzer.report.chart.staff import staff_pages, staff_systems
from analyzer.report.shell import figure, row, shell, table
from analyzer.words import shown, signed

_MARGIN = 40.0                        # around the picture on a sheet, in its own units: 9 mm on A4


def chart_file(horn: Horn, ending: str, *, paper: Paper = "a4", large: bool = False) -> bytes:
    """Return the chart as a file: ``.svg`` (the picture), ``.html`` (staff, picture, table), ``.pdf`` (staff, picture).

    `paper` and `large` print are for the PDF.

    Raises
    ------
    ModuleNotFoundError
        If the file is a PDF and a library of the extra `engrave` is not installed.
    ValueError
        If the ending is another one.
    """
    if ending == ".svg":
        return (chart_picture(horn).svg("chart") + "\n").encode()
    if ending == ".html":
        return chart_page(horn).encode()
    if ending == ".pdf":
        return _pdf(horn, PageOptions(paper=paper, large_print=large))
    raise ValueError(f"a chart is .svg, .html or .pdf, not {ending!r}")


def chart_page(horn: Horn) -> str:
    """Return the chart as one HTML page; without the engraver the staff is left out, and the page says so."""
    low, high = sounding_range(horn)
    rows = []
    for midi in range(high, low - 1, -1):
        usual = chart_choice(horn, midi)
        ways = [one for one in candidates(horn, midi) if one is not usual]
        rows.append(row(pitch_of(midi).pretty, _said(usual) if usual else "none",
                        _listed([one for one in ways if one.advice is None]),
                        _listed([one for one in ways if one.advice is not None])))
    along = "Along the slide" if horn.family == "slide" else "By tuning"
    heads = ("Note", "Usual", "Other good ones", "Possible, not advised")
    return shell(
        f"<h2>On the staff</h2>{_staff(horn)}<h2>{along}</h2>"
        + figure(chart_picture(horn).svg("chart"), "Chart as a picture")
        + f"<h2>Every choice</h2>{table('Every choice as a table', heads, ''.join(rows))}",
        heading=horn.description, title=f"Chart: {horn.description}",
        lead="Every note this horn sounds on partials 1 to 12, at sounding pitch, and every way to sound it. Cents in "
             "brackets where the note is out of tune and cannot be corrected with the slide.")


def _staff(horn: Horn) -> str:
    words = "Every note from low to high with its choices below it. The same as a table: under Every choice."
    out = ['<p class="faint">Below each note its name, the usual choice, and other good ones.</p>']
    try:
        for form, width in (("narrow", 360), ("wide", 900)):
            systems, sheet = staff_systems(horn, PageOptions(paper="screen", width_px=width, id_prefix=f"{form[0]}-"))
            faces = f'<svg width="0" height="0" aria-hidden="true"><style>{sheet}</style></svg>'
            out.append(f'<div class="sheet {form}" role="img" aria-label="{words}">{faces}{"".join(systems)}</div>')
    except ModuleNotFoundError:
        return "<p>Left out: it needs the engraver. Install the extra: pip install 'lowbrass[engrave]'.</p>"
    return "".join(out)


def _pdf(horn: Horn, options: PageOptions) -> bytes:
    from analyzer.engrave.pdf import pdf_of

    picture = chart_picture(horn)
    wide, high = picture.width + 2 * _MARGIN, picture.height + 2 * _MARGIN
    sheet = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(wide)} {num(high)}">'
             f"{picture.placed(_MARGIN, _MARGIN)}</svg>")
    return pdf_of([*staff_pages(horn, options), sheet], options, title=picture.title)


def _said(one: Candidate) -> str:
    cents = round(one.off_cents)
    return f"{shown(one.label)} ({signed(cents)})" if cents else shown(one.label)


def _listed(ways: Sequence[Candidate]) -> str:
    return ", ".join(_said(one) for one in ways)

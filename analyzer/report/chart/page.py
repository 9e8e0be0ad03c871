"""The chart of a horn as a page: on a staff, along the slide or by tuning, and as a table of every choice."""

from collections.abc import Sequence

from analyzer.engrave.options import PageOptions, Paper
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.picture.horn_chart import chart_picture
from analyzer.pitch import pitch_of
from analyzer.report.chart.sheets import screen_html, wall_pages
from analyzer.report.chart.wall import walls
from analyzer.report.shell import figure, row, shell, table
from analyzer.words import shown, signed

CHART_HEADS = ("Note", "Usual", "Other good ones", "Possible, not advised")
CHART_LEAD = ("Every note this horn sounds on partials 1 to 12, at sounding pitch, and every way to sound it. Cents in "
              "brackets where the note is out of tune and cannot be corrected with the slide.")


def chart_file(horn: Horn, ending: str, *, paper: Paper = "a4", large: bool = False) -> bytes:
    """Return the chart as a file: ``.svg`` (along the slide), ``.html`` (sheet, picture, table), ``.pdf`` (the wall).

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
    rows = [row(*cells) for cells in chart_rows(horn)]
    along = "Along the slide" if horn.family == "slide" else "By tuning"
    return shell(
        f"<h2>On the staff</h2>{screen_html(walls(horn))}<h2>{along}</h2>"
        + figure(chart_picture(horn).svg("chart"), "Chart as a picture")
        + f"<h2>Every choice</h2>{table('Every choice as a table', CHART_HEADS, ''.join(rows))}",
        heading=horn.description, title=f"Chart: {horn.description}", lead=CHART_LEAD)


def chart_rows(horn: Horn) -> list[tuple[str, ...]]:
    """Return every choice as a table under `CHART_HEADS`, the highest note first."""
    low, high = sounding_range(horn)
    rows: list[tuple[str, ...]] = []
    for midi in range(high, low - 1, -1):
        usual = chart_choice(horn, midi)
        ways = [one for one in candidates(horn, midi) if one is not usual]
        rows.append((pitch_of(midi).pretty, _said(usual) if usual else "none",
                     _listed([one for one in ways if one.advice is None]),
                     _listed([one for one in ways if one.advice is not None])))
    return rows


def _pdf(horn: Horn, options: PageOptions) -> bytes:
    from analyzer.engrave.pdf import pdf_of

    return pdf_of(wall_pages(horn, options), options, title=f"Chart of the {horn.description}")


def _said(one: Candidate) -> str:
    cents = round(one.off_cents)
    return f"{shown(one.label)} ({signed(cents)})" if cents else shown(one.label)


def _listed(ways: Sequence[Candidate]) -> str:
    return ", ".join(_said(one) for one in ways)

"""The chart of a horn as a page: the picture, and every choice of every note as a table."""

from collections.abc import Sequence
from html import escape

from analyzer.horns.candidate import Candidate, shown
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.picture.horn_chart import chart_picture
from analyzer.pitch import pitch_of
from analyzer.report.shell import figure, shell, table


def chart_page(horn: Horn) -> str:
    """Return the chart as one HTML page: the picture, and a table with every choice of every note."""
    low, high = sounding_range(horn)
    rows = []
    for midi in range(high, low - 1, -1):
        usual = chart_choice(horn, midi)
        ways = candidates(horn, midi)
        rows.append(
            f'<tr><th scope="row">{pitch_of(midi).pretty}</th>'
            f'<td class="play">{escape(_said(usual)) if usual else "none"}</td>'
            f"<td>{_listed([one for one in ways if one is not usual and one.advice is None])}</td>"
            f"<td>{_listed([one for one in ways if one is not usual and one.advice is not None])}</td></tr>")
    body = (figure(chart_picture(horn).svg("chart"), "Chart as a picture") + "<h2>Every choice</h2>"
            + table("Every choice as a table", ("Note", "Usual", "Other good ones", "Possible, not advised"),
                    "".join(rows)))
    return shell(body, heading=horn.description, title=f"Chart: {horn.description}",
                 lead="Every note this horn sounds on partials 1 to 12, at sounding pitch, and every way to sound it. "
                      "Cents in brackets where the note is out of tune and cannot be mended by the slide.")


def _said(one: Candidate) -> str:
    cents = round(one.off_cents)
    return f"{shown(one.label)} ({cents:+d})" if cents else shown(one.label)


def _listed(ways: Sequence[Candidate]) -> str:
    return escape(", ".join(_said(one) for one in ways))

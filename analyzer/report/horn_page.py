"""The chart of a horn as a page: the picture, and every choice of every note as a table."""

from collections.abc import Sequence
from html import escape
from pathlib import Path

from analyzer.horns.candidate import Candidate, shown
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.picture.horn_chart import chart_picture
from analyzer.pitch import pitch_of


def chart_page(horn: Horn) -> str:
    """Return the chart as one HTML page: the picture, and a table with every choice of every note."""
    css = Path(__file__).with_name("page.css").read_text(encoding="utf-8")
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
    name = escape(horn.description)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>Chart: {name}</title>'
        f'<style>{css}</style></head><body><a class="skip" href="#content">To the content</a><header><h1>{name}</h1>'
        '<p class="faint">Every note this horn sounds on partials 1 to 12, at sounding pitch, and every way to sound '
        "it. Cents in brackets where the note is out of tune and cannot be mended by the slide.</p></header>"
        '<main id="content"><div class="scroll picture chart" role="region" aria-label="Chart as a picture" '
        f'tabindex="0">{chart_picture(horn).svg("chart")}</div><h2>Every choice</h2><div class="scroll" role="region" '
        'aria-label="Every choice as a table" tabindex="0"><table><thead><tr><th scope="col">Note</th><th scope="col">'
        'Usual</th><th scope="col">Other good ones</th><th scope="col">Possible, not advised</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div></main></body></html>\n")


def _said(one: Candidate) -> str:
    cents = round(one.off_cents)
    return f"{shown(one.label)} ({cents:+d})" if cents else shown(one.label)


def _listed(ways: Sequence[Candidate]) -> str:
    return escape(", ".join(_said(one) for one in ways))

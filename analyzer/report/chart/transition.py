"""A change of horn said to people: data, words, and files for the wall or the music stand."""

from html import escape
from typing import Any

from analyzer import cautions
from analyzer.engrave.options import PageOptions, Paper
from analyzer.horns.candidate import Candidate
from analyzer.horns.transition import NoteChange, Transition, beside_words
from analyzer.picture.transition import stays_words, transition_picture
from analyzer.pitch import pitch_of
from analyzer.report.blocks import Block, Cautions, Gap, Head, Said, Table, Title, as_text
from analyzer.report.chart.sheets import pages_of, screen_html
from analyzer.report.chart.wall import change_walls
from analyzer.report.shell import figure, row, shell, table
from analyzer.words import shown

SCHEMA = "lowbrass.transition/1"


def transition_document(change: Transition) -> dict[str, Any]:
    """Return the JSON document: places of a slide or tunings of valves, then every note, low to high."""
    return {
        "schema": SCHEMA, "from": change.before.name, "to": change.after.name,
        "places": [
            {"label": one.label, "valves": list(one.valves), "position": one.position, "kind": one.kind,
             "before_mm": _rounded(one.before_mm), "after_mm": _rounded(one.after_mm), "by_mm": _rounded(one.by_mm),
             "near": one.near, "beside_mm": _rounded(one.beside_mm)} for one in change.places],
        "combinations": [
            {"label": one.label, "valves": list(one.valves), "kind": one.kind,
             "before_cents": _rounded(one.before_cents), "after_cents": _rounded(one.after_cents)}
            for one in change.tunings],
        "notes": [
            {"midi": one.midi, "note": pitch_of(one.midi).name, "kind": one.kind, "before": _end(one.before),
             "after": _end(one.after), "by_mm": _rounded(one.by_mm), "by_cents": _rounded(one.by_cents)}
            for one in change.notes],
        "cautions": list(_cautions(change)),
    }


def _end(choice: Candidate | None) -> dict[str, Any] | None:
    return None if choice is None else {"label": choice.label, "extension_mm": _rounded(choice.extension_mm),
                                        "off_cents": _rounded(choice.off_cents)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1) + 0.0


def _cautions(change: Transition) -> tuple[str, ...]:
    slide = change.after.family == "slide"
    return cautions.for_changing(slide=slide, valves=not slide)


def transition_text(change: Transition) -> str:
    """Return the change in words, a line for each place or combination and each note that changes."""
    return as_text(transition_blocks(change))


def transition_blocks(change: Transition) -> list[Block]:
    """Return the parts of the change: a table of places or combinations, one of notes, what stays, the cautions."""
    out: list[Block] = [Title(f"From {change.before.name} to {change.after.name}"),
                        Said(change.before.description, indent=2), Said(change.after.description, indent=2)]
    for title, heads, rows in _tables(change):
        out += [Head(title), Table([heads, *rows], indent=2)]
    return [*out, Gap(), Said(stays_words(change) or "No note stays."), Cautions(_cautions(change))]


def _tables(change: Transition) -> list[tuple[str, tuple[str, ...], list[tuple[str, ...]]]]:
    """Return title, heads and rows of the two tables: places or combinations, then the notes that change."""
    slide = change.before.family == "slide"
    unit = "mm" if slide else "cents"
    ends = (f"before, {unit}", f"after, {unit}")
    if slide:
        first: tuple[str, tuple[str, ...], list[tuple[str, ...]]] = (
            "The slide", ("position", *ends, "against the old open slide", ""), [
                (one.label, _said(one.before_mm), _said(one.after_mm),
                 "" if one.near is None else beside_words(one.near, one.beside_mm or 0.0), one.kind)
                for one in change.places])
    else:
        first = ("Combinations", ("valves", *ends, ""), [
            (one.label, _said(one.before_cents, signed=True), _said(one.after_cents, signed=True), one.kind)
            for one in change.tunings])
    changed = [one for one in reversed(change.notes) if one.kind != "stays"]
    rows = [_note_row(one, slide=slide) for one in changed]
    return [first, *([("Notes that change", ("note", "before", "after", *ends, "moves by"), rows)] if rows else [])]


def _note_row(one: NoteChange, *, slide: bool) -> tuple[str, ...]:
    def value(choice: Candidate | None) -> str:
        if choice is None:
            return ""
        return _said(choice.extension_mm) if slide else _said(choice.off_cents, signed=True)

    by = one.by_mm if slide else one.by_cents
    labels = ("none" if end is None else shown(end.label) for end in (one.before, one.after))
    return (pitch_of(one.midi).pretty, *labels, value(one.before), value(one.after),
            one.kind if by is None else _said(by, signed=True))


def _said(value: float | None, *, signed: bool = False) -> str:
    if value is None:
        return ""
    return f"{round(value):{'+' if signed and round(value) else ''}d}".replace("-", "−")


def transition_file(change: Transition, ending: str, *, paper: Paper = "a4", large: bool = False) -> bytes:
    """Return the chart as a file: ``.svg`` (picture), ``.html`` (sheet, picture and tables) or ``.pdf`` (for the wall).

    `paper` and `large` print are for the PDF.

    Raises
    ------
    ValueError
        If the ending is another one.
    ImportError
        If reportlab (extra `engrave`) is not installed and the file is a PDF.
    """
    if ending == ".svg":
        return (transition_picture(change).svg("change") + "\n").encode()
    if ending == ".html":
        return _page(change).encode()
    if ending == ".pdf":
        from analyzer.engrave.pdf import pdf_of

        options = PageOptions(paper=paper, large_print=large)
        return pdf_of(pages_of(change_walls(change), options), options, title=transition_picture(change).title)
    raise ValueError(f"a chart is .svg, .html or .pdf, not {ending!r}")


def _page(change: Transition) -> str:
    tables = "".join(f"<h2>{escape(title)}</h2>{table(title, heads, ''.join(row(*line) for line in rows))}"
                     for title, heads, rows in _tables(change))
    care = "".join(f"<li>{escape(line)}</li>" for line in _cautions(change))
    return shell(
        f"<h2>On the staff</h2>{screen_html(change_walls(change))}<h2>Old and new, to one scale</h2>"
        + figure(transition_picture(change).svg("change"), "The change as a picture") + tables
        + f"<p>{escape(stays_words(change))}</p>"
        + f'<section class="care"><h2>Cautions</h2><ul>{care}</ul></section>',
        heading=f"From {change.before.name} to {change.after.name}",
        lead=f"{change.before.description}, then {change.after.description}. What stays and what moves; sounding "
             "pitch, usual choices.")

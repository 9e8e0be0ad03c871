"""``lowbrass chart HORN``: every note of a horn and every way to sound it."""

from pathlib import Path
from typing import Any, Literal

import click

from analyzer.commands.completing import HornName
from analyzer.commands.options import format_option, missing, print_json, write_file
from analyzer.horns.candidate import Candidate, shown
from analyzer.horns.candidates import DEFAULT_CEILING_MIDI, candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.pitch import HEARD_CENTS, pitch_of
from analyzer.problem import unreadable
from analyzer.tables import csv_text

SCHEMA = "lowbrass.chart/1"
_ENDINGS = (".svg", ".html", ".pdf")
_COLUMNS = ("midi", "note", "label", "valves", "position", "shade", "partial", "extension_mm", "off_cents", "usual",
            "above_ceiling", "advice")

_LEGEND = {
    "slide": "T, S: attachments held, each with its own scale of positions. ♯ ♭: slide a little in or out of the "
    "place. [ ]: above the attachment's usual ceiling, C3.",
    "valves": "0: no valve. Numbers in brackets: cents sharp or flat, where that is more than 5.",
}


@click.command(name="chart")
@click.argument("horn", type=HornName())
@click.option("--from", "before", type=HornName(), metavar="HORN",
              help="The horn played so far: show what stays and what moves, by how many mm or cents.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the printable chart: .svg (picture), .html (staff, picture, table) or .pdf (staff, picture).")
@click.option("--paper", type=click.Choice(("a4", "letter")), default="a4", show_default=True, help="Paper of a .pdf.")
@click.option("--large", is_flag=True, help="Large print of the staff in a .pdf.")
@format_option("text", "json", "csv")
def command(horn: str, before: str | None, output: Path | None, paper: Literal["a4", "letter"], large: bool,
            form: str) -> None:
    """Print every note of HORN (a name, or a TOML profile) with every way to sound it, the usual one first.

    With --from, print what a change from another horn to HORN asks of the hand.
    """
    ending = output.suffix.lower() if output else ""
    if output is not None and ending not in _ENDINGS:
        raise click.BadParameter(f"'{output.name}' has an ending that is not known; use .svg, .html or .pdf.",
                                 param_hint="-o")
    if before is not None:
        _print_change(load_horn(before), load_horn(horn), output, form, paper)
        return
    model = load_horn(horn)
    if output is not None:
        from analyzer.report.horn_page import chart_file

        try:
            page = chart_file(model, ending, paper=paper, large=large)
        except ModuleNotFoundError as error:
            raise missing(str(error.name), "engrave") from error
        write_file(output, page)
        click.echo(f"Wrote {output}.", err=True)
    if form == "json":
        print_json(chart_document(model))
    elif form == "csv":
        click.echo(chart_csv(model), nl=False)
    else:
        click.echo(chart_text(model))


def _print_change(before: Horn, after: Horn, output: Path | None, form: str, paper: Literal["a4", "letter"]) -> None:
    from analyzer.horns.transition import transition
    from analyzer.report.transition_page import transition_document, transition_file, transition_text

    if form == "csv":
        raise click.BadParameter("a change of horn has two tables; take text or json.", param_hint="--format")
    if before == after:
        raise click.BadParameter(f"both horns are {after.name}; name another.", param_hint="--from")
    if before.family != after.family:
        raise unreadable("no-common-ground", where=f"{before.name}, {after.name}",
                         what="one has a slide and the other has none, so nothing of one lies on the other",
                         try_="Print both with lowbrass chart; lowbrass ready says what such a change asks for.")
    change = transition(before, after)
    if output is not None:
        try:
            content = transition_file(change, output.suffix.lower(), paper=paper)
        except ImportError as error:
            raise missing(error.name or "a package", "engrave") from error
        write_file(output, content)
        click.echo(f"Wrote {output}.", err=True)
    if form == "json":
        print_json(transition_document(change))
    else:
        click.echo(transition_text(change))


def chart_document(horn: Horn) -> dict[str, Any]:
    """Return the chart as the data contract has it: lowest note first, the usual choice first in each."""
    low, high = sounding_range(horn)
    return {
        "schema": SCHEMA,
        "horn": horn.name,
        "description": horn.description,
        "notes": [
            {"midi": midi, "note": pitch_of(midi).name, "choices": _choices(horn, midi)}
            for midi in range(low, high + 1)
        ],
    }


def _choices(horn: Horn, midi: int) -> list[dict[str, Any]]:
    usual = chart_choice(horn, midi)
    return [
        {
            "label": choice.label,
            "valves": list(choice.valves),
            "position": choice.position,
            "shade": choice.shade,
            "partial": choice.partial,
            "extension_mm": None if choice.extension_mm is None else round(choice.extension_mm, 1),
            "off_cents": round(choice.off_cents, 1) + 0.0,
            "usual": choice == usual,
            "above_ceiling": _above_ceiling(choice),
            "advice": choice.advice,
        }
        for choice in candidates(horn, midi)
    ]


def _above_ceiling(choice: Candidate) -> bool:
    """Whether an attachment is held above the ceiling usual for it; never on a valved horn."""
    return choice.position is not None and bool(choice.valves) and choice.midi > DEFAULT_CEILING_MIDI


def chart_csv(horn: Horn) -> str:
    """Return the chart as CSV, one choice a row; a note without a choice is a row with empty fields."""
    rows: list[dict[str, Any]] = []
    for note in chart_document(horn)["notes"]:
        head = {"midi": note["midi"], "note": note["note"]}
        rows += [
            {**head, **choice, "valves": "-".join(choice["valves"])} for choice in note["choices"]
        ] or [head]
    return csv_text(rows, _COLUMNS)


def chart_text(horn: Horn) -> str:
    """Return the chart as text, one line a note, lowest first."""
    low, high = sounding_range(horn)
    lines = [f"{horn.description} ({horn.name}), sounding pitch", ""]
    out = "  slide out" if horn.family == "slide" else ""
    lines.append(f"{'note':<5} {'usual':<8}{out}  {'tuning':<9}  other ways")
    for midi in range(low, high + 1):
        lines.append(_line(horn, midi).rstrip())
    return "\n".join([*lines, "", _LEGEND[horn.family]])


def _line(horn: Horn, midi: int) -> str:
    usual = chart_choice(horn, midi)
    name = pitch_of(midi).pretty
    if usual is None:
        return f"{name:<5} none: no choice of this horn sounds it"
    out = "" if usual.extension_mm is None else f"  {usual.extension_mm:>6.0f} mm"
    others = "  ".join(_other(choice) for choice in candidates(horn, midi) if choice != usual)
    return f"{name:<5} {shown(usual.label):<8}{out}  {_tuning(usual) or 'in tune':<9}  {others}"


def _other(choice: Candidate) -> str:
    tuning = _tuning(choice)
    text = f"{shown(choice.label)}{f' ({tuning})' if tuning else ''}"
    return f"[{text}]" if _above_ceiling(choice) else text


def _tuning(choice: Candidate) -> str:
    """Words for a deviation that an ear would notice; empty where there is none."""
    cents = round(choice.off_cents)
    if abs(cents) <= HEARD_CENTS:
        return ""
    return f"{abs(cents)} {'sharp' if cents > 0 else 'flat'}"

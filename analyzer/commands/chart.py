"""``lowbrass chart HORN``: every note of a horn and every way to sound it."""

from pathlib import Path
from typing import Literal, get_args

import click

from analyzer.commands.completing import HornName
from analyzer.commands.options import format_option, missing, paper_choice, print_json, write_file, wrote
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.problem import unreadable
from analyzer.report.chart.document import chart_csv, chart_document
from analyzer.report.chart.text import chart_text

_Paper = Literal["a4", "a3", "letter"]
_ENDINGS = (".svg", ".html", ".pdf")


@click.command(name="chart")
@click.argument("horn", type=HornName())
@click.option("--from", "before", type=HornName(), metavar="HORN",
              help="The current horn: show what stays and what moves, by how many mm or cents.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the printable chart: .svg (picture), .html (sheet, picture, table) or .pdf (for the wall).")
@paper_choice(papers=get_args(_Paper))
@click.option("--large", is_flag=True, help="Everything in a .pdf half as large again.")
@format_option("text", "json", "csv")
def command(horn: str, before: str | None, output: Path | None, paper: _Paper, large: bool,
            form: str) -> None:
    """Print every note of HORN (a name, or a TOML profile) with every way to sound it, the usual one first.

    With --from, print what changes for the hands from another horn to HORN.
    """
    ending = output.suffix.lower() if output else ""
    if output is not None and ending not in _ENDINGS:
        raise click.BadParameter(f"'{output.name}' has an unknown file ending; use .svg, .html or .pdf.",
                                 param_hint="-o")
    if before is not None:
        _print_change(load_horn(before), load_horn(horn), output, form, paper, large=large)
        return
    model = load_horn(horn)
    if output is not None:
        from analyzer.report.chart.page import chart_file

        try:
            page = chart_file(model, ending, paper=paper, large=large)
        except ModuleNotFoundError as error:
            raise missing(str(error.name), "engrave") from error
        write_file(output, page)
        wrote(output)
    if form == "json":
        print_json(chart_document(model))
    elif form == "csv":
        click.echo(chart_csv(model), nl=False)
    else:
        click.echo(chart_text(model))


def _print_change(before: Horn, after: Horn, output: Path | None, form: str, paper: _Paper, *, large: bool) -> None:
    from analyzer.horns.transition import transition
    from analyzer.report.chart.transition import transition_document, transition_file, transition_text

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
            content = transition_file(change, output.suffix.lower(), paper=paper, large=large)
        except ImportError as error:
            raise missing(error.name or "a package", "engrave") from error
        write_file(output, content)
        wrote(output)
    if form == "json":
        print_json(transition_document(change))
    else:
        click.echo(transition_text(change))

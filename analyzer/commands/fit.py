"""``lowbrass fit``: does a piece suit the section, who plays what, what would have to change."""

from pathlib import Path
from typing import Literal

import click

from analyzer.commands.options import (
    absent_option,
    format_option,
    measure_range,
    measures_option,
    paper_option,
    part_option,
    print_json,
    reads_option,
    say,
    score_argument,
    tempo_option,
    write_file,
    write_sheet,
    wrote,
)
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.text import fit_blocks, fit_text
from analyzer.score.document import open_document
from analyzer.score.transposing import Reads
from analyzer.section.fit import fit
from analyzer.section.section import read_section

_PAGES = (".html", ".htm")


@click.command("fit")
@score_argument
@click.option("--section", type=click.Path(path_type=Path), required=True, metavar="FILE.toml",
              help="Section file: the players and their horns (lowbrass section new FILE makes one).")
@absent_option
@part_option
@measures_option
@tempo_option
@reads_option
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the answer as a page for a phone or a browser (.html), with its measures in notes, or as a "
                   "sheet to print (.pdf).")
@paper_option
@format_option("text", "json")
@click.pass_context
def command(ctx: click.Context, score: Path, section: Path, absent: tuple[str, ...], parts: tuple[str, ...],
            measures: str | None, tempo: float | None, reads: Reads | None, output: Path | None,
            paper: Literal["a4", "letter"], form: str) -> None:
    """Say whether SCORE suits your section, who should play which line on which horn, and what would have to change.

    Exit code 3 if it does not suit.
    """
    span = measure_range(measures)
    if output is not None and output.suffix.lower() not in (*_PAGES, ".pdf"):
        raise click.BadParameter(f"'{output.name}': the answer is a page; give it a name that ends in .html or .pdf.",
                                 param_hint="-o")
    players = read_section(section).without(absent, str(section))
    answer = fit(open_document(score), players, parts=parts, measures=span, tempo_bpm=tempo,
                 reads=reads)
    say(answer.problems)
    if output is not None and output.suffix.lower() == ".pdf":
        write_sheet(output, lambda: fit_blocks(answer, every=True), paper, answer.problems)
    elif output is not None:
        from analyzer.report.fit.page import section_page

        write_file(output, section_page(answer))
        wrote(output)
    if form == "json":
        print_json(fit_document(answer))
    else:
        click.echo(fit_text(answer))
    if answer.verdict == "does not suit":
        ctx.exit(3)

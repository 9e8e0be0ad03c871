"""``lowbrass compare``: the same parts on several horns side by side."""

from pathlib import Path
from typing import Literal

import click

from analyzer.analysis import Request
from analyzer.commands.completing import HornName
from analyzer.commands.options import (
    check_ending,
    format_option,
    paper_option,
    pdf_option,
    print_json,
    request_options,
    say,
    score_argument,
    write_sheet,
)
from analyzer.horns.profiles import load_horn
from analyzer.report.compare import (
    compare_blocks,
    compare_document,
    compare_text,
    folder_blocks,
    folder_document,
    folder_text,
)
from analyzer.review.compare import compare
from analyzer.score.document import open_document
from analyzer.words import counted


@click.command("compare")
@score_argument
@click.option("--horns", default="", type=HornName(several=True), metavar="NAME,NAME[,…]",
              help="Two horns or more, by name (lowbrass horns) or TOML file, with commas between.")
@click.option("--horn", "one_by_one", multiple=True, type=HornName(), metavar="NAME_OR_FILE",
              help="The same, one at a time.")
@request_options(horn=False)
@pdf_option
@paper_option
@format_option("text", "json")
def command(score: Path, request: Request, horns: str, one_by_one: tuple[str, ...], output: Path | None,
            paper: Literal["a4", "letter"], form: str) -> None:
    """Compare horns on the parts of SCORE: travel, speed, far positions, intonation, valves, and how they are held.

    SCORE may be a folder: then one row for each piece, and the totals.
    """
    check_ending(output, ".pdf")
    names = list(dict.fromkeys(name.strip() for name in (*horns.split(","), *one_by_one) if name.strip()))
    if len(names) < 2:
        raise click.BadParameter(f"{counted(len(names), 'horn')} named; name two or more, such as "
                                 "--horns tenor,tenor-f.", param_hint="--horns")
    compared = [load_horn(name) for name in names]
    if score.is_dir():
        from analyzer.library.comparing import compare_folder

        folder = compare_folder(score, compared, request)
        write_sheet(output, lambda: folder_blocks(folder, verdict_first=True), paper)
        if form == "json":
            print_json(folder_document(folder))
        else:
            click.echo(folder_text(folder))
        return
    comparison = compare(open_document(score), compared, request)
    say(comparison.problems)
    write_sheet(output, lambda: compare_blocks(comparison), paper, comparison.problems)
    if form == "json":
        print_json(compare_document(comparison))
    else:
        click.echo(compare_text(comparison))

"""``lowbrass folders``: a programme's music for every player."""

from pathlib import Path
from typing import Literal

import click

from analyzer.commands.options import (
    absent_option,
    format_option,
    paper_choice,
    paper_supposed,
    print_json,
    reads_option,
    say,
    tempo_option,
)
from analyzer.report.folders.folders import folders_document, folders_text, make_folders
from analyzer.score.transposing import Reads
from analyzer.section.section import read_section


@click.command("folders")
@click.argument("scores", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SCORE...")
@click.option("--section", type=click.Path(path_type=Path), required=True, metavar="FILE.toml",
              help="Section file: the players and their horns.")
@click.option("-o", "--output", "target", type=click.Path(path_type=Path, file_okay=False), required=True,
              metavar="FOLDER", help="Folder for one PDF a player and one page for the director.")
@absent_option
@tempo_option
@reads_option
@paper_choice("Paper.")
@click.option("--large", is_flag=True, help="Large print.")
@click.option("--take-home", "phone", is_flag=True, help="Also a page for each student's phone, a file a part.")
@click.option("--scores", "files", is_flag=True, help="Also each part as a score with its marks (.musicxml).")
@click.option("--jobs", type=click.IntRange(1, 64), help="Processes at once; one a core where left out.")
@format_option("text", "json")
@click.pass_context
def command(ctx: click.Context, scores: tuple[Path, ...], section: Path, target: Path, absent: tuple[str, ...],
            tempo: float | None, reads: Reads | None, paper: Literal["a4", "letter"], large: bool, phone: bool,
            files: bool, jobs: int | None, form: str) -> None:
    """Print a programme: every player's parts in order, marked for the horn in hand, and a page for the director.

    Exit code 3 if a line has no player.
    """
    players = read_section(section).without(absent, str(section))
    answer = make_folders(scores, players, target, tempo_bpm=tempo, paper=paper, large=large, reads=reads, jobs=jobs,
                          phone=phone, scores=files, told=lambda text: click.echo(text, err=True))
    say(answer.problems)
    if supposed := paper_supposed():
        click.echo(f"The folders are {supposed}", err=True)
    if form == "json":
        print_json(folders_document(answer))
    else:
        click.echo(folders_text(answer))
    if answer.unfilled:
        ctx.exit(3)

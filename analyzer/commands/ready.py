"""``lowbrass ready``: a teacher's aid for a change of horn."""

from pathlib import Path
from typing import Literal

import click

from analyzer.commands.completing import HornName
from analyzer.commands.options import (
    check_ending,
    format_option,
    paper_option,
    part_option,
    pdf_option,
    player_option,
    print_json,
    reads_option,
    say,
    write_sheet,
)
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player, read_player
from analyzer.report.ready import ready_blocks, ready_document, ready_text
from analyzer.score.document import open_document
from analyzer.score.transposing import Reads
from analyzer.section.ready import ready


@click.command("ready")
@click.argument("scores", nargs=-1, required=True, metavar="SCORE...", type=click.Path(path_type=Path))
@click.option("--from", "before", required=True, type=HornName(), metavar="HORN",
              help="The horn now, by name or TOML file.")
@click.option("--to", "after", required=True, type=HornName(), metavar="HORN", help="The new horn.")
@player_option
@part_option
@reads_option
@pdf_option
@paper_option
@format_option("text", "json")
def command(scores: tuple[Path, ...], before: str, after: str, player: Path | None, parts: tuple[str, ...],
            reads: Reads | None, output: Path | None, paper: Literal["a4", "letter"], form: str) -> None:
    """Set two horns side by side for a player and the music in SCORE...: hands, slide, notes, what to look at.

    It never says yes or no: the teacher who is present decides.
    """
    check_ending(output, ".pdf")
    old, new = load_horn(before), load_horn(after)
    if old == new:
        raise click.BadParameter(f"both horns are {old.name}; name another with --to.", param_hint="--to")
    who = read_player(player) if player else Player()
    answer = ready([open_document(score) for score in scores], old, new, who, parts=parts,
                   reads=reads)
    say(answer.problems)
    write_sheet(output, lambda: ready_blocks(answer), paper, answer.problems)
    if form == "json":
        print_json(ready_document(answer))
    else:
        click.echo(ready_text(answer))

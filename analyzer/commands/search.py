"""``lowbrass search``: pieces of a folder that suit a player, a horn or a section, by what they teach."""

from pathlib import Path
from typing import Any, Literal

import click

from analyzer.commands.options import (
    check_ending,
    format_option,
    horn_option,
    paper_option,
    pdf_option,
    player_option,
    print_json,
    reads_option,
    tempo_option,
    write_sheet,
)
from analyzer.commands.sweep import Sweep, sweep_options
from analyzer.horns.profiles import load_horn
from analyzer.library.search import Wanted, search_bytes
from analyzer.library.survey import assemble
from analyzer.plan.player import Player, read_player
from analyzer.report.search import search_blocks, search_document, search_text
from analyzer.score.transposing import Reads
from analyzer.section.section import read_section


@click.command("search")
@click.argument("folder", type=click.Path(path_type=Path))
@player_option
@click.option("--section", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Section file (as for fit): find pieces for all its players, in place of lines for one.")
@horn_option
@click.option("--part", "parts", multiple=True, metavar="ID_OR_NAME",
              help="Part to look at in every score that has it; may be repeated. Default: every low-brass part.")
@click.option("--bass-clef", is_flag=True, help="Look at every part that begins in bass clef too, whatever its name.")
@tempo_option
@reads_option
@click.option("--most", type=click.IntRange(1, 1_000_000), default=20, show_default=True, metavar="N",
              help="How many are printed.")
@sweep_options
@pdf_option
@paper_option
@format_option("text", "json")
def command(folder: Path, player: Path | None, section: Path | None, horns: tuple[str, ...], parts: tuple[str, ...],
            bass_clef: bool, tempo: float | None, reads: Reads | None, most: int,
            output: Path | None, paper: Literal["a4", "letter"], form: str, **how: Any) -> None:
    """Find what suits in FOLDER (and in its zip archives): lines for a player on a horn, or pieces for a section.

    What suits and teaches a few new moves comes first: moves into valve states that are not learned, far, fast or out
    of tune ones, as far as the player file does not call them secure. A file that cannot be read is named in the JSON.
    """
    check_ending(output, ".pdf")
    sweep = Sweep(**how)
    if section is not None and (player or horns or bass_clef):
        raise click.UsageError("--section brings its own players and horns; leave --player, --horn and --bass-clef "
                               "out.")
    wanted = Wanted(player=read_player(player) if player else Player(), parts=parts, bass_clef=bass_clef,
                    section=read_section(section) if section else None, tempo_bpm=tempo, reads=reads,
                    horns=tuple(load_horn(name) for name in horns))
    entries, records = sweep.over(folder, wanted, work=search_bytes, leave_out=output)
    survey = assemble(str(folder), entries, records)
    write_sheet(output, lambda: search_blocks(survey, most), paper)
    if form == "json":
        print_json(search_document(survey))
    else:
        click.echo(search_text(survey, most))

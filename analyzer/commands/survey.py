"""``lowbrass survey``: plan every low-brass line of a whole folder of scores, and sum up."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Literal

import click

from analyzer.commands.options import (
    check_ending,
    format_option,
    horn_option,
    paper_option,
    player_option,
    print_long_json,
    reads_option,
    tempo_option,
    write_file,
    write_sheet,
    wrote,
)
from analyzer.commands.sweep import Sweep, sweep_options
from analyzer.horns.profiles import load_horn
from analyzer.library.purchase import Case, purchase
from analyzer.library.survey import Options, Survey, assemble, survey_bytes
from analyzer.plan.player import Player, read_player
from analyzer.report.survey.document import streamed_document
from analyzer.report.survey.table import survey_csv, survey_parquet
from analyzer.report.survey.text import survey_blocks, survey_text
from analyzer.score.transposing import Reads
from analyzer.section.section import read_section

_ENDINGS = (".html", ".pdf", ".parquet", ".csv")


@click.command("survey")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--part", "parts", multiple=True, metavar="ID_OR_NAME",
              help="Part to plan in every score that has it, by id or name; may be repeated. Default: every low-brass "
                   "part.")
@click.option("--bass-clef", is_flag=True, help="Plan every part that begins in bass clef too, whatever its name.")
@horn_option
@player_option
@tempo_option
@reads_option
@sweep_options
@click.option("--section", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Section file (as for fit): say what one more horn, or one more lesson, would open to its players.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write a page with pictures (.html), a sheet to print (.pdf), or the table of lines "
                   "(.parquet, .csv). A table of thousands of lines can be read in parts: pandas.read_csv(FILE, "
                   "chunksize=1000), or the row groups of pyarrow.parquet.ParquetFile(FILE).")
@paper_option
@format_option("text", "json", "csv")
def command(folder: Path, parts: tuple[str, ...], bass_clef: bool, horns: tuple[str, ...], player: Path | None,
            tempo: float | None, reads: Reads | None, section: Path | None, output: Path | None,
            paper: Literal["a4", "letter"], form: str, **how: Any) -> None:
    """Plan every trombone and euphonium line in FOLDER (and in its zip archives), and sum up what horns they need.

    Scores are MusicXML, .mscz, .mscx and MEI, told by content; --foreign reads ABC, Humdrum and MIDI too. A file that
    cannot be read is named with the reason, and the others go on. Without --horn each line is planned on two horns of
    its kind, a plainer and a fuller one, so that they can be compared.
    """
    check_ending(output, *_ENDINGS)
    sweep = Sweep(**how)
    if bass_clef and parts:
        raise click.UsageError("--bass-clef takes every part in that clef; leave --part out.")
    players = read_section(section) if section else None
    options = Options(horns=tuple(load_horn(name) for name in horns), parts=parts, bass_clef=bass_clef,
                      player=read_player(player) if player else Player(), tempo_bpm=tempo, reads=reads)
    entries, records = sweep.over(folder, options, work=survey_bytes, leave_out=output)
    survey = assemble(str(folder), entries, records)
    bought = purchase(survey, players) if players else None
    if output is not None and output.suffix.lower() == ".pdf":
        write_sheet(output, lambda: survey_blocks(survey, bought, every=True), paper)
    elif output is not None:
        write_file(output, _content(output.suffix.lower(), survey, bought))
        wrote(output)
    if form == "json":
        print_long_json(streamed_document(survey, bought))
    elif form == "csv":
        for piece in survey_csv(survey):
            click.echo(piece, nl=False)
    else:
        click.echo(survey_text(survey, bought))


def _content(ending: str, survey: Survey, bought: Case | None) -> bytes | Iterable[bytes]:
    if ending == ".parquet":
        return survey_parquet(survey)
    if ending == ".csv":
        return (piece.encode() for piece in survey_csv(survey))
    from analyzer.report.survey.page import survey_page

    return survey_page(survey, bought).encode("utf-8")

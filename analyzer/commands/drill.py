"""``lowbrass drill``: a practice sheet from the hard moves of a score."""

import datetime as dt
from pathlib import Path

import click

from analyzer.analysis import Request
from analyzer.commands.options import (
    format_option,
    horn_option,
    measure_range,
    measures_option,
    missing,
    part_option,
    player_option,
    print_json,
    say,
    score_argument,
    tempo_option,
    write_file,
)
from analyzer.plan.player import Player, read_player
from analyzer.practice.drills import drills_for
from analyzer.practice.weeks import practice_days
from analyzer.report.drillsheet import sheet_musicxml
from analyzer.report.drillsound import listening_wav, sheet_midi, tones
from analyzer.report.drilltables import calendar_ics, drill_document, drill_text
from analyzer.score.document import open_document

_SHEETS = (".musicxml", ".xml")


@click.command("drill")
@score_argument
@horn_option
@part_option
@measures_option
@player_option
@tempo_option
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE.musicxml",
              help="Write the practice sheet to this file.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True,
              help="Another number draws other patterns; the same one gives the same sheet.")
@click.option("--weeks", type=click.IntRange(1, 12), metavar="N", help="Spread the exercises over N weeks.")
@click.option("--calendar", type=click.Path(path_type=Path), metavar="FILE.ics",
              help="Write the weeks as a calendar file; needs --weeks and --start.")
@click.option("--start", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="First day of the calendar.")
@click.option("--midi", type=click.Path(path_type=Path), metavar="FILE.mid",
              help="Write the sheet as MIDI, to hear it.")
@click.option("--listen", type=click.Path(path_type=Path), metavar="FILE.wav",
              help="Write reference pitches for the listening exercises as sound.")
@format_option("text", "json")
def command(score: Path, horns: tuple[str, ...], parts: tuple[str, ...], measures: str | None, player: Path | None,
            tempo: float | None, output: Path | None, seed: int, weeks: int | None, calendar: Path | None,
            start: dt.datetime | None, midi: Path | None, listen: Path | None, form: str) -> None:
    """Make a practice sheet from the moves of SCORE that are new, far, fast or out of tune.

    The sheet is for one line: of the asked parts, the one whose moves ask for most.
    """
    span = measure_range(measures)
    if output is not None and output.suffix.lower() not in _SHEETS:
        raise click.BadParameter(f"'{output.name}': the sheet is MusicXML; let its name end in .musicxml or .xml.",
                                 param_hint="-o")
    if calendar is not None and (weeks is None or start is None):
        raise click.UsageError("--calendar needs --weeks N and --start YYYY-MM-DD.")
    if start is not None and calendar is None:
        raise click.UsageError("--start is the first day of a calendar; add --calendar FILE.ics.")
    for path, ending in ((midi, (".mid", ".midi")), (listen, (".wav",)), (calendar, (".ics",))):
        if path is not None and path.suffix.lower() not in ending:
            raise click.BadParameter(f"'{path.name}': let its name end in {ending[0]}.")
    document = open_document(score)
    drills = drills_for(document, Request(
        parts=parts, horns=horns, measures=span, player=read_player(player) if player else Player(),
        tempo_bpm=tempo), seed=seed)
    days = practice_days(drills, weeks) if weeks else ()
    files: list[tuple[Path, bytes]] = []
    try:
        if output is not None:
            files.append((output, sheet_musicxml(drills)))
        if calendar is not None and start is not None:
            files.append((calendar, calendar_ics(drills, days, start.date())))
        if midi is not None:
            files.append((midi, sheet_midi(drills)))
        if listen is not None:
            files.append((listen, listening_wav(tones(drills))))
    except ImportError as error:
        raise missing(error.name or "a package", "build") from error
    say(drills.problems)
    for path, content in files:
        write_file(path, content)
        click.echo(f"Wrote {path}.", err=True)
    if form == "json":
        print_json(drill_document(drills, days))
    else:
        click.echo(drill_text(drills, days))

"""``lowbrass drill``: a practice sheet from the hard moves of a score."""

import datetime as dt
from pathlib import Path
from typing import Literal

import click

from analyzer.analysis import Request
from analyzer.commands.bounded import Day
from analyzer.commands.options import (
    format_option,
    missing,
    paper_choice,
    print_json,
    request_options,
    say,
    score_argument,
    write_file,
    wrote,
)
from analyzer.practice.drills import drills_for
from analyzer.practice.weeks import practice_days
from analyzer.report.drill.document import drill_document
from analyzer.report.drill.file import ENDINGS, PAGES, sheet_content
from analyzer.report.drill.sound import Drone, listening_wav, sheet_midi, tones
from analyzer.report.drill.text import calendar_ics, drill_text
from analyzer.score.document import open_document

_ENGRAVING = ("verovio", "reportlab", "fontTools", "brotli")


@click.command("drill")
@score_argument
@request_options(intonation=True)
@click.option("-o", "--output", "outputs", type=click.Path(path_type=Path), multiple=True, metavar="FILE",
              help="Write the practice sheet; the file ending sets the format: a score (.musicxml) or a page (.pdf, "
                   ".svg, .html). May be repeated.")
@paper_choice("Paper of a .pdf or .svg.")
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True,
              help="Another number gives other patterns; the same one gives the same sheet.")
@click.option("--weeks", type=click.IntRange(1, 12), metavar="N", help="Spread the exercises over N weeks.")
@click.option("--calendar", type=click.Path(path_type=Path), metavar="FILE.ics",
              help="Write the weeks as a calendar file; needs --weeks and --start.")
@click.option("--start", type=Day(), metavar="YYYY-MM-DD", help="First day of the calendar.")
@click.option("--midi", type=click.Path(path_type=Path), metavar="FILE.mid",
              help="Write the sheet as MIDI, to hear it.")
@click.option("--tones", "--listen", "reference", type=click.Path(path_type=Path), metavar="FILE.wav",
              help="Write the reference pitches of the listening exercises as sound (--listen is its old name).")
@click.option("--drone", type=click.Choice(("equal", "just")),
              help="With --tones: the tonic sounds below; in tune is equal temperament or the pure interval.")
@format_option("text", "json")
def command(score: Path, request: Request, outputs: tuple[Path, ...], paper: Literal["a4", "letter"], seed: int,
            weeks: int | None, calendar: Path | None, start: dt.datetime | None, midi: Path | None,
            reference: Path | None, drone: Drone | None, form: str) -> None:
    """Make a practice sheet from the moves of SCORE that are new, far, fast or out of tune.

    The sheet is for one line: of the parts named, the one with the hardest moves. No tempo on it is above what this
    player can do; anything left out for that is listed.
    """
    for path in outputs:
        if path.suffix.lower() not in ENDINGS:
            raise click.BadParameter(f"'{path.name}' has an unknown file ending; use one of "
                                     f"{', '.join(ENDINGS)}.", param_hint="-o")
    if calendar is not None and (weeks is None or start is None):
        raise click.UsageError("--calendar needs --weeks N and --start YYYY-MM-DD.")
    if start is not None and calendar is None:
        raise click.UsageError("--start is the first day of a calendar; add --calendar FILE.ics.")
    if drone is not None and reference is None:
        raise click.UsageError("--drone is for the sound file; add --tones FILE.wav.")
    for other, endings in ((midi, (".mid", ".midi")), (reference, (".wav",)), (calendar, (".ics",))):
        if other is not None and other.suffix.lower() not in endings:
            raise click.BadParameter(f"'{other.name}': give it a name that ends in {endings[0]}.")
    if outputs or midi is not None:
        from analyzer.guard import warm

        warm("music21.musicxml.m21ToXml", *(("verovio",) if any(
            path.suffix.lower() in PAGES for path in outputs) else ()))
    document = open_document(score)
    drills = drills_for(document, request, seed=seed)
    days = practice_days(drills, weeks) if weeks else ()
    try:
        files = [(path, sheet_content(drills, days, path.suffix.lower(), paper)) for path in outputs]
        if calendar is not None and start is not None:
            files.append((calendar, calendar_ics(drills, days, start.date())))
        if midi is not None:
            files.append((midi, sheet_midi(drills)))
        if reference is not None:
            files.append((reference, listening_wav(tones(drills, drone))))
    except ImportError as error:
        name = error.name or "a package"
        raise missing(name, "engrave" if name.split(".")[0] in _ENGRAVING else "build") from error
    say(drills.problems)
    for path, content in files:
        write_file(path, content)
        wrote(path)
    if form == "json":
        print_json(drill_document(drills, days, drone=drone))
    else:
        click.echo(drill_text(drills, days))

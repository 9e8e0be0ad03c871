"""``lowbrass take-home``: one page for a phone that practices with the student."""

from dataclasses import replace
from pathlib import Path

import click

from analyzer.analysis import Request
from analyzer.commands.options import request_options, say, score_argument, write_file
from analyzer.commands.pinning import read_pins, with_pins_file
from analyzer.report.take_home.page import take_home
from analyzer.score.document import open_document


@click.command("take-home")
@score_argument
@request_options(intonation=True)
@click.option("--line", type=click.IntRange(1, 99), metavar="N",
              help="Which player's line, where several share a part.")
@click.option("--pin", "pins", multiple=True, metavar="MEASURE:NTH=LABEL", help="Keep this choice, as in map.")
@click.option("--pins", "pins_path", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Keep the choices of a pins file.")
@click.option("--large", is_flag=True, help="Opens in large print; the page has a button for it too.")
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="FILE.html",
              help="The page to write.")
def command(score: Path, request: Request, line: int | None, pins: tuple[str, ...], pins_path: Path | None,
            large: bool, output: Path) -> None:
    """Write one self-contained page of a line of SCORE: music, moving slide or valves, player, metronome, tuner.

    Send the file any way you like; it is opened from the phone's own files and asks nothing of any network.
    """
    if output.suffix.lower() not in (".html", ".htm"):
        raise click.BadParameter(f"'{output.name}': the page is HTML; its name ends in .html.", param_hint="-o")
    document = open_document(score)
    request = replace(request, pins=read_pins(pins))
    if pins_path is not None:
        request, unfit = with_pins_file(document, request, pins_path)
        say(unfit)
    page, analysis = take_home(document, request, line=line, large=large)
    say(analysis.problems)
    write_file(output, page)
    click.echo(f"Wrote {output} ({len(page) // 1024} KB). Send it, and open it in the phone's browser.", err=True)

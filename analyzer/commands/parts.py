"""``lowbrass parts``: every part of a score, and which are low brass."""

from pathlib import Path

import click

from analyzer.commands.options import format_option, print_json, say, score_argument
from analyzer.report.parts import parts_csv, parts_document, parts_of, parts_text
from analyzer.score.document import open_document


@click.command("parts")
@score_argument
@format_option("text", "json", "csv")
def command(score: Path, form: str) -> None:
    """List every part of SCORE: family, clefs, range, notes, players' lines, and why it is low brass or not.

    SCORE is MusicXML (.musicxml, .xml or .mxl), .mscz, .mscx, MEI, ABC, Humdrum or MIDI.
    """
    document = open_document(score)
    # The text names the other parts only.
    found, problems = parts_of(document, every=form != "text")
    say(problems)
    if form == "json":
        print_json(parts_document(document, found, problems))
    elif form == "csv":
        click.echo(parts_csv(found), nl=False)
    else:
        click.echo(parts_text(document, found))

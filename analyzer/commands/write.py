"""``lowbrass write``: one player's line alone, as its reader reads it."""

from dataclasses import replace
from pathlib import Path
from typing import Literal

import click

from analyzer.analysis import Request
from analyzer.commands.options import (
    format_option,
    paper_choice,
    print_json,
    request_options,
    say,
    score_argument,
    write_file,
    wrote,
)
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.problem import unreadable
from analyzer.report.map.file import SCORES
from analyzer.report.write import PAGES, planned, write_bytes, write_document, write_text
from analyzer.score.document import open_document
from analyzer.section.cover import member_reader
from analyzer.section.section import Member, read_section
from analyzer.selection import Asked
from analyzer.writing.readers import (
    CLEFS,
    Clef,
    Reader,
    clef_reader,
    horn_reader,
    instrument_reader,
    instruments,
)
from analyzer.writing.write import line_of_part, written_for


@click.command("write")
@score_argument
@request_options()
@click.option("--line", type=click.IntRange(1, 99), metavar="N",
              help="Which player's line, where several share the part.")
@click.option("--for", "reader", metavar="READER",
              help="Who reads it: a horn, an instrument (tenor-saxophone, bass-clarinet, bassoon, tuba, cello), or "
                   "with --section a player's name. Phrases move by octaves where the range asks for it.")
@click.option("--clef", type=click.Choice(CLEFS), help="Write it in this clef; no note moves.")
@click.option("--section", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Section file in which the player's horns, range and clefs stand.")
@click.option("-o", "--output", "outputs", type=click.Path(path_type=Path), multiple=True, required=True,
              metavar="FILE", help="What to write: .musicxml, .mxl or .pdf; may be repeated.")
@click.option("--no-marks", is_flag=True, help="Leave positions and valves out.")
@paper_choice()
@click.option("--large", is_flag=True, help="Large print on pages.")
@format_option("text", "json")
@click.pass_context
def command(ctx: click.Context, score: Path, request: Request, line: int | None, reader: str | None,
            clef: Clef | None, section: Path | None, outputs: tuple[Path, ...], no_marks: bool,
            paper: Literal["a4", "letter"], large: bool, form: str) -> None:
    """Write one player's line of SCORE for whoever reads it: another clef, another instrument, alone on its staff.

    For instance the first trombone part for a treble-clef reader, or a trombone line for a tenor saxophone. Exit code
    3 if some note lies outside the reader's range in every octave.
    """
    if (reader is None) == (clef is None):
        raise click.UsageError("Say who reads the part with --for READER, or only its clef with --clef CLEF.")
    if len(request.parts) != 1:
        raise click.UsageError("Name one part with --part; lowbrass parts SCORE lists them.")
    for output in outputs:
        if output.suffix.lower() not in (*SCORES, *PAGES):
            raise click.BadParameter(f"'{output.name}' has an unknown file ending; use .musicxml, .mxl or .pdf.",
                                     param_hint="-o")
    document = open_document(score)
    asked, problems = line_of_part(document, request.parts[0], line, measures=request.measures,
                                   reads=request.reads)
    who = _by_clef(clef, asked, request) if clef is not None else _reader(reader or "", asked, request, section)
    if who.player is not None:
        request = replace(request, player=who.player)
    written = written_for(document, asked, who, reads=request.reads)
    analysis = planned(written, request)
    say((*problems, *(analysis.problems if analysis else ())))
    files = [(output, write_bytes(written, analysis, output.suffix.lower(), marked=not no_marks, paper=paper,
                                  large=large, stave=request.player.stave)) for output in outputs]
    for output, content in files:
        write_file(output, content)
        wrote(output)
    if form == "json":
        print_json(write_document(written, analysis, tuple(str(output) for output in outputs), tuple(problems)))
    else:
        click.echo(write_text(written, analysis))
    if written.outside:
        ctx.exit(3)


def _by_clef(clef: Clef, asked: Asked, request: Request) -> Reader:
    """Return a reader of a clef who plays the horn of the line, and for whom no note moves."""
    horn, _ = asked.horn([load_horn(name) for name in request.horns], named=True)
    return replace(clef_reader(clef), horn=horn)


def _reader(name: str, asked: Asked, request: Request, section: Path | None) -> Reader:
    if section is not None:
        band = read_section(section)
        known = (*band.members, *band.absent)
        member = next((found for found in known
                       if found.name.casefold() == name.strip().casefold()), None)
        if member is not None:
            return _member(member, asked)
        if name not in horn_names() and name not in instruments():
            names = ", ".join(found.name for found in known)
            raise unreadable("no-such-player", where=str(section), what=f"no player is called '{name}'",
                             try_=f"Its players: {names}.")
    if name in instruments():
        return instrument_reader(instruments()[name], low=request.player.low, high=request.player.high)
    if name not in horn_names() and not name.endswith(".toml"):
        raise unreadable("no-such-reader", where=name, what="there is no such horn or instrument",
                         try_=f"Horns: {', '.join(horn_names())}. Instruments: {', '.join(instruments())}. "
                              "For a player of your section add --section FILE.toml.")
    return horn_reader(load_horn(name), request.player, written=None)


def _member(member: Member, asked: Asked) -> Reader:
    """Return a player of a section, with the first of his or her horns that is of the line's kind, else the first."""
    if member.instrument is not None:
        return member_reader(member, asked.line, None)
    wanted = asked.played.family
    horn = next((horn for horn in member.horns if horn.kind == wanted), member.horns[0])
    return member_reader(member, asked.line, horn)

"""Options and habits that several commands share."""

from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import click
from click.core import ParameterSource

from analyzer.analysis import Request
from analyzer.commands.bounded import Number as Number
from analyzer.commands.completing import HornName, PartName
from analyzer.files import write_file as write_file
from analyzer.paper_here import PAPER_NAMES, Paper, paper_here
from analyzer.plain import json_pieces, json_text
from analyzer.plan.player import Player, read_player
from analyzer.problem import Problem
from analyzer.score.transposing import Reads
from analyzer.tables import csv_text

if TYPE_CHECKING:
    from analyzer.report.blocks import Block

_Result = TypeVar("_Result")
_Command = TypeVar("_Command", bound=Callable[..., Any] | click.Command)


score_argument = click.argument("score", type=click.Path(path_type=Path))
part_option = click.option("--part", "parts", multiple=True, type=PartName(), metavar="ID_OR_NAME",
                           help="Part to plan, by id or name; may be repeated. Default: every low-brass part.")
horn_option = click.option("--horn", "horns", multiple=True, type=HornName(), metavar="NAME_OR_FILE",
                           help="Horn, by name (lowbrass horns) or TOML file; may be repeated.")
player_option = click.option("--player", type=click.Path(path_type=Path), metavar="FILE.toml",
                             help="Player file: reach, ceiling, slide speed, range, learned valve combinations.")
tempo_option = click.option("--tempo", type=Number(10, 600), metavar="BPM",
                            help="Quarter notes a minute, instead of the score's tempo.")
reads_option = click.option(
    "--reads", type=click.Choice(("concert", "treble-b-flat")),
    help="How treble-clef low-brass parts are read: at concert pitch, or in B flat (sounding a major ninth lower).")
absent_option = click.option(
    "--absent", multiple=True, metavar="NAME",
    help="A player of the section who is missing and holds nothing; may be repeated.")
intonation_option = click.option(
    "--intonation", type=click.Choice(("equal", "just")), default="equal", show_default=True,
    help="Where long notes stand: in equal temperament, or at their pure place in the chord of the whole score.")


def paper_choice(what: str = "Paper of a .pdf.", papers: Sequence[str] = ("a4", "letter"),
                 ) -> Callable[[Callable[..., _Result]], Callable[..., _Result]]:
    """Return the option that chooses the paper; which was supposed without it is said by `wrote`."""
    return click.option("--paper", type=click.Choice(papers), default=paper_here, show_default="that of your country",
                        help=what)


paper_option = paper_choice()
pdf_option = click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE.pdf",
                          help="Write the answer as a sheet to print.")
measures_option = click.option("--measures", metavar="A-B", help="Only measures A to B, as numbered in the score.")


def request_options(*, horn: bool = True, intonation: bool = False,
                    ) -> Callable[[Callable[..., _Result]], Callable[..., _Result]]:
    """Return the options of a command that plans lines; they reach it together, as one `request`.

    Without `horn` the command names its horns itself; with `intonation` it can tune long notes to their chords. A wrong
    range of measures ends the command with exit code 2, a player file that cannot be read with 1.
    """
    options = (part_option, *((horn_option,) if horn else ()), measures_option, player_option, tempo_option,
               reads_option, *((intonation_option,) if intonation else ()))

    def decorated(command: Callable[..., _Result]) -> Callable[..., _Result]:
        @wraps(command)
        def asked(*args: Any, parts: tuple[str, ...], measures: str | None, player: Path | None, tempo: float | None,
                  reads: Reads | None, **more: Any) -> _Result:
            request = Request(parts=parts, horns=more.pop("horns") if horn else (), measures=measure_range(measures),
                              player=read_player(player) if player else Player(), tempo_bpm=tempo, reads=reads,
                              intonation=more.pop("intonation") if intonation else "equal")
            return command(*args, request=request, **more)

        for option in reversed(options):
            asked = option(asked)
        return asked

    return decorated


def format_option(*formats: str) -> Callable[[_Command], _Command]:
    """Return the --format option of a command that knows these forms (the first is the default)."""
    return click.option("--format", "form", type=click.Choice(formats), default=formats[0], show_default=True,
                        help="Output format.")


def measure_range(text: str | None) -> tuple[str, str] | None:
    """Read ``A-B`` or ``A``.

    Raises
    ------
    click.BadParameter
        If it is neither.
    """
    if text is None:
        return None
    first, dash, last = text.partition("-")
    if not first.strip() or (dash and not last.strip()):
        raise click.BadParameter(f"'{text}' is no range of measures; write for instance 5-12.", param_hint="--measures")
    return first.strip(), (last if dash else first).strip()


def print_json(document: dict[str, Any]) -> None:
    """Print one JSON document to standard output."""
    click.echo(json_text(document))


def print_long_json(document: dict[str, Any]) -> None:
    """Print a JSON document of thousands of rows: the same text, in pieces."""
    for piece in json_pieces(document):
        click.echo(piece, nl=False)
    click.echo()


def print_csv(rows: Iterable[dict[str, Any]], columns: Iterable[str]) -> None:
    """Print rows as CSV."""
    click.echo(csv_text(rows, columns), nl=False)


def check_ending(output: Path | None, *endings: str) -> None:
    """Refuse a file to write whose name ends in none of `endings`.

    Raises
    ------
    click.BadParameter
        If it does.
    """
    if output is not None and output.suffix.lower() not in endings:
        raise click.BadParameter(f"'{output.name}' has an unknown file ending; use "
                                 f"{'one of ' if len(endings) > 1 else ''}{', '.join(endings)}.", param_hint="-o")


def wrote(path: Path) -> None:
    """Say that a file was written, and of one to print on which paper where nobody chose it."""
    supposed = paper_supposed() if path.suffix.lower() == ".pdf" else ""
    click.echo(f"Wrote {path}{f' {supposed}' if supposed else '.'}", err=True)


def paper_supposed() -> str:
    """Say which paper was supposed and how to have the other; empty where it was chosen."""
    context = click.get_current_context()
    if context.get_parameter_source("paper") != ParameterSource.DEFAULT:
        return ""
    paper: Paper = context.params["paper"]
    other: Paper = "letter" if paper == "a4" else "a4"
    return f"on {PAPER_NAMES[paper]} paper; --paper {other} prints on {PAPER_NAMES[other]}."


def write_sheet(output: Path | None, blocks: Callable[[], "Sequence[Block]"], paper: Literal["a4", "letter"],
                problems: Iterable[Problem] = ()) -> None:
    """Write an answer as a PDF where a file is asked for, and say so."""
    if output is None:
        return
    from analyzer.report.paper import sheet

    try:
        content = sheet(blocks(), paper, problems)
    except ModuleNotFoundError as error:
        raise missing(str(error.name), "engrave") from error
    write_file(output, content)
    wrote(output)


def missing(package: str, extra: str) -> click.ClickException:
    """Return the error for a package that an extra would bring."""
    return click.ClickException(f"this needs {package}, which is not installed. Install the extra: "
                                f"pip install 'lowbrass[{extra}]'")


def say(problems: Iterable[Problem]) -> None:
    """Print problems to standard error, a line each."""
    for problem in problems:
        click.echo(problem.line(), err=True)

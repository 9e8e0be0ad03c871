"""``lowbrass map``: plan every low-brass line of a score and mark the notes."""

import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

import click

from analyzer.analysis import Analysis, Planned, Request, analyse
from analyzer.commands.options import (
    format_option,
    paper_choice,
    print_csv,
    print_json,
    request_options,
    say,
    score_argument,
    write_file,
    wrote,
)
from analyzer.commands.pinning import read_pins, with_pins_file
from analyzer.marking.which import Pictures, Which, WriteAs
from analyzer.plan.weights import read_preferences
from analyzer.report.map.document import ROW_COLUMNS, map_document, rows
from analyzer.report.map.file import ENDINGS, SCORES, cleared_file, map_file
from analyzer.score.document import OWN_FORM_ENDINGS, open_document


@click.command("map")
@score_argument
@request_options(intonation=True)
@click.option("--pin", "pins", multiple=True, metavar="MEASURE:NTH=LABEL",
              help="Keep this choice for the NTH attack of a measure (several lines: MEASURE:LINE.NTH=LABEL).")
@click.option("--pins", "pins_path", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Keep the choices of a pins file, as the local page saves it; --pin comes on top.")
@click.option("--prefer", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Preferences of a teacher, as lowbrass learn writes them.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write a file; the file ending sets the format: an annotated score (.musicxml or .xml plain, "
                   ".mxl compressed; .mscz, .mscx or .mei where SCORE is one), a page (.svg, .pdf, .html), or "
                   "braille (.brf).")
@paper_choice("Paper of a .pdf, and of a printed .html.")
@click.option("--large", is_flag=True, help="Large print on pages.")
@click.option("--marks", "which", type=click.Choice(("all", "changes", "alternates")), default="all",
              show_default=True, help="Which notes get a mark in -o: all; changes (the first note, the first after a "
              "rest, every alternate); alternates. × is always shown.")
@click.option("--write-as", type=click.Choice(("fingering", "lyric")), default="fingering", show_default=True,
              help="How marks stand in a score: fingering, for notation programs; lyric, a row of lyrics, for "
                   "converters that take only digits as fingerings. Pages look the same with both.")
@click.option("--pictures", type=click.Choice(("hard", "all", "none")), default="hard", show_default=True,
              help="Behind a part in a .pdf: one sheet of its hardest spots; all slide or valve pictures as well; or "
                   "nothing.")
@click.option("--clear", is_flag=True, help="Remove lowbrass marks; write the clean score to -o.")
@click.option("--strict", is_flag=True, help="Exit with 3 if a note has no playable choice.")
@click.option("--plans", type=click.IntRange(1, 50), metavar="K",
              help="Show other plans that differ clearly, up to 5 in all; with --format json also the K best plans.")
@click.option("--notes", is_flag=True, help="Print every note with its mark, the reasons, and all cautions.")
@format_option("text", "json", "csv")
@click.pass_context
def command(ctx: click.Context, score: Path, request: Request, pins: tuple[str, ...], pins_path: Path | None,
            prefer: Path | None, output: Path | None, clear: bool, strict: bool, plans: int | None, notes: bool,
            form: str, paper: Literal["a4", "letter"], large: bool, which: Which, write_as: WriteAs,
            pictures: Pictures) -> None:
    """Plan every trombone and euphonium line of SCORE: the best position or valves for each note, and why.

    SCORE is MusicXML (.musicxml, .xml or .mxl), .mscz, .mscx, MEI, ABC, Humdrum or MIDI. The answer comes first, in a
    paragraph; --notes prints every note, with * where it differs from the usual chart.
    """
    wanted = read_pins(pins)
    if output is not None and output.suffix.lower() not in ENDINGS:
        raise click.BadParameter(f"'{output.name}' has an unknown file ending; use one of "
                                 f"{', '.join(ENDINGS)}.", param_hint="-o")
    if output is not None and output.suffix.lower() not in (*SCORES, *OWN_FORM_ENDINGS):
        from analyzer.guard import warm

        warm("verovio")
    document = open_document(score)
    if clear:
        if output is None or output.suffix.lower() not in (*SCORES, *OWN_FORM_ENDINGS):
            raise click.UsageError("--clear needs -o FILE, a score to write the cleared music to.")
        write_file(output, cleared_file(document, output))
        click.echo(f"Wrote {output} without our marks.", err=True)
        return
    request = replace(request, pins=wanted, weights=read_preferences(prefer) if prefer else None)
    if pins_path is not None:
        request, unfit = with_pins_file(document, request, pins_path)
        say(unfit)
    analysis = analyse(document, request)
    say(analysis.problems)
    if output is not None:
        _write(analysis, output, paper, large, which, write_as, pictures)
    if form == "json":
        print_json(map_document(analysis, plans=plans or 0))
    elif form == "csv":
        print_csv(rows(analysis), ROW_COLUMNS)
    else:
        from analyzer.report.map.text import map_text

        click.echo(map_text(analysis, notes=notes, plans=plans or 0))
    if strict and any(one.plan.totals.unplayable for one in analysis.lines):
        ctx.exit(3)


def _write(analysis: Analysis, output: Path, paper: Literal["a4", "letter"], large: bool, which: Which,
           write_as: WriteAs, pictures: Pictures) -> None:
    write_file(output, map_file(analysis, output, paper=paper, large=large, which=which, write_as=write_as,
                                pictures=pictures, each=_watched))
    wrote(output)
    if output.suffix.lower() in OWN_FORM_ENDINGS:
        from analyzer.marking.source_file import parts_left_out

        for name in parts_left_out(analysis.document, [one.part.id for one in analysis.lines]):
            click.echo(f"The part '{name}' inside the file is not the music of the score any more: it has no marks.",
                       err=True)


def _watched(lines: Iterable[Planned]) -> Iterable[Planned]:
    """Go through the lines; on a terminal, show how far it is."""
    if not sys.stderr.isatty():
        return lines
    return _bar(tuple(lines))


def _bar(lines: Sequence[Planned]) -> Iterator[Planned]:
    with click.progressbar(lines, label="Engraving", show_pos=True, file=sys.stderr) as bar:
        yield from bar

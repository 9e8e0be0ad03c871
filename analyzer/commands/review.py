"""``lowbrass review``: what lies beyond a horn or player, note by note, and what to do about it."""

from pathlib import Path
from typing import Literal

import click

from analyzer.analysis import Request, analyse
from analyzer.commands.options import (
    format_option,
    paper_option,
    print_json,
    request_options,
    say,
    score_argument,
    write_file,
    write_sheet,
)
from analyzer.marking.ossia import repitched
from analyzer.report.review import review_blocks, review_document, review_text
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import KINDS, Refusal, ossia, read_refusal
from analyzer.score.document import Document, open_document

_PLAIN = (".musicxml", ".xml")
_PACKED = (".mxl",)


@click.command("review")
@score_argument
@request_options()
@click.option("--ossia", "wanted", is_flag=True,
              help="List the changes that would make the part playable: other notes, no broken glissando.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the review as a sheet to print (.pdf); or, with --ossia, the score with these changes, each "
                   "marked over its note.")
@paper_option
@click.option("--refuse", "refusals", multiple=True, metavar="MEASURE:NTH[=KIND]",
              help="Leave this note as written, or take another change than KIND (octave, chord-tone, shorten, "
                   "straight); with several lines MEASURE:LINE.NTH. May be repeated (with --ossia).")
@format_option("text", "json")
@click.pass_context
def command(ctx: click.Context, score: Path, request: Request, wanted: bool, output: Path | None,
            refusals: tuple[str, ...], paper: Literal["a4", "letter"], form: str) -> None:
    """Review the low-brass parts of SCORE on a horn: what cannot be played, where to take care, and what to do.

    Exit code 3 if notes lie beyond the horn.
    """
    on_paper = output is not None and output.suffix.lower() == ".pdf"
    if not wanted and (refusals or (output is not None and not on_paper)):
        raise click.UsageError("-o with a score and --refuse are about the playable version: add --ossia. "
                               "The review itself is written as a .pdf.")
    refused = [_refusal(text) for text in refusals]
    document = open_document(score)
    if output is not None and not on_paper:
        _check_ending(document, output)
    analysis = analyse(document, request)
    say(analysis.problems)
    reviewed = review(analysis)
    changed = ossia(reviewed, Harmony(document), refused) if wanted else None
    if on_paper:
        write_sheet(output, lambda: review_blocks(analysis, reviewed, changed), paper, analysis.problems)
    elif changed is not None and output is not None:
        write_file(output, repitched(document, changed.by_part(), changed.glides(), changed.marks()))
        click.echo(f"Wrote {output}: {len(changed.changes)} places changed, {len(changed.left)} left.", err=True)
    if form == "json":
        print_json(review_document(analysis, reviewed, changed))
    else:
        click.echo(review_text(analysis, reviewed, changed))
    if any(one.beyond for one in reviewed):
        ctx.exit(3)


def _refusal(text: str) -> Refusal:
    found = read_refusal(text)
    if found is None:
        raise click.BadParameter(f"'{text}' names no change; write MEASURE:NTH, for instance 12:3, or 12:3=octave "
                                 f"(kinds: {', '.join(KINDS)}).", param_hint="--refuse")
    return found


def _check_ending(document: Document, output: Path) -> None:
    right = _PLAIN if document.archive is None else _PACKED
    if output.suffix.lower() not in right:
        kind = "plain" if document.archive is None else "compressed"
        raise click.BadParameter(f"the input is {kind} MusicXML, so name a file that ends in {' or '.join(right)}.",
                                 param_hint="-o")

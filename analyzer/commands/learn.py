"""``lowbrass learn``: fit the plan's weights to a teacher's marks in a score."""

from pathlib import Path

import click

from analyzer.commands.options import (
    format_option,
    horn_option,
    missing,
    part_option,
    print_json,
    reads_option,
    say,
    write_file,
)
from analyzer.horns.profiles import load_horn
from analyzer.plan.learn import Marked, agreement, learn, marks_in, shared_rates
from analyzer.plan.weights import preferences_text
from analyzer.problem import unreadable
from analyzer.score.document import open_document
from analyzer.score.transposing import Reads
from analyzer.selection import asked_lines, chosen_parts


@click.command("learn")
@click.argument("scores", type=click.Path(path_type=Path), nargs=-1, required=True)
@part_option
@horn_option
@reads_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="FILE.toml",
              help="Preference file to write; lowbrass map --prefer reads it.")
@format_option("text", "json")
def command(scores: tuple[Path, ...], parts: tuple[str, ...], horns: tuple[str, ...], reads: Reads | None,
            output: Path, form: str) -> None:
    """Fit the plan's judgement to the fingerings that a teacher wrote into SCORES.

    Every fifth marked line is kept aside, and the agreement before and after is told on those. What the horn can and
    cannot do is never changed. A few wrong marks do no harm: those that hardly fit the others are named. Where several
    SCORES hold the same music, marked by several teachers, the match with all and with the nearest is told.
    """
    models = [load_horn(name) for name in horns]
    marked: list[Marked] = []
    for path in scores:
        document = open_document(path)
        chosen, problems = chosen_parts(document, parts)
        lines, more = asked_lines(document, chosen, reads=reads)
        for asked in lines:
            labels = marks_in(asked.line)
            if labels:
                marked.append(Marked(line=asked.line, horn=asked.horn(models, named=bool(parts))[0], labels=labels))
        say([*problems, *more])
    if not marked:
        raise unreadable("no-marks", where=", ".join(path.name for path in scores),
                         what="no fingerings or positions stand under the notes of these parts",
                         try_="Write them in a notation program as fingerings (1, T2, 1-3), then save as MusicXML.")
    held = marked[4::5]
    train = [one for one in marked if one not in held]
    try:
        found = learn(train)
    except ImportError as error:
        raise missing("scipy", "decide") from error
    judged = held or train
    before, after = agreement(judged, None), agreement(judged, found.weights)
    notes = sum(len(one.labels) for one in marked)
    aside = "on lines kept aside" if held else "on the same lines (too few to keep any aside)"
    told = f"{notes} marks in {len(marked)} lines. Agreement {aside}: before {before:.0%}, after {after:.0%}."
    rates = shared_rates(marked, found.weights)
    if rates:
        told += (f"\nMusic that several marked: general match rate {rates[0]:.0%} (mean over the teachers), highest "
                 f"{rates[1]:.0%} (the nearest teacher).")
    write_file(output, preferences_text(found.weights, told).encode())
    click.echo(f"Wrote {output}.", err=True)
    if found.unread:
        click.echo(f"{len(found.unread)} marks are no choice of the horn and were left out: "
                   f"{', '.join(found.unread[:5])}.", err=True)
    if found.doubtful:
        click.echo(f"{len(found.doubtful)} marks hardly fit the others; slips of the pen? "
                   f"{'; '.join(found.doubtful[:5])}.", err=True)
    if form == "json":
        print_json({"schema": "lowbrass.learn/1", "marks": notes, "lines": len(marked), "held_out": bool(held),
                    "before": round(before, 4), "after": round(after, 4), "unread": list(found.unread),
                    "doubtful": list(found.doubtful), "general_match_rate": round(rates[0], 4) if rates else None,
                    "highest_match_rate": round(rates[1], 4) if rates else None})
    else:
        click.echo(told)

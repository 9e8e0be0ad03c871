"""``lowbrass learn``: fit the plan's weights to a teacher's marks in a score."""

from collections.abc import Sequence
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
from analyzer.marking.pins import missing_line, part_of, read_pins_file
from analyzer.plan.learn import Marked, agreement, foreign, learn, marks_in, shared_rates, unusable
from analyzer.plan.weights import preferences_text
from analyzer.problem import unreadable
from analyzer.score.document import open_document
from analyzer.score.transposing import Reads
from analyzer.selection import Asked, asked_lines, attack, chosen_parts
from analyzer.toml_file import read_table
from analyzer.words import counted


@click.command("learn")
@click.argument("scores", type=click.Path(path_type=Path), nargs=-1, required=True)
@part_option
@horn_option
@reads_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="FILE.toml",
              help="Preference file to write; lowbrass map --prefer reads it.")
@click.option("--pins", "pins_path", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Learn from the choices of a pins file, as the local page saves it, made for the one SCORE named.")
@format_option("text", "json")
def command(scores: tuple[Path, ...], parts: tuple[str, ...], horns: tuple[str, ...], reads: Reads | None,
            output: Path, form: str, pins_path: Path | None) -> None:
    """Fit the plan's judgement to the fingerings that a teacher wrote into SCORES, or to a pins file.

    Every fifth marked line is kept aside, and the agreement before and after is measured on those. What the horn can
    and cannot do is never changed. A few wrong marks do no harm: those that look inconsistent are listed. Marks that
    cannot be used are listed with the reason. Where several SCORES hold the same music, marked by several teachers, the
    match with all and with the nearest is reported.
    """
    if pins_path is not None and len(scores) != 1:
        raise click.UsageError("--pins holds the choices for one score; name that score alone.")
    models = [load_horn(name) for name in horns]
    marked: list[Marked] = []
    refused: list[str] = []
    for path in scores:
        document = open_document(path)
        chosen, problems = chosen_parts(document, parts)
        lines, more = asked_lines(document, chosen, reads=reads)
        say([*problems, *more])
        kept = _pinned(lines, pins_path) if pins_path is not None else {}
        for number, asked in enumerate(lines):
            labels = {**marks_in(asked.line), **kept.get(number, {})}
            if not labels:
                continue
            horn, _ = asked.horn(models, named=bool(parts))
            one = Marked(line=asked.line, horn=horn, labels=labels)
            if asked.played.family == "other" and not models:
                why = "this is no low-brass part; if they are for a low-brass horn, name it with --horn"
            elif foreign(one):
                why = (f"most do not sound their notes on {horn.name}; they look like another instrument's fingering, "
                       "or another horn's: name it with --horn")
            else:
                marked.append(one)
                continue
            refused.append(f"{asked.line.part_name}: its {counted(len(labels), 'mark')} are left out, as {why}")
    for text in refused:
        click.echo(f"{text}.", err=True)
    if marked and all(unusable(one, k) for one in marked for k in one.labels):
        one, k = next((one, k) for one in marked for k in one.labels)
        refused.append(f"{one.line.part_name}, measure {one.line.notes[k].measure}: {one.labels[k]} {unusable(one, k)}")
        click.echo(f"{refused[-1]}.", err=True)
        marked = []
    if not marked:
        raise unreadable("no-marks", where=", ".join(path.name for path in scores),
                         what="none of its marks can be used" if refused else
                         "no fingerings or positions stand under the notes of these parts",
                         try_="Write them in a notation program as fingerings (1, T2, 1-3), then save as MusicXML; or "
                              "keep choices on the local page and give the pins file with --pins.")
    held = marked[4::5]
    train = [one for one in marked if one not in held]
    try:
        found = learn(train)
    except ImportError as error:
        raise missing("nlopt", "decide") from error
    judged = held or train
    before, after = agreement(judged, None), agreement(judged, found.weights)
    notes = sum(len(one.labels) for one in marked)
    aside = "on lines kept aside" if held else "on the same lines (too few to keep any aside)"
    told = f"{counted(notes, 'mark')} in {counted(len(marked), 'line')}. " \
           f"Agreement {aside}: before {before:.0%}, after {after:.0%}."
    rates = shared_rates(marked, found.weights)
    if rates:
        told += (f"\nMusic that several marked: general match rate {rates[0]:.0%} (mean over the teachers), highest "
                 f"{rates[1]:.0%} (the nearest teacher).")
    write_file(output, preferences_text(found.weights, told).encode())
    click.echo(f"Wrote {output}.", err=True)
    _listed(found.unread, "cannot be used")
    _listed(found.doubtful, "looking inconsistent with the others; check them")
    if form == "json":
        print_json({
            "schema": "lowbrass.learn/1", "marks": notes, "lines": len(marked), "held_out": bool(held),
            "before": round(before, 4), "after": round(after, 4), "unread": list(found.unread), "refused": refused,
            "doubtful": list(found.doubtful), "general_match_rate": round(rates[0], 4) if rates else None,
            "highest_match_rate": round(rates[1], 4) if rates else None})
    else:
        click.echo(told)


def _listed(places: Sequence[str], what: str) -> None:
    if places:
        click.echo(f"{counted(len(places), 'mark')} {what}:", err=True)
        for place in places:
            click.echo(f"  {place}", err=True)


def _pinned(lines: Sequence[Asked], path: Path) -> dict[int, dict[int, str]]:
    """Return the labels of a pins file by line (its place in `lines`) and note.

    Raises
    ------
    Unreadable
        If the file is none, belongs to no part here, or names a line or an attack that is not there.
    """
    result: dict[int, dict[int, str]] = {}
    parts = list({asked.part.id: asked.part for asked in lines}.values())
    for kept in read_pins_file(read_table(path)):
        found = part_of(kept, parts)
        own = [number for number, asked in enumerate(lines) if found is not None and asked.part.id == found.id]
        for pin in kept.pins if own else ():
            if (pin.line or 1) > len(own):
                raise missing_line(path.name, kept, pin, len(own))
            number = own[(pin.line or 1) - 1]
            line = lines[number].line
            result.setdefault(number, {})[attack(line, pin.measure, pin.nth)] = pin.label
    if not result:
        raise unreadable("bad-pin", where=path.name, what="none of its pins belongs to these parts",
                         try_="Choose the score that the pins were made for, or name its part with --part.")
    return result

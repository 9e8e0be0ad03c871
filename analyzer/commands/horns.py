"""``lowbrass horns``: the horns that come with the project, their numbers, and fitting one to one's own."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from analyzer.commands.completing import HornName
from analyzer.commands.options import format_option, print_json, write_file
from analyzer.evidence import Evidence
from analyzer.horns.calibrate import UNITS_MM, calibrated, parse_measured
from analyzer.horns.candidate import shown
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn
from analyzer.horns.profile_text import own_name, profile_text
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.horns.retuned import EVERY_PARTIAL
from analyzer.pitch import pitch_of

SCHEMA = "lowbrass.horns/1"

_FORMAT = format_option("text", "json")


@click.group(name="horns", invoke_without_command=True)
@_FORMAT
@click.pass_context
def command(context: click.Context, form: str) -> None:
    """List the horns that every command knows by name."""
    if context.invoked_subcommand is not None:
        return
    rows = [_row(load_horn(name)) for name in horn_names()]
    if form == "json":
        print_json({"schema": SCHEMA, "horns": rows})
        return
    for row in rows:
        gaps = f"; no {_run(row['gaps'])}" if row["gaps"] else ""
        low, high = shown(row["low"]), shown(row["high"])
        click.echo(f"{row['name']:<25} {low:>4} to {high:<4} {row['description']}{gaps}")


def _row(horn: Horn) -> dict[str, Any]:
    low, high = sounding_range(horn)
    return {
        "name": horn.name,
        "family": horn.family,
        "instrument": horn.kind,
        "description": horn.description,
        "low": pitch_of(low).name,
        "high": pitch_of(high).name,
        "gaps": [pitch_of(midi).name for midi in range(low, high + 1) if not candidates(horn, midi)],
    }


def _run(gaps: list[str]) -> str:
    """A gap is one run of notes on every horn known so far; more than one note shows as its ends."""
    return shown(gaps[0] if len(gaps) == 1 else f"{gaps[0]} to {gaps[-1]}")


@command.command(name="show")
@click.argument("horn", type=HornName())
@_FORMAT
def show(horn: str, form: str) -> None:
    """Print every number of HORN with where it comes from."""
    model = load_horn(horn)
    facts = list(_facts(model))
    if form == "json":
        print_json({"schema": "lowbrass.horn/1", **_row(model), "facts": facts})
        return
    click.echo(f"{model.description} ({model.name})")
    for fact in facts:
        click.echo(f"  {fact['what']}: {fact['value']}")
        origin = [fact["kind"], fact["source"], fact["why"], f"range {fact['range']}" if fact["range"] else ""]
        click.echo(f"      {'; '.join(part for part in origin if part)}")


def _facts(horn: Horn) -> Iterator[dict[str, str]]:
    handling = horn.handling
    yield _fact("open tube", f"{horn.tube_mm:.5g} mm", horn.tube.evidence)
    if horn.slide_end:
        yield _fact("end of the slide", f"{horn.slide_end_mm:g} mm", horn.slide_end.evidence)
    for loop in horn.loops:
        tuned = "flat" if loop.flat_cents > 0 else "sharp"
        flat = f", tuned {abs(loop.flat_cents):.3g} cents {tuned}" if loop.flat_cents else ""
        needs = f", only with {loop.needs}" if loop.needs else ""
        value = f"{loop.semitones} semitones{flat}{needs}; {100 * loop.share:.1f} % of the open tube"
        yield _fact(f"valve {loop.name}", value, loop.evidence)
        if loop.second_share is not None:
            yield _fact(f"second loop of valve {loop.name}", f"{100 * loop.second_share:.1f} % of the open tube",
                        loop.evidence)
    if horn.master_evidence:
        yield _fact("compensating", f"the others lengthen while {horn.master} is held", horn.master_evidence)
    for offset in horn.offsets:
        held = "every state" if offset.valves is None else "-".join(offset.valves) or "open"
        partials = f"partial{'s' if len(offset.partials) > 1 else ''} {', '.join(map(str, offset.partials))}"
        if offset.partials == EVERY_PARTIAL:
            partials = "every partial"
        yield _fact(f"{partials} ({held})", f"{offset.cents:+.3g} cents", offset.evidence)
    yield _fact("lip reach", f"{horn.lip_reach.value:g} cents", horn.lip_reach.evidence)
    for printed in horn.printed:
        value = "-".join(printed.valves) or "0"
        yield _fact(f"usual for {printed.down} semitones below a partial", value, printed.evidence)
    yield _fact("bore", f"{handling.bore_mm.value:g} mm", handling.bore_mm.evidence)
    yield _fact("weight", f"{handling.weight_kg.value:g} kg", handling.weight_kg.evidence)
    yield _fact("the left hand carries", handling.left_hand_carries.text, handling.left_hand_carries.evidence)
    yield _fact("the left hand works", handling.left_hand_works.text, handling.left_hand_works.evidence)
    if handling.fourth_valve:
        yield _fact("the fourth valve lies", handling.fourth_valve, handling.evidence)


def _fact(what: str, value: str, evidence: Evidence) -> dict[str, str]:
    return {
        "what": what, "value": value, "kind": evidence.kind, "source": evidence.source, "why": evidence.why,
        "range": evidence.range,
    }


@command.command(name="calibrate")
@click.option("--horn", "name", default="tenor-f", show_default=True, help="The profile to start from.")
@click.option(
    "--known", required=True, metavar="MEASUREMENT",
    help='Note, position and distance from first position while it sounds in tune, such as "C3 6 496mm".',
)
@click.option("--slide-end", metavar="DISTANCE", help="How far your slide goes out, such as 645mm, if measured.")
@click.option(
    "-o", "--output", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The TOML file to write.",
)
@_FORMAT
def calibrate(name: str, known: str, slide_end: str | None, output: Path, form: str) -> None:
    """Fit a slide horn to your own by one measured position, and write a profile for --horn.

    Where you have a tuner, lowbrass tune fit finds more: attachments, partials, and how sure each number is.
    """
    horn = load_horn(name)
    measured = parse_measured(known)
    end_mm = None if slide_end is None else _distance_mm(slide_end)
    own = calibrated(horn, measured, name=own_name(output), slide_end_mm=end_mm)
    write_file(output, profile_text(own).encode())
    lost = [
        pitch_of(midi).name for midi in range(sounding_range(horn)[0], sounding_range(horn)[1] + 1)
        if candidates(horn, midi) and not candidates(own, midi)
    ]
    if form == "json":
        print_json({
            "schema": "lowbrass.calibrate/1", "horn": own.name, "file": str(output), "tube_mm": round(own.tube_mm, 1),
            "tube_before_mm": horn.tube_mm, "measured": measured.shown, "lost": lost,
        })
    else:
        before, after = horn.tube_mm, own.tube_mm
        click.echo(f"{output}: tube {after:.1f} mm ({before:.1f} mm in {horn.name}), from {measured.shown}.")
        each_mm = 2 * after / measured.extension_mm
        click.echo(f"A measurement 2 mm off would change the tube by {each_mm:.0f} mm.", err=True)
    if lost:
        click.echo(
            f"With this tube {shown(', '.join(lost))} would lie beyond the end of the slide "
            f"({own.slide_end_mm:.0f} mm); if your horn plays them, measure how far its slide goes out and give "
            "--slide-end.", err=True,
        )


def _distance_mm(text: str) -> float:
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(mm|cm|in)\s*", text)
    if match is None:
        raise click.UsageError(f"--slide-end '{text}' is no distance; write a number and mm, cm or in, such as 645mm.")
    return float(match[1]) * UNITS_MM[match[2]]

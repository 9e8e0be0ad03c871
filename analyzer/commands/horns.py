"""``lowbrass horns``: the horns that come with the project, their numbers, and fitting one to one's own."""

import re
from pathlib import Path

import click

from analyzer.commands.completing import HornName
from analyzer.commands.options import format_option, print_json, write_file
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.pitch import pitch_of
from analyzer.report.horns import horn_document, horn_text, horns_document, horns_text
from analyzer.tuning.calibrate import UNITS_MM, calibrated, parse_measured
from analyzer.tuning.profile_text import own_name, profile_text
from analyzer.words import shown

_FORMAT = format_option("text", "json")


@click.group(name="horns", invoke_without_command=True)
@_FORMAT
@click.pass_context
def command(context: click.Context, form: str) -> None:
    """List the horns that every command knows by name."""
    if context.invoked_subcommand is not None:
        return
    horns = [load_horn(name) for name in horn_names()]
    if form == "json":
        print_json(horns_document(horns))
    else:
        click.echo(horns_text(horns))


@command.command(name="show")
@click.argument("horn", type=HornName())
@_FORMAT
def show(horn: str, form: str) -> None:
    """Print every number of HORN with where it comes from."""
    model = load_horn(horn)
    if form == "json":
        print_json(horn_document(model))
    else:
        click.echo(horn_text(model))


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

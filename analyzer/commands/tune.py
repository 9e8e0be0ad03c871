"""``lowbrass tune``: a horn fitted to tuner readings, and tuning slides pulled for the music at hand."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import click

from analyzer.analysis import Request, analyse
from analyzer.commands.completing import HornName
from analyzer.commands.options import (
    format_option,
    missing,
    part_option,
    player_option,
    print_json,
    reads_option,
    request_options,
    say,
    score_argument,
    tempo_option,
    write_file,
)
from analyzer.files import read_file
from analyzer.hearing.moves import measure_moves, sheet_text
from analyzer.hearing.sound import read_sound
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player, read_player
from analyzer.plan.progress import with_limits
from analyzer.plan.solve import Planner
from analyzer.problem import Problem, unreadable
from analyzer.report.drill.sound import listening_wav
from analyzer.report.moves import moves_document, moves_text
from analyzer.report.tune import fit_document, fit_text, pull_document, pull_text
from analyzer.report.tune_chords import chord_tones, chords_document, chords_text
from analyzer.review.chord_map import MOST as MOST_CHORDS
from analyzer.review.chord_map import worst_chords
from analyzer.review.pulls import advise
from analyzer.score.document import open_document
from analyzer.score.transposing import Reads
from analyzer.toml_file import MOST_BYTES
from analyzer.tuning.best_pulls import LIMITS_MM
from analyzer.tuning.profile_text import own_name, profile_text
from analyzer.tuning.readings import MOST_BYTES as MOST_READING_BYTES
from analyzer.tuning.readings import read_readings
from analyzer.tuning.retuned import slides
from analyzer.tuning.sheet import sheet
from analyzer.tuning.tuner import fit
from analyzer.words import counted

_MOST_LIMIT_MM = 150
_READ = click.Path(path_type=Path)
_profile_output = click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.toml",
                               help="Write the horn as a profile that every --horn takes.")


@click.group(name="tune")
def command() -> None:
    """Fit a horn to a tuner's readings; find how far to pull its tuning slides.

    First `sheet` (what to read), then `fit` (your own horn as a profile), then `pull` (where the slides go).
    `chords` says who tunes what in the long chords of a piece.
    """


@command.command(name="sheet")
@click.option("--horn", "name", required=True, type=HornName(), metavar="NAME_OR_FILE", help="The horn to be read.")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.csv",
              help="The table to write; else it is printed.")
def sheet_command(name: str, output: Path | None) -> None:
    """Write a table of the notes worth reading from a tuner, to be filled in."""
    text = sheet(load_horn(name))
    if output is None:
        click.echo(text, nl=False)
    else:
        write_file(output, text.encode())
        click.echo(f"Wrote {output}. Fill in cents, then: lowbrass tune fit {output} --horn {name} -o my-horn.toml",
                   err=True)


@command.command(name="fit")
@click.argument("readings", type=_READ)
@click.option("--horn", "name", required=True, type=HornName(), metavar="NAME_OR_FILE",
              help="The profile to start from.")
@_profile_output
@format_option("text", "json")
def fit_command(readings: Path, name: str, output: Path | None, form: str) -> None:
    """Fit a horn to READINGS, a CSV with the columns note, valves (or position), cents.

    A note is the one that sounds; cents is what the tuner shows beside it. Repeat notes at will; also taken are mm (how
    far the slide is out, by measure) and weight or repeats. What the readings do not tell stays as the profile has it.
    """
    profile = load_horn(name)
    data = read_file(readings, MOST_READING_BYTES)
    rows, empty = read_readings(data, readings.name, profile)
    file = readings.name.encode("utf-8", "replace").decode()
    try:
        found = fit(profile, rows, name=own_name(output or readings), origin=file)
    except ImportError as error:
        raise missing("numpy", "decide") from error
    if output is not None:
        remark = f"{profile.name} fitted to tuner readings, {file} (lowbrass tune fit)."
        write_file(output, profile_text(found.horn, remark).encode())
    if form == "json":
        print_json(fit_document(found, profile, file, empty))
    else:
        click.echo(fit_text(found, profile))
    if empty:
        click.echo(f"{counted(empty, 'row')} without a reading passed over.", err=True)
    if output is not None:
        click.echo(f"Wrote {output}; use it as --horn {output}.", err=True)


@command.command(name="moves")
@click.argument("recording", type=_READ, required=False)
@click.option("--horn", "name", type=HornName(), required=True, metavar="NAME_OR_FILE", help="The horn that is played.")
@click.option("--sheet", "only_sheet", is_flag=True, help="Say what to play and record, and stop.")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), metavar="PLAYER.toml",
              help="The player file to write into; what stands in it already stays.")
@format_option("text", "json")
def moves_command(recording: Path | None, name: str, only_sheet: bool, output: Path | None, form: str) -> None:
    """Measure how fast a player moves the slide, or the valves, from RECORDING: two notes in turn, fast and clean.

    First --sheet, which says what to play. Plans, top tempos and practice sheets follow the player file.
    """
    horn = load_horn(name)
    if only_sheet:
        click.echo(sheet_text(horn))
        return
    if recording is None:
        raise click.UsageError("Name a recording, or ask for --sheet.")
    try:
        found = measure_moves(read_sound(recording), horn)
        if output is not None:
            old = ""
            if output.exists():
                read_player(output)
                old = read_file(output, MOST_BYTES).decode("utf-8")
            write_file(output, with_limits(old, {found.key: round(found.value, 1)}).encode())
    except ImportError as error:
        package = error.name or "a package"
        raise missing(package, "progress" if package == "tomlkit" else "listen") from error
    if form == "json":
        print_json(moves_document(found, recording.name))
    else:
        click.echo(moves_text(found, recording.name))
    if output is not None:
        click.echo(f"Wrote {output}; use it as --player {output}.", err=True)


@command.command(name="pull")
@click.argument("scores", type=_READ, nargs=-1, required=True)
@click.option("--horn", "name", required=True, type=HornName(), metavar="NAME_OR_FILE",
              help="The horn whose slides are pulled.")
@part_option
@player_option
@tempo_option
@reads_option
@click.option("--worst", is_flag=True, help="Improve the worst note instead of the average.")
@click.option("--keep", "kept", multiple=True, metavar="SLIDE",
              help="A slide that stays as it is (main, 1 to 4, T, S); may be repeated.")
@click.option("--limit", "limits", multiple=True, metavar="SLIDE=MM",
              help="How far a slide comes out, on one leg; may be repeated.")
@_profile_output
@format_option("text", "json")
def pull_command(scores: tuple[Path, ...], name: str, parts: tuple[str, ...], player: Path | None, tempo: float | None,
                 reads: Reads | None, worst: bool, kept: tuple[str, ...], limits: tuple[str, ...],
                 output: Path | None, form: str) -> None:
    """Say how far to pull each tuning slide so that SCORES are least out of tune.

    All lines of the horn's family count, each note by the time it sounds. Slides only come out, from where the profile
    has them (with a fitted horn: from where they stood when it was read).
    """
    horn = load_horn(name)
    limits_mm = _limits(horn, kept, limits)
    request = Request(parts=parts, horns=(name,), player=read_player(player) if player else Player(), tempo_bpm=tempo,
                      reads=reads)
    planners: list[Planner] = []
    problems: list[Problem] = []
    cautions: dict[str, None] = {}
    for path in scores:
        analysis = analyse(open_document(path), request)
        problems += analysis.problems
        mine = [one.planner for one in analysis.lines if one.planner.horn == horn and one.planner.line.notes]
        planners += mine
        if mine:
            cautions.update(dict.fromkeys(analysis.cautions))
    say(problems)
    if not planners:
        raise unreadable("no-line", where=", ".join(path.name for path in scores),
                         what=f"there is no line with notes for {horn.name}",
                         try_="Name a horn of the parts' family, or other parts with --part.")
    try:
        advice = advise(planners, limits_mm, worst=worst)
    except ImportError as error:
        raise missing("numpy", "decide") from error
    if output is not None:
        pulls = ", ".join(f"{slide} {pull_mm} mm" for slide, pull_mm in advice.pulls_mm.items() if pull_mm) or "none"
        remark = f"{horn.name} with slides pulled out: {pulls} (lowbrass tune pull)."
        write_file(output, profile_text(advice.named(own_name(output)), remark).encode())
    names = [path.name for path in scores]
    if form == "json":
        print_json(pull_document(advice, names, worst=worst, cautions=cautions,
                                 problems=[problem.as_json() for problem in problems]))
    else:
        click.echo(pull_text(advice, names))
    if output is not None:
        click.echo(f"Wrote {output}; use it as --horn {output}.", err=True)


def _limits(horn: Horn, kept: Sequence[str], given: Sequence[str]) -> dict[str, int]:
    """Return how far each slide of the horn comes out. [mm on one leg]"""
    limits = {slide: LIMITS_MM[slide] for slide in slides(horn)}

    def known(slide: str, option: str) -> str:
        if slide not in limits:
            raise click.BadParameter(f"{horn.name} has no slide '{slide}'; it has {', '.join(limits)}.",
                                     param_hint=option)
        return slide

    for text in given:
        slide, _, number = text.partition("=")
        if not number.strip().isdecimal() or int(number) > _MOST_LIMIT_MM:
            raise click.BadParameter(f"'{text}' is no limit; write a slide and whole mm up to {_MOST_LIMIT_MM}, such "
                                     "as 3=25.", param_hint="--limit")
        limits[known(slide.strip(), "--limit")] = int(number)
    return {**limits, **{known(slide.strip(), "--keep"): 0 for slide in kept}}


@command.command(name="chords")
@score_argument
@request_options()
@click.option("--most", type=click.IntRange(1, 100), default=MOST_CHORDS, show_default=True,
              help="How many chords to name.")
@click.option("--tones", "sound", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.wav",
              help="Write what to practice with: each player's pure place over the chord's root, as a drone.")
@format_option("text", "json")
def chords_command(score: Path, request: Request, most: int, sound: Path | None, form: str) -> None:
    """Name the chords of SCORE that need the most tuning: who moves, by how many mm, which drone to practice with.

    Each note's pure place counts from the root of the chord that the whole score sounds; the root stays in equal
    temperament. Players of one pitch class meet first, then the chord.
    """
    analysis = analyse(open_document(score), replace(request, intonation="just"))
    say(problem for problem in analysis.problems if problem.code != "cannot-raise")
    chords = worst_chords(analysis.lines, most)
    if sound is not None and chords:
        try:
            write_file(sound, listening_wav(chord_tones(chords)))
        except ImportError as error:
            raise missing(error.name or "a package", "build") from error
        click.echo(f"Wrote {sound}.", err=True)
    if form == "json":
        print_json(chords_document(analysis, chords))
    else:
        click.echo(chords_text(analysis, chords))

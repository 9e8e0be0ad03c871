"""``lowbrass course``: a change of horn or clef, week by week, from the music a school owns."""

import datetime as dt
from pathlib import Path
from typing import Any, Literal

import click

from analyzer.commands.bounded import Day
from analyzer.commands.completing import HornName
from analyzer.commands.options import (
    format_option,
    missing,
    paper_choice,
    paper_supposed,
    print_json,
    reads_option,
    say,
    write_file,
)
from analyzer.commands.sweep import Sweep, sweep_options
from analyzer.course.course import course_of
from analyzer.course.open_sheets import open_sheets
from analyzer.course.skills import goal_of, roads
from analyzer.course.stretches import CourseWanted, course_bytes
from analyzer.horns.profiles import load_horn
from analyzer.library.survey import assemble
from analyzer.plan.player import player_of_file
from analyzer.plan.practiced import practiced_of
from analyzer.problem import unreadable
from analyzer.report.course.document import course_document, course_problems, course_text, left_over
from analyzer.report.course.sheets import course_files
from analyzer.score.transposing import Reads
from analyzer.toml_file import read_table
from analyzer.writing.readers import CLEFS, Clef


@click.command("course")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--player", "player_path", type=click.Path(path_type=Path), required=True, metavar="FILE.toml",
              help="Player file: reach, range, speed; what is learned and secure is left out of the course.")
@click.option("--from", "from_name", type=HornName(), required=True, metavar="NAME_OR_FILE",
              help="The horn the student plays now.")
@click.option("--to", "to_name", type=HornName(), required=True, metavar="NAME_OR_FILE", help="The new horn.")
@click.option("--clef", type=click.Choice(CLEFS), help="A clef to learn: every excerpt is printed in it.")
@click.option("--weeks", type=click.IntRange(1, 40), metavar="N",
              help="How many weeks. Default: as many as two new things a week want.")
@click.option("-o", "--output", "target", type=click.Path(path_type=Path, file_okay=False), required=True,
              metavar="FOLDER", help="Folder for the sheets: the new horn, one a week, the road for the teacher.")
@click.option("--start", type=Day(), metavar="YYYY-MM-DD",
              help="First day of week 1: writes a calendar file too.")
@click.option("--take-home", is_flag=True,
              help="Write a page for the phone of each week's first excerpt too.")
@click.option("--own-scores-only", is_flag=True,
              help="Leave out the short sheets that come with lowbrass for what no score of FOLDER has.")
@paper_choice("Paper.")
@reads_option
@sweep_options
@format_option("text", "json")
def command(folder: Path, player_path: Path, from_name: str, to_name: str, clef: Clef | None,
            weeks: int | None, target: Path, start: dt.datetime | None, take_home: bool,
            own_scores_only: bool, paper: Literal["a4", "letter"], reads: Reads | None, form: str, **how: Any) -> None:
    """Make a course for a change of horn (or clef) from the scores in FOLDER.

    Each week brings at most four new things, in excerpts that this player can play, and comes back to earlier ones.
    What no score of FOLDER has is learned from short sheets that come with lowbrass. Run it again after `lowbrass
    progress`: what is secure by then is left out. Exit code 3 if something of the goal is missing; the answer says why.
    """
    sweep = Sweep(**how)
    top = read_table(player_path)
    player = player_of_file(top)
    before, after = load_horn(from_name), load_horn(to_name)
    if not roads(before, after, player, clef):
        raise unreadable("no-change", where=f"{before.name} to {after.name}",
                         what="this change brings no valve, slide or clef to learn",
                         try_="Name another horn with --to, or a clef to learn with --clef.")
    goal = goal_of(before, after, player, clef)
    wanted = CourseWanted(goal=goal, reads=reads)
    entries, records = sweep.over(folder, wanted, work=course_bytes)
    survey = assemble(str(folder), entries, records)
    sheets, more_lines = ([], []) if own_scores_only else open_sheets(wanted)
    course = course_of(goal, [*survey.lines, *more_lines], weeks=weeks,
                       practiced=practiced_of(top.data.get("practiced")))
    try:
        files, more = course_files(course, [*entries, *sheets], reads=reads, paper=paper,
                                   start=start.date() if start else None, phone=to_name if take_home else None)
    except ImportError as error:
        raise missing(error.name or "a package", "engrave") from error
    try:
        target.mkdir(parents=True, exist_ok=True)
        left = sorted(path.name for path in target.glob("week-[0-9][0-9].*") if path.name not in files)
    except OSError as error:
        raise unreadable("cannot-write", where=str(target), what=f"the folder cannot be made ({error.strerror})",
                         try_="Choose another folder.") from error
    problems = (*course_problems(survey), *more, *left_over(target.name, left))
    say(problems)
    for name, content in files.items():
        write_file(target / name, content)
    if files and (supposed := paper_supposed()):
        click.echo(f"The sheets are {supposed}", err=True)
    if form == "json":
        print_json(course_document(course, tuple(files), problems))
    else:
        click.echo(course_text(course, tuple(files)))
    if course.missing:
        click.get_current_context().exit(3)

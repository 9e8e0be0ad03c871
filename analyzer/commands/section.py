"""``lowbrass section``: start a section file, and explain the mistakes of one."""

from pathlib import Path

import click

from analyzer.commands.options import write_file
from analyzer.section.section import check_section, template_for
from analyzer.words import counted


@click.group("section")
def command() -> None:
    """Make or check a section file: the players of your low brass and their horns."""


@command.command("new")
@click.argument("file", type=click.Path(path_type=Path))
def new(file: Path) -> None:
    """Write a commented section to fill in to FILE; a file that is there already is never overwritten."""
    write_file(file, template_for(file))
    click.echo(f"Wrote {file}. Change its players, then: lowbrass section check {file}", err=True)


@command.command("check")
@click.argument("file", type=click.Path(path_type=Path))
@click.pass_context
def check(ctx: click.Context, file: Path) -> None:
    """Explain the mistakes of a section FILE, a line each with its line number and the fix."""
    section, problems = check_section(file)
    for problem in problems:
        click.echo(problem.line(), err=True)
    if section is None:
        ctx.exit(1)
    for member in (*section.members, *section.absent):
        kept = f", stays on {member.dedicated} parts" if member.dedicated else ""
        level = f", {member.level}" if member.level else ""
        absent = ", absent" if member.absent else ""
        click.echo(f"{member.name}: {', '.join(member.plays)}{level}{kept}{absent}")
    count = len(section.members) + len(section.absent)
    click.echo(f"{file.name}: {counted(count, 'player')}, no mistakes.", err=True)

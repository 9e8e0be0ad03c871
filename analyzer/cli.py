"""The command line: a group whose commands are loaded only when asked for."""

import importlib
import os
import sys

import click

from analyzer.problem import Unreadable

# Name, and the line that `lowbrass --help` shows: kept here, so that help needs to load no command.
COMMANDS = {
    "map": "Plan every trombone and euphonium line of a score; mark the notes.",
    "parts": "List a score's parts and which of them are low brass, and why.",
    "chart": "Show every way to sound every note of a horn.",
    "horns": "List the horns; fit one to your own by a measurement.",
    "serve": "Open a local page: drop a score, see its marks, change them.",
    "tune": "Fit a horn to a tuner's readings; find how far to pull its slides for the music at hand.",
    "learn": "Fit the plan to the marks that a teacher wrote into a score.",
    "review": "Find what lies beyond a horn or player, note by note, with computed ways out.",
    "compare": "Set the same parts on several horns side by side.",
    "write": "Write one player's line for its reader: another clef, another instrument, alone.",
    "folders": "Print a programme: every player's parts in order, a page for the director.",
    "drill": "Write a practice sheet from the moves that are new, far, fast or out of tune.",
    "progress": "Record what a player has learned and which moves are secure.",
    "survey": "Plan a whole folder of scores; sum up what horns they ask for.",
    "search": "Find pieces that suit a player, a horn or your section, by what they teach.",
    "fit": "Say whether a piece suits your section, who plays what, and what would have to change.",
    "section": "Make or check a section file: your players and their horns.",
    "ready": "A teacher's aid for a change of horn: what changes, what the music needs, what to look at.",
}


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"analyzer.commands.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="lowbrass", prog_name="lowbrass")
def cli() -> None:
    """Slide positions and valve combinations for whole trombone and euphonium passages, with reasons.

    Begin with:  lowbrass map YOUR-SCORE.musicxml
    """


def main() -> None:
    """Run the command line; a problem becomes one line on standard error and exit code 1."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        cli(prog_name="lowbrass")
    except Unreadable as error:
        click.echo(str(error), err=True)
        sys.exit(1)
    except BrokenPipeError:
        # The reader of a pipe (head, less) has seen enough; leave nothing for the interpreter to flush.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except MemoryError:
        click.echo("The work needs more memory than this machine has. Ask for one part or fewer measures.", err=True)
        sys.exit(1)

"""The command line: a group whose commands are loaded only when asked for."""

import gc
import importlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

import click

from analyzer.commands.bounded import Number
from analyzer.plain import visible
from analyzer.problem import Unreadable, unreadable

# Name, and the line that `lowbrass --help` shows: kept here, so that help needs to load no command.
COMMANDS = {
    "map": "Plan every trombone and euphonium line of a score; mark the notes.",
    "parts": "List a score's parts and which of them are low brass, and why.",
    "chart": "Show every way to sound every note of a horn.",
    "horns": "List the horns; fit one to your own by a measurement.",
    "serve": "Open a local page: drop a score, see its marks and change them.",
    "tune": "Fit a horn to a tuner's readings; find how far to pull its slides for the music at hand.",
    "learn": "Learn a teacher's preferences from the marks in a score.",
    "review": "Find what a horn or player cannot play, note by note, with computed fixes.",
    "compare": "Set the same parts on several horns side by side.",
    "write": "Write one player's line for another reader: a new clef, another instrument, alone.",
    "folders": "Print a programme: every player's parts in order, a page for the director.",
    "take-home": "Write one page for a phone that practices with the student.",
    "listen": "Hear a recording against the plan: what was played, how far off, what to practice.",
    "drill": "Write a practice sheet from the moves that are new, far, fast or out of tune.",
    "progress": "Record what a player has learned and which moves are secure.",
    "survey": "Plan a whole folder of scores; sum up what horns they need.",
    "search": "Find pieces that suit a player, a horn or your section, by what they teach.",
    "fit": "Say whether a piece suits your section, who plays what, and what would have to change.",
    "section": "Make or check a section file: your players and their horns.",
    "course": "Make a change of horn or clef into a course of weeks, from your own scores.",
    "ready": "A teacher's aid for a change of horn: what changes, what the music needs, what to look at.",
}


_OBJECTS = 200_000
"""New objects after which Python looks for rubbish. A command keeps nearly all it makes until it ends; to look every
700, as Python does of itself, takes a tenth of the time of a short one and finds nothing."""


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
@click.option("--time-limit", type=Number(1, 86_400), metavar="SECONDS", envvar="LOWBRASS_TIME_LIMIT",
              help="Longest time for one piece of engraving or conversion.  [default: 120]")
@click.option("--memory-limit", type=click.IntRange(256, 2**20), metavar="MIB", envvar="LOWBRASS_MEMORY_LIMIT",
              help="Most memory for it.  [default: 2048]")
def cli(time_limit: float | None, memory_limit: int | None) -> None:
    """Slide positions and valve combinations for whole trombone and euphonium passages, with reasons.

    Begin with:  lowbrass map YOUR-SCORE.musicxml
    """
    for variable, value in (("LOWBRASS_TIME_LIMIT", time_limit), ("LOWBRASS_MEMORY_LIMIT", memory_limit)):
        if value is not None:
            os.environ[variable] = f"{value:.12g}"


class _Outlet:
    """Standard output or standard error whose text is made visible: no name in a score steers a terminal.

    What cannot be written there is one problem; on standard error it is let go, for there is no place left to say it.
    """

    def __init__(self, stream: TextIO, name: str) -> None:
        self._stream = stream
        self._name = name

    def write(self, text: str) -> int:
        """Write text, every character of which can be seen."""
        with self._problems():
            self._stream.write(visible(text))
        return len(text)

    def flush(self) -> None:
        """Hand on what was written."""
        with self._problems():
            self._stream.flush()

    @contextmanager
    def _problems(self) -> Iterator[None]:
        try:
            yield
        except BrokenPipeError:
            raise
        except OSError as error:
            if self._name == "standard output":
                raise unreadable("cannot-write", where=self._name, what=f"cannot be written ({error.strerror})",
                                 try_="Make room, or send it elsewhere.") from error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def main() -> None:
    """Run the command line; whatever goes wrong becomes one line on standard error and an exit code that is not 0.

    1: a problem of the input, 2: wrong use, 3: with --strict, 70: a fault of ours (as in BSD's sysexits.h).
    """
    gc.set_threshold(_OBJECTS)
    streams = sys.stdout, sys.stderr
    for stream in streams:
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    sys.stdout = cast(TextIO, _Outlet(streams[0], "standard output"))
    sys.stderr = cast(TextIO, _Outlet(streams[1], "standard error"))
    try:
        code = _code()
    finally:
        sys.stdout, sys.stderr = streams
    sys.exit(code)


def _code() -> str | int | None:
    """Run the command and return the exit code."""
    try:
        try:
            cli(prog_name="lowbrass")
            code: str | int | None = 0
        except SystemExit as ended:
            code = ended.code
        sys.stdout.flush()
    except Unreadable as error:
        click.echo(str(error), err=True)
        if error.problem.where == "standard output":
            _forget_output()
        return 1
    except BrokenPipeError:
        # The reader of a pipe (head, less) has seen enough.
        _forget_output()
        return 0
    except MemoryError:
        click.echo("The work needs more memory than this machine has. Ask for one part or fewer measures.", err=True)
        return 1
    except Exception as error:
        from analyzer.failure import reported

        click.echo(reported(error), err=True)
        return 70
    return code


def _forget_output() -> None:
    """Leave nothing for the interpreter to flush."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

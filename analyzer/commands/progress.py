"""``lowbrass progress FILE.toml``: what a player has learned and made secure, kept in the player file."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from analyzer.commands.options import format_option, missing, print_json, write_file
from analyzer.files import read_file
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.plan.heard import KEY as HEARD
from analyzer.plan.heard import heard_of
from analyzer.plan.player import player_of_file, read_player
from analyzer.plan.practiced import MOST_BYTES as MOST_TICKS_BYTES
from analyzer.plan.practiced import Practiced, kept, practiced_of, read_practice
from analyzer.plan.progress import Pair, parse_move, parse_state, recorded
from analyzer.problem import unreadable
from analyzer.report.progress import progress_document, progress_text
from analyzer.toml_file import MOST_BYTES, parse_table, read_table


@click.command("progress")
@click.argument("player", type=click.Path(path_type=Path), metavar="FILE.toml")
@click.option("--learned", multiple=True, metavar="STATE", help="A valve state that is learned now: T, TS, 1-3.")
@click.option("--secure", multiple=True, metavar="MOVE",
              help="A move that needs no more practice, by its two labels: T1-4, or \"1-3 to 0\".")
@click.option("--again", multiple=True, metavar="STATE_OR_MOVE",
              help="Take a state or move back, to practice it again.")
@click.option("--from", "practice", type=click.Path(path_type=Path), metavar="FILE.json",
              help="What a student ticked on a take-home page and sent back.")
@format_option("text", "json")
def command(player: Path, learned: tuple[str, ...], secure: tuple[str, ...], again: tuple[str, ...],
            practice: Path | None, form: str) -> None:
    """Say what a player has learned and what is secure; record more of it, or take some back.

    The player file stays plain text for you to edit: comments and order are kept. map allows what is learned and leans
    towards what is secure; drill leaves secure moves out.
    """
    states = [_read(parse_state, "--learned", one, "T, TS or 1-3") for one in learned]
    moves = [_read(parse_move, "--secure", one, "T1-4 or \"1-3 to 0\"") for one in secure]
    for state in states:
        if not any(set(state) - {"-"} <= set("".join(load_horn(name).loop_names)) for name in horn_names()):
            click.echo(f"{state} is a valve state of no horn in lowbrass horns; take a slip back with --again {state}.",
                       err=True)
    ticked = read_practice(read_file(practice, MOST_TICKS_BYTES), practice.name) if practice is not None else ()
    if not (states or moves or again or ticked):
        now = read_player(player)
    else:
        with alone(player):
            before = read_player(player)
            if states and before.learned is None:
                click.echo(f"{player.name} lists no learned states, so every one counts as learned already; begin with "
                           "learned = [] to count them.", err=True)
            text = _changed(player, states, moves, again, ticked)
            now = player_of_file(parse_table(text, player.name))
            write_file(player.resolve(), text.encode("utf-8"))
        click.echo(f"Wrote {player}.", err=True)
    kept_beside = read_table(player).data
    rows, recordings = practiced_of(kept_beside.get("practiced")), heard_of(kept_beside.get(HEARD))
    if form == "json":
        print_json(progress_document(player, now, rows, recordings))
    else:
        click.echo(progress_text(now, rows, recordings))


def _read(parse: Any, option: str, text: str, example: str) -> Any:
    try:
        return parse(text)
    except ValueError as error:
        raise click.BadParameter(f"{error}; write for instance {example}.", param_hint=option) from None


def _changed(path: Path, states: list[str], moves: list[Pair], again: tuple[str, ...],
             ticked: tuple[Practiced, ...] = ()) -> str:
    """Return the new text of the file, with the line ends that it has."""
    old = read_file(path, MOST_BYTES).decode("utf-8")
    try:
        text = recorded(old, learned=states, secure=moves, again=again)
        text = kept(text, ticked) if ticked else text
    except ValueError as error:
        raise unreadable("not-recorded", where=path.name, what=str(error),
                         try_=f"lowbrass progress {path} lists what stands there.") from None
    except ImportError as error:
        raise missing(error.name or "a package", "progress") from error
    if old.count("\r\n") == old.count("\n") > 0:
        text = text.replace("\r\n", "\n").replace("\n", "\r\n")
    return text


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Keep other processes from changing a file between our reading and writing it.

    The lock is the file's own and ends with the process, however that ends. As a writer puts a new file in place of
    the old one, whoever waited looks whether the file it has locked is still the one of that name. Systems without
    such locks (`fcntl`) go on without: writing is whole or not at all there, too.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    while True:
        read_file(path, MOST_BYTES)       # says what is wrong; a pipe would keep us waiting
        file = path.open("rb")
        with file:
            fcntl.flock(file, fcntl.LOCK_EX)
            try:
                current = path.stat().st_ino == os.fstat(file.fileno()).st_ino
            except OSError:
                current = False
            if current:
                yield
                return

"""``lowbrass survey``: plan every low-brass line of a whole folder of scores, and sum up."""

import os
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path
from typing import Protocol

import click

from analyzer.commands.options import format_option, horn_option, player_option, print_json, tempo_option, write_file
from analyzer.horns.profiles import load_horn
from analyzer.library.files import find_entries
from analyzer.library.purchase import horns_of, purchase, with_others
from analyzer.library.run import run_dask, run_pool
from analyzer.library.store import Store
from analyzer.library.survey import Options, assemble
from analyzer.plan.player import Player, read_player
from analyzer.problem import unreadable
from analyzer.report.surveying import survey_csv, survey_document, survey_parquet, survey_text
from analyzer.section.section import read_section

_TABLES = (".parquet", ".csv")


@click.command("survey")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--part", "parts", multiple=True, metavar="ID_OR_NAME",
              help="Part to plan in every score that has it, by id or name; may be repeated. Default: every low-brass "
                   "part.")
@click.option("--bass-clef", is_flag=True, help="Plan every part that begins in bass clef too, whatever its name.")
@horn_option
@player_option
@tempo_option
@click.option("--store", type=click.Path(path_type=Path), metavar="FILE.sqlite",
              help="Keep what is done in this file; the same command goes on where it stopped, and does nothing twice.")
@click.option("--jobs", type=click.IntRange(1, 256), metavar="N", help="Processes that read and plan. Default: one "
              "for each processor.")
@click.option("--engine", type=click.Choice(("pool", "dask")), default="pool", show_default=True,
              help="Where the work runs: on this computer, or on a Dask cluster.")
@click.option("--scheduler", metavar="ADDRESS", help="With --engine dask: the scheduler, such as tcp://host:8786.")
@click.option("--section", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Section file (as for fit): say what one more horn would bring to the horns it lists.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the table of lines too; its ending says how: .parquet or .csv.")
@format_option("text", "json", "csv")
def command(folder: Path, parts: tuple[str, ...], bass_clef: bool, horns: tuple[str, ...], player: Path | None,
            tempo: float | None, store: Path | None, jobs: int | None, engine: str, scheduler: str | None,
            section: Path | None, output: Path | None, form: str) -> None:
    """Plan every trombone and euphonium line in FOLDER (and in its zip archives), and sum up what horns they ask for.

    Scores are told by their content. A file that cannot be read is named with the reason, and the others go on. Without
    --horn each line is planned on two horns of its kind, a plainer and a fuller one, so that they can be compared.
    """
    if output is not None and output.suffix.lower() not in _TABLES:
        raise click.BadParameter(f"'{output.name}' has an ending that is not known; use one of {', '.join(_TABLES)}.",
                                 param_hint="-o")
    if scheduler is not None and engine != "dask":
        raise click.UsageError("--scheduler belongs to --engine dask; give both.")
    if bass_clef and parts:
        raise click.UsageError("--bass-clef takes every part in that clef; leave --part out.")
    if section is not None and horns:
        raise click.UsageError("--section brings its own horns; leave --horn out.")
    owned = horns_of(read_section(section)) if section else ()
    options = Options(horns=with_others(owned) if owned else tuple(load_horn(name) for name in horns), parts=parts,
                      bass_clef=bass_clef, player=read_player(player) if player else Player(), tempo_bpm=tempo)
    processes = jobs or os.cpu_count() or 1
    done = 0
    try:
        with _progress() as shown:
            ours = [one for one in (store, store and store.with_name(f"{store.name}-journal"), output) if one]
            entries = find_entries(folder, leave_out=ours, seen=shown.looked)
            with Store(store, options) as kept:
                work = [entry for entry in entries if entry.status == "score"]
                records = kept.done(work)
                done = before = len(records)
                shown.start(len(work), done)
                todo = [entry for entry in work if entry.name not in records]
                results = (run_dask(todo, options, jobs=processes, scheduler=scheduler) if engine == "dask"
                           else run_pool(todo, options, jobs=min(processes, len(todo) or 1)))
                with closing(results):
                    for entry, record in results:
                        kept.keep(entry, record)
                        records[entry.name] = record
                        done += 1
                        shown.step(entry.name)
    except KeyboardInterrupt:
        way = ("The same command goes on from there" if store is not None
               else "Nothing is kept without --store FILE.sqlite; give one to be able to go on")
        raise unreadable("stopped", where=str(folder), what=f"stopped; {done} scores are done", try_=f"{way}.") \
            from None
    click.echo(f"{len(work)} scores; {before} were in the store already, {len(work) - before} done now.", err=True)
    survey = assemble(str(folder), entries, records)
    bought = purchase(survey, {horn.name for horn in owned}) if owned else None
    if output is not None:
        write_file(output, survey_parquet(survey) if output.suffix.lower() == ".parquet"
                   else survey_csv(survey).encode("utf-8"))
        click.echo(f"Wrote {output}.", err=True)
    if form == "json":
        print_json(survey_document(survey, bought))
    elif form == "csv":
        click.echo(survey_csv(survey), nl=False)
    else:
        click.echo(survey_text(survey, bought))


class _Shown(Protocol):
    """What the work tells the person who waits."""

    def looked(self, files: int) -> None: ...

    def start(self, total: int, done: int) -> None: ...

    def step(self, name: str) -> None: ...


def _progress() -> AbstractContextManager[_Shown]:
    """Return a progress bar on standard error; plain lines now and then where there is no rich or no terminal."""
    if not sys.stderr.isatty():
        return _plain()
    try:
        import rich.progress  # noqa: F401
    except ImportError:
        return _plain()
    return _bar()


class _Plain:
    _EVERY = 100

    def __init__(self) -> None:
        self.total = self.done = 0

    def looked(self, files: int) -> None:
        if files and files % 1000 == 0:
            click.echo(f"{files} files seen", err=True)

    def start(self, total: int, done: int) -> None:
        self.total, self.done = total, done

    def step(self, name: str) -> None:
        self.done += 1
        if self.done % self._EVERY == 0:
            click.echo(f"{self.done} of {self.total} scores done", err=True)


@contextmanager
def _plain() -> Iterator[_Shown]:
    yield _Plain()


@contextmanager
def _bar() -> Iterator[_Shown]:
    from rich import progress
    from rich.console import Console
    from rich.markup import escape

    columns = (progress.TextColumn("{task.description}"), progress.BarColumn(), progress.MofNCompleteColumn(),
               progress.TextColumn("time left"), progress.TimeRemainingColumn())
    with progress.Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Looking through the folder", total=None)

        class Bar:
            def looked(self, files: int) -> None:
                bar.update(task, completed=files)

            def start(self, total: int, done: int) -> None:
                # A new count, so that the time left is judged by what is done now, not by what the store had.
                bar.reset(task, total=total, completed=done, description="Planning")

            def step(self, name: str) -> None:
                bar.update(task, advance=1, description=escape(name[-40:]))

        yield Bar()

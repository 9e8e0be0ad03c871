"""Going through a folder of scores, as `survey` and `search` do: options, progress, a store, and how to go on."""

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

import click

from analyzer.commands.options import Number
from analyzer.library.files import Entry, find_entries
from analyzer.library.limits import WorkerLimits
from analyzer.library.run import Work, run_dask, run_pool
from analyzer.library.store import Store
from analyzer.library.survey import Record
from analyzer.plain import one_line
from analyzer.problem import unreadable
from analyzer.words import counted

_Command = TypeVar("_Command", bound=Callable[..., Any])
_DEFAULT = WorkerLimits()


def sweep_options(command: _Command) -> _Command:
    """Add the options that say how a folder is gone through; their values make a `Sweep`."""
    for option in reversed((
        click.option("--store", type=click.Path(path_type=Path), metavar="FILE.sqlite",
                     help="Keep what is done in this file; the same command goes on where it stopped, and does nothing "
                          "twice."),
        click.option("--foreign", is_flag=True,
                     help="Read ABC, Humdrum and MIDI too, through music21 (some seconds each)."),
        click.option("--jobs", type=click.IntRange(1, 256), metavar="N",
                     help="Processes that read and plan. Default: one for each processor."),
        click.option("--engine", type=click.Choice(("pool", "dask")), default="pool", show_default=True,
                     help="Where the work runs: on this computer, or on a Dask cluster."),
        click.option("--scheduler", metavar="ADDRESS",
                     help="With --engine dask: the scheduler, such as tcp://host:8786."),
        click.option("--time-limit", type=Number(1, 86_400), metavar="SECONDS", default=_DEFAULT.seconds,
                     show_default=True, help="Skip (and report) a score that takes longer."),
        click.option("--memory-limit", type=click.IntRange(256, 2**20), metavar="MIB", default=_DEFAULT.memory_mib,
                     show_default=True, help="Memory of each process; skip (and report) a score that needs more."),
    )):
        command = option(command)
    return command


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """How a folder is gone through: the values of `sweep_options`."""

    store: Path | None
    foreign: bool
    jobs: int | None
    engine: str
    scheduler: str | None
    time_limit: float
    memory_limit: int

    def __post_init__(self) -> None:
        if self.scheduler is not None and self.engine != "dask":
            raise click.UsageError("--scheduler belongs to --engine dask; give both.")

    def over(self, folder: Path, options: Any, *, work: Work, leave_out: Path | None = None,
             ) -> tuple[list[Entry], Mapping[str, Record]]:
        """Return every file under a folder, and by name the record of each score; `leave_out` is a file of ours.

        A record is read from the store when it is asked for, so the store stays open until the command ends.

        Raises
        ------
        Unreadable
            If folder or store cannot be used, or the person who waits has stopped it.
        """
        done = 0
        try:
            with _progress() as shown:
                ours = [one for one in (self.store, self.store and self.store.with_name(f"{self.store.name}-journal"),
                                        leave_out) if one]
                entries = find_entries(folder, leave_out=ours, foreign=self.foreign, seen=shown.looked)
                scores = [entry for entry in entries if entry.status == "score"]
                kept = Store(self.store, options)
                click.get_current_context().call_on_close(kept.close)
                if kept.damaged:
                    click.echo(f"Damaged in the store, and worked out again: {counted(kept.damaged, 'record')}.",
                               err=True)
                had = kept.names(scores)
                done = before = len(had)
                shown.start(len(scores), done)
                todo = [entry for entry in scores if entry.name not in had]
                passing: dict[str, Record] = {}
                with closing(self._steps(todo, options, work)) as steps:
                    for entry, record in steps:
                        # Nothing is held here meanwhile: memory does not grow with the library.
                        if not kept.keep(entry, record):
                            passing[entry.name] = record
                        done += 1
                        shown.step(entry.name)
                records = kept.done(scores, passing)
        except KeyboardInterrupt:
            way = ("The same command goes on from there" if self.store is not None
                   else "Nothing is kept without --store FILE.sqlite; give one to be able to go on")
            raise unreadable("stopped", where=str(folder), what=f"stopped; {done} scores are done", try_=f"{way}.") \
                from None
        click.echo(f"{len(scores)} scores; {before} were in the store already, {len(scores) - before} done now.",
                   err=True)
        return entries, records

    def _steps(self, todo: list[Entry], options: Any, work: Work) -> Any:
        processes = self.jobs or os.cpu_count() or 1
        limits = WorkerLimits(seconds=self.time_limit, memory_mib=self.memory_limit)
        if self.engine == "dask":
            return run_dask(todo, options, jobs=processes, scheduler=self.scheduler, limits=limits, work=work)
        return run_pool(todo, options, jobs=min(processes, len(todo) or 1), limits=limits, work=work)


class _Shown(Protocol):
    """What the work tells the person who waits."""

    def looked(self, files: int) -> None: ...

    def start(self, total: int, done: int) -> None: ...

    def step(self, name: str) -> None: ...


def _progress() -> AbstractContextManager[_Shown]:
    """Return a progress bar on standard error; plain lines now and then where there is no terminal."""
    return _bar() if sys.stderr.isatty() else _plain()


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


class _Bar(_Plain):
    _NAME = 40

    def __init__(self, left: ExitStack) -> None:
        super().__init__()
        self._left = left
        self._bar: Any = None

    def start(self, total: int, done: int) -> None:
        # What the store had is not in its length, so that the time left is judged by what is done now.
        self._bar = self._left.enter_context(click.progressbar(
            length=total - done, label="Planning", show_pos=True, item_show_func=self._shown, file=sys.stderr))

    def step(self, name: str) -> None:
        self._bar.update(1, name)

    def _shown(self, name: str | None) -> str | None:
        return name and one_line(name[-self._NAME:])


@contextmanager
def _bar() -> Iterator[_Shown]:
    with ExitStack() as left:
        yield _Bar(left)

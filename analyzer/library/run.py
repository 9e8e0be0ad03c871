"""Goes through many files in many processes, or on a Dask cluster; a worker that dies takes no other file with it."""

import gc
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import Connection
from typing import Any

from analyzer.guard import interrupts_held_back
from analyzer.library.files import Contents, Entry
from analyzer.library.limits import WorkerLimits, within
from analyzer.library.survey import Record, failed, survey_bytes
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.serving import limit_memory

Work = Callable[[str, bytes, Any], Record]
"""What is done with a file: its name, its bytes and the options go in; it raises nothing but MemoryError."""
Done = tuple[Entry, Record]
Steps = Generator[Done, None, None]

# Files handed out and not yet back, a worker. Judged: 2 keeps workers busy (handing out takes about a millisecond);
# more would only widen the suspicion when a worker dies.
_AHEAD = 2
# A cluster without a worker for so long is given up. [s] Judged: one that died is back within 20 on a busy machine.
_WORKERLESS_S = 60.0
# What goes to a worker of a cluster at once. Judged: a task costs a cluster some milliseconds of its own, whatever is
# in it; so much music takes a fifth of a second, and the last workers do not wait long for each other.
_PARCEL_BYTES, _PARCEL_FILES = 2**20, 32
# New objects before the next search for cycles. Judged: what one large score makes; from ten times less on it costs.
_OBJECTS_A_SEARCH = 200_000


def _limited(work: Work, name: str, data: bytes, options: Any, limits: WorkerLimits) -> Record:
    try:
        return within(limits.seconds, lambda: work(name, data, options))
    except TimeoutError:
        return _too_slow(name, limits)
    except MemoryError:
        return failed(name, Problem(
            severity="error", code="out-of-memory", where=name, what="the score needs more memory than it is given",
            try_="Give more with --memory-limit, or export only its low-brass parts."))


def _parcel(work: Work, files: Sequence[tuple[str, bytes]], options: Any, limits: WorkerLimits) -> list[Record]:
    """Do some files on a worker of a cluster, one after the other."""
    before = gc.get_threshold()
    gc.set_threshold(max(_OBJECTS_A_SEARCH, before[0]), *before[1:])    # as in a worker of our own, for the time of it
    try:
        return [_limited(work, name, data, options, limits) for name, data in files]
    finally:
        gc.set_threshold(*before)


def run_pool(entries: Iterable[Entry], options: Any, *, jobs: int, limits: WorkerLimits | None = None,
             work: Work = survey_bytes) -> Steps:
    """Yield each entry with its record, as they get done, in `jobs` processes.

    When a worker dies or hangs, the files that were out are done again one by one, each in a process of its own, so
    that the culprit is named and no other suffers. Closing the generator ends the workers at once.
    """
    limits = limits or WorkerLimits()
    contents = Contents()
    waiting = iter(entries)
    try:
        exhausted = False
        while not exhausted:
            suspects: list[tuple[Entry, bytes]] = []
            with _Pool(jobs, limits) as pool:
                out: dict[Future[Record], tuple[Entry, bytes]] = {}
                while not suspects:
                    while not exhausted and len(out) < _AHEAD * jobs:
                        entry = next(waiting, None)
                        if entry is None:
                            exhausted = True
                            break
                        data = _content(contents, entry)
                        if isinstance(data, dict):
                            yield entry, data
                            continue
                        try:
                            out[pool.submit(work, entry.name, data, options)] = entry, data
                        except BrokenProcessPool:
                            suspects.append((entry, data))
                            break
                    if not out:
                        break
                    done, _ = wait(out, timeout=limits.patience_s, return_when=FIRST_COMPLETED)
                    if not done:
                        pool.end()
                        break
                    # In the order handed out, so that equal runs are as equal as can be.
                    for future in [one for one in out if one in done]:
                        entry, data = out.pop(future)
                        try:
                            record = future.result()
                        except BrokenProcessPool:
                            suspects.append((entry, data))
                        else:
                            yield entry, record
                suspects += out.values()
            for entry, data in suspects:
                yield entry, _alone(entry, data, options, work, limits)
    finally:
        contents.close()


def _content(contents: Contents, entry: Entry) -> bytes | Record:
    try:
        return contents.read(entry)
    except Unreadable as error:
        return failed(entry.name, error.problem)


def _alone(entry: Entry, data: bytes, options: Any, work: Work, limits: WorkerLimits) -> Record:
    with _Pool(1, limits) as pool:
        try:
            return pool.submit(work, entry.name, data, options).result(limits.patience_s)
        except BrokenProcessPool:
            return _killer(entry)
        except TimeoutError:
            pool.end()
            return _too_slow(entry.name, limits)


def _killer(entry: Entry) -> Record:
    return failed(entry.name, Problem(
        severity="error", code="worker-died", where=entry.name,
        what="the process that read this score died, and again when it had nothing else to do",
        try_="The score may need more memory than there is: export only its low-brass parts."))


def _too_slow(name: str, limits: WorkerLimits) -> Record:
    return failed(name, Problem(
        severity="error", code="too-slow", where=name, what=f"the score was given up after {limits.seconds:g} seconds",
        try_="Give more with --time-limit, or export only its low-brass parts."))


class _Pool:
    """A process pool whose workers end when this process does, however it ends (they wait on a pipe of ours)."""

    def __init__(self, jobs: int, limits: WorkerLimits) -> None:
        self._limits = limits
        # Fresh processes: forking one that has threads (the progress bar) may hang, and Windows has no fork.
        context = multiprocessing.get_context("spawn")
        self._theirs, self._ours = context.Pipe(duplex=False)
        self._pool = ProcessPoolExecutor(jobs, mp_context=context, initializer=_begin,
                                         initargs=(self._theirs, limits.memory_mib))

    def __enter__(self) -> "_Pool":
        return self

    def submit(self, work: Work, name: str, data: bytes, options: Any) -> Future[Record]:
        with interrupts_held_back():
            return self._pool.submit(_limited, work, name, data, options, self._limits)

    def end(self) -> None:
        """End the workers at once, whatever they do."""
        self._ours.close()

    def __exit__(self, *error: object) -> None:
        # Cancel what waits, then end the workers: at the normal end none of them has work.
        if error[0] is not None:
            self.end()
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._ours.close()
        self._theirs.close()


def _begin(pipe: Connection, memory_mib: int | None) -> None:
    """Set up a worker: Ctrl-C is the parent's business, and the end of the pipe is the end of the worker."""
    limit_memory(memory_mib)
    # A score makes few cycles and many objects: searching them for cycles that often costs an eighth of the time.
    gc.set_threshold(_OBJECTS_A_SEARCH)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(pipe,), daemon=True).start()


def _end_with(pipe: Connection) -> None:
    multiprocessing.connection.wait([pipe])
    os._exit(1)


def run_dask(entries: Iterable[Entry], options: Any, *, jobs: int, scheduler: str | None = None,
             answer_s: float = 5.0, limits: WorkerLimits | None = None, work: Work = survey_bytes) -> Steps:
    """Yield each entry with its record, done on a Dask cluster (`scheduler`, or one of `jobs` processes made here).

    The scheduler has `answer_s` seconds to answer. The files' bytes are sent along, so the workers need no access to
    the folder; they need this package. A file's time is limited here too; memory is the cluster's own matter.

    Raises
    ------
    Unreadable
        If Dask is not installed, or no scheduler answers.
    """
    try:
        import distributed
    except ImportError as error:
        raise unreadable("not-installed", where="--engine dask", what="this needs distributed, which is not installed",
                         try_="Install the extra: pip install 'lowbrass[cluster]', or leave --engine out.") from error
    contents = Contents()
    with _client(distributed, jobs, scheduler, answer_s) as client:
        try:
            yield from _on_cluster(distributed, client, entries, options, contents, work, limits or WorkerLimits())
        except OSError as error:                     # all that Dask raises when a connection ends is one
            raise _lost(error) from error
        finally:
            contents.close()


def _client(distributed: Any, jobs: int, scheduler: str | None, answer_s: float) -> Any:
    if scheduler is None:
        import dask

        # A file whose worker died is not tried again in company.
        # And nothing wakes up fifty or a hundred times a second for a profile or a dashboard that nobody opens.
        with dask.config.set({"distributed.scheduler.allowed-failures": 0,
                              "distributed.worker.profile.enabled": False,
                              "distributed.admin.tick.interval": "500ms",
                              "distributed.admin.system-monitor.interval": "5s"}):
            return distributed.Client(n_workers=jobs, threads_per_worker=1, processes=True, dashboard_address=None,
                                      memory_limit=0)
    try:
        return distributed.Client(scheduler, timeout=answer_s, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise unreadable("no-scheduler", where=scheduler, what=f"no Dask scheduler answers there ({error})",
                         try_="Give its address, such as tcp://host:8786, or leave --engine out.") from error


def _on_cluster(distributed: Any, client: Any, entries: Iterable[Entry], options: Any, contents: Contents,
                work: Work, limits: WorkerLimits) -> Steps:
    waiting = iter(entries)
    out: dict[Any, list[Entry]] = {}
    suspects: list[Entry] = []

    def hand_out() -> Steps:
        threads = sum(client.nthreads().values()) or 1
        while len(out) < _AHEAD * threads:
            parcel: list[tuple[Entry, bytes]] = []
            while len(parcel) < _PARCEL_FILES and sum(len(data) for _, data in parcel) < _PARCEL_BYTES:
                entry = next(waiting, None)
                if entry is None:
                    break
                data = _content(contents, entry)
                if isinstance(data, dict):
                    yield entry, data
                else:
                    parcel.append((entry, data))
            if not parcel:
                return
            files = [(entry.name, data) for entry, data in parcel]
            out[client.submit(_parcel, work, files, options, limits, pure=False)] = [entry for entry, _ in parcel]

    yield from hand_out()
    while out:
        try:
            with client.as_current():
                done = distributed.wait(list(out), timeout=_WORKERLESS_S, return_when="FIRST_COMPLETED").done
        except TimeoutError as error:
            if not client.nthreads():
                raise _lost(RuntimeError("no worker is left")) from error
            continue
        except distributed.CancelledError as error:
            raise _lost(error) from error
        for future in [one for one in out if one in done]:
            parcel = out.pop(future)
            records = _gathered(distributed, future)
            if records is None:
                suspects += parcel
            else:
                yield from zip(parcel, records, strict=True)
        yield from hand_out()
    # The cluster gives up files when workers died with them in their queue. They are done in a process here: a file
    # that kills would take one worker of the cluster after the other, and a worker that dies while it is just coming
    # back is sometimes not started again.
    yield from run_pool(suspects, options, jobs=1, limits=limits, work=work)


def _lost(error: Exception) -> Unreadable:
    return unreadable("cluster-lost", where="--engine dask", what=f"the cluster does not answer any more ({error})",
                      try_="With --store, the same command goes on from what is done.")


def _gathered(distributed: Any, future: Any) -> list[Record] | None:
    """Return the records of a parcel, None if the cluster gave it up as its workers died.

    Raises
    ------
    Unreadable
        If the cluster itself is lost; what is not done yet must not look as if it had failed.
    """
    try:
        records: list[Record] = future.result()
    except distributed.KilledWorker:
        # Raised also for what was done: it is lost when its worker dies before it is fetched.
        return None
    except Exception as error:
        raise _lost(error) from error
    finally:
        future.release()
    return records

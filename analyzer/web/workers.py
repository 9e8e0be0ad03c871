"""Work of the page in processes of its own, which may die, take too long or be given up without taking the page along.

The processes are those of `guard`; here they are waited for by many at once, and stopped when nobody waits any more.
"""

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from analyzer.guard import Died, Limits, Pool, Worker
from analyzer.problem import Unreadable, unreadable
from analyzer.serving import LibraryError
from analyzer.web.security import RefusedError

_Result = TypeVar("_Result")
TIME_LIMIT_S, MEMORY_LIMIT_MIB = 120.0, 2048
"""Longest time and most memory of one piece of work; judged: the longest real score takes about a tenth of it."""
_LOOK_S = 0.2                          # how often it is asked whether the page still waits
JOBS_WAITING = 20
"""So many jobs may wait; judged: one person asks for a few."""


class Workers:
    """A few worker processes. A worker that dies or takes too long costs its piece of work and nothing else."""

    def __init__(self, *, count: int = 1, time_limit_s: float = TIME_LIMIT_S, memory_limit_mib: int = MEMORY_LIMIT_MIB,
                 modules: tuple[str, ...] = ()) -> None:
        self._count, self._modules = count, modules
        self._limits = Limits(seconds=time_limit_s, memory_mib=memory_limit_mib)
        self._pool = Pool()
        self._busy: set[Worker] = set()
        self._threads = ThreadPoolExecutor(count)      # each does nothing but wait for one process
        self._turns: tuple[asyncio.AbstractEventLoop, asyncio.Semaphore] | None = None

    def start(self) -> None:
        """Start a process, so that the first piece of work does not wait for it."""
        self._pool.warm(self._limits, self._modules)

    async def run(self, work: Callable[..., _Result], *arguments: object) -> _Result:
        """Do `work` in a process, when one is free; whoever is cancelled while waiting stops it.

        Raises
        ------
        Unreadable
            If the process died or met a limit.
        """
        loop = asyncio.get_running_loop()
        if self._turns is None or self._turns[0] is not loop:
            self._turns = loop, asyncio.Semaphore(self._count)
        async with self._turns[1]:
            worker = self._pool.take(self._limits, self._modules)
            self._busy.add(worker)
            doing = loop.run_in_executor(self._threads, lambda: self._pool.do(worker, work, *arguments))
            try:
                found: _Result = await asyncio.shield(doing)
                return found
            except asyncio.CancelledError:
                worker.stop()
                doing.add_done_callback(lambda done: done.cancelled() or done.exception())
                raise
            except Died as death:
                raise _problem(death.of) from None
            except LibraryError:
                raise _problem("library") from None
            finally:
                self._busy.discard(worker)

    def stop(self) -> None:
        """End the processes; whoever waits for one is told."""
        for worker in list(self._busy):
            worker.stop()
        self._pool.end()


def _problem(why: str) -> Unreadable:
    what, try_ = {
        "time": ("the work took too long and was stopped", "Ask for fewer measures."),
        "memory": ("the work needs more memory than it is given", "Ask for fewer measures."),
        "stopped": ("the work was stopped", "Try it once more."),
        "library": ("a library that does this work failed on this music", "Ask for fewer measures, to find where."),
    }.get(why, ("the work broke off", "Try it once more; if it breaks off again, ask for fewer measures."))
    return unreadable("stopped-work", where="the page", what=what, try_=try_)


class Jobs:
    """One worker process for work that somebody waits for. Giving up stops it, and the next piece begins in a new one.

    Parameters
    ----------
    most_waiting : int
        So many pieces may wait or be done.
    patience_s : float
        So long a piece is let go on though nobody waits for it: what is quick is done sooner than a new process starts,
        and what the process remembers is kept.
    """

    def __init__(self, workers: Workers | None = None, *, most_waiting: int = JOBS_WAITING, patience_s: float = 0.0,
                 ) -> None:
        self._workers = workers or Workers()
        self._most_waiting, self._patience_s = most_waiting, patience_s
        self._turn = asyncio.Lock()
        self._waiting = 0

    def start(self) -> None:
        """Start the process ahead."""
        self._workers.start()

    async def run(self, gone: Callable[[], Awaitable[bool]], job: Callable[..., _Result], *arguments: object,
                  ) -> _Result:
        """Do `job` in the process; `gone` tells whether nobody waits for it any more.

        Raises
        ------
        RefusedError
            If too many wait already, or nobody waits for this.
        Unreadable
            If the job says so, its process died, or it met a limit.
        """
        if self._waiting >= self._most_waiting:
            raise RefusedError(503, "Too much work at once. Wait a moment and try again.")
        self._waiting += 1
        try:
            async with self._turn:
                if await gone():
                    raise RefusedError(499, "Nobody waits for this any more.")
                return await self._watched(gone, job, *arguments)
        finally:
            self._waiting -= 1

    async def _watched(self, gone: Callable[[], Awaitable[bool]], job: Callable[..., _Result], *arguments: object,
                       ) -> _Result:
        loop = asyncio.get_running_loop()
        task, begun_s = asyncio.ensure_future(self._workers.run(job, *arguments)), loop.time()
        try:
            while not (await asyncio.wait({task}, timeout=_LOOK_S))[0]:
                if loop.time() - begun_s >= self._patience_s and await gone():
                    raise RefusedError(499, "Nobody waits for this any more.")
            return task.result()
        finally:
            task.cancel()

    def stop(self) -> None:
        """End the process."""
        self._workers.stop()

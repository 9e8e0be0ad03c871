"""Long work over a folder, in a process of its own that tells how far it is; whoever waits no longer ends it at once.

What is told goes out as lines of JSON, each as soon as it is known: steps, then the answer, or why there is none.
"""

import asyncio
import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import AsyncIterator, Callable
from multiprocessing import parent_process
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from analyzer.guard import interrupts_held_back
from analyzer.plain import json_text
from analyzer.problem import Problem, Unreadable
from analyzer.report.plain import plain_line
from analyzer.web.security import RefusedError

Tell = Callable[[dict[str, Any]], None]
Job = Callable[..., tuple[dict[str, Any], Any]]
"""Gets a function that tells a step, and its arguments; gives the answer, and what the page holds for later."""
MOST_AT_ONCE = 2
"""Judged: one that somebody looks at, and one that a closed tab has just left."""
_LOOK_S = 0.2


class Sweeps:
    """The processes at work."""

    def __init__(self) -> None:
        self._running: set[SpawnProcess] = set()

    def lines(self, hold: Callable[[Any], dict[str, Any]], job: Job, *arguments: object) -> AsyncIterator[bytes]:
        """Do `job` and yield what it tells; `hold` keeps what is for later and says how to ask for it.

        Closing the generator ends the process.

        Raises
        ------
        RefusedError
            If too much is at work already.
        """
        if len(self._running) >= MOST_AT_ONCE:
            raise RefusedError(503, "Other folders are being looked through. Cancel that, or wait a moment.")
        return self._lines(hold, job, *arguments)

    async def _lines(self, hold: Callable[[Any], dict[str, Any]], job: Job, *arguments: object) -> AsyncIterator[bytes]:
        ours, theirs = multiprocessing.get_context("spawn").Pipe()
        process = multiprocessing.get_context("spawn").Process(target=_work, args=(theirs, job, arguments))
        with interrupts_held_back():
            process.start()
        self._running.add(process)
        theirs.close()
        try:
            while True:
                kind, *told = await self._next(ours, process)
                if kind == "step":
                    yield _line(told[0])
                    continue
                if kind == "problem":
                    yield _line({"line": plain_line(told[0]), "problem": told[0].as_json()})
                elif kind == "answer":
                    answer, kept = told
                    yield _line({"answer": {**answer, **hold(kept)}})
                else:
                    yield _line({"line": "The work broke off. Try it once more; if it breaks off again, choose fewer "
                                         "files."})
                return
        finally:
            process.kill()
            ours.close()
            self._running.discard(process)

    async def _next(self, pipe: Connection, process: SpawnProcess) -> tuple[Any, ...]:
        while True:
            with contextlib.suppress(EOFError, OSError):
                if await asyncio.to_thread(pipe.poll, _LOOK_S):
                    found: tuple[Any, ...] = await asyncio.to_thread(pipe.recv)
                    return found
                if process.is_alive():
                    continue
            return ("fault",)

    def stop(self) -> None:
        """End them all."""
        for process in self._running:
            process.kill()


def _line(told: dict[str, Any]) -> bytes:
    return json_text(told, indent=None).encode() + b"\n"


def _work(pipe: Connection, job: Job, arguments: tuple[object, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        answer, kept = job(lambda step: pipe.send(("step", step)), *arguments)
        pipe.send(("answer", answer, kept))
    except Unreadable as error:
        pipe.send(("problem", error.problem))
    except ImportError as error:
        pipe.send(("problem", Problem(severity="error", code="missing-extra", where="this computer",
                                      what=f"this needs {error.name}, which is not installed",
                                      try_="Ask whoever installed lowbrass for everything that belongs to it.")))


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
    os._exit(1)

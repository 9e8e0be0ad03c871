"""Work in a process of its own, under a limit of time and memory: it may die or be given up and takes nobody along.

Engraver (verovio) and music21 are fed with scores that nobody has checked for them; the local page plans whatever it
is given, for somebody who may go meanwhile. That is done by worker processes, each of which stays for the next piece of
work, as its libraries take a while to load. Work is a function of a module; its arguments and its result are pickled.
"""

import atexit
import contextlib
import os
import pickle
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from analyzer import serving
from analyzer.problem import Unreadable, unreadable
from analyzer.serving import GRACE_S, LibraryError

_Found = TypeVar("_Found")
TIME_VARIABLE, MEMORY_VARIABLE = "LOWBRASS_TIME_LIMIT", "LOWBRASS_MEMORY_LIMIT"
_SHORTER = "Ask for one part or fewer measures (--part, --measures)"
_FIND = f"{_SHORTER} to find the measure, and export the score again."
_START_S = 60.0
"""Longest time for a worker to start and load its modules; judged: a busy machine takes some seconds."""
_NEAR = 0.8
"""A worker that died with so much of its memory in use died of that, whatever it said (judged)."""
# In a group of its own: a Ctrl-C on the terminal is the parent's business from the first moment on.
_APART: dict[str, Any] = {"process_group": 0} if os.name == "posix" else {
    "creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
_START = ("import pickle, sys; sys.path[:] = pickle.load(sys.stdin.buffer); "
          "from analyzer.serving import serve; serve()")


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """`seconds` of one piece of work and `memory_mib` of its process; None lifts a limit.

    Judged defaults: the longest real score takes about a tenth of either. An honest score that is refused would change
    our mind.
    """

    seconds: float | None = 120.0
    memory_mib: int | None = 2048


def limits_told() -> Limits:
    """Return the limits of the environment (``--time-limit`` and ``--memory-limit`` set it), else the usual ones.

    Raises
    ------
    Unreadable
        If a value there is no number, or out of bounds.
    """
    usual = Limits()
    return Limits(seconds=_told(TIME_VARIABLE, usual.seconds, 1, 86_400),
                  memory_mib=round(_told(MEMORY_VARIABLE, usual.memory_mib, 256, 2**20)))


def _told(variable: str, usual: float | None, low: int, high: int) -> float:
    text = os.environ.get(variable)
    if text is None:
        return usual or high
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise unreadable("bad-limit", where=variable, what=f"'{text}' is no limit", try_=f"Give a number from {low} to "
                         f"{high}.")
    return value


def guarded(work: Callable[..., _Found], *arguments: Any, where: str, doing: str = "engraving") -> _Found:
    """Do a piece of work in a worker process and return what it returns, or raise what it raises.

    Parameters
    ----------
    work : callable
        A function of a module.
    arguments
        Whatever can be pickled.
    where : str
        What is at work on, for the problem.
    doing : str
        What is being done, for the problem: ``engraving``, ``writing the sheet``.

    Raises
    ------
    Unreadable
        If the worker died or met a limit; the line names it.
    """
    if _expendable():
        return work(*arguments)
    limits = limits_told()
    try:
        found: _Found = _pool.do(_pool.take(limits), work, *arguments)
    except Died as death:
        raise _problem(death, limits, where, doing) from None
    except LibraryError as error:
        raise unreadable("library-failed", where=where, what=f"{doing} broke off: the library that does it failed on "
                         f"this music ({error})", try_=_FIND) from None
    return found


def warm(*modules: str) -> None:
    """Start a worker and let it load these modules meanwhile, so that the first piece of work need not wait for them.

    Raises
    ------
    Unreadable
        If the limits of the environment are no limits.
    """
    if not _expendable():
        _pool.warm(limits_told(), modules)


class Pool:
    """Workers that wait for work. One does a piece at a time; whoever needs one takes it, or a new one."""

    def __init__(self) -> None:
        self._idle: list[Worker] = []
        self._lock = threading.Lock()

    def take(self, limits: Limits, modules: tuple[str, ...] = ()) -> "Worker":
        """Return a worker with these limits that has nothing to do."""
        with self._lock:
            worker = self._idle.pop() if self._idle else None
        if worker is not None and (worker.limits != limits or not worker.alive):
            worker.end()
            worker = None
        return worker or Worker(limits, modules)

    def warm(self, limits: Limits, modules: tuple[str, ...]) -> None:
        """Have a worker waiting that loads these modules meanwhile."""
        if not self._idle:
            self._idle.append(Worker(limits, modules))

    def do(self, worker: "Worker", work: Callable[..., Any], *arguments: Any) -> Any:
        """Let a worker that was taken do a piece of work; return what that returns, or raise what it raises.

        Raises
        ------
        Died
            If the worker died, met a limit or was stopped.
        """
        done = False
        try:
            succeeded, value = worker.answer(work, arguments)
            done = True
        finally:
            if done:
                with self._lock:
                    self._idle.append(worker)
            else:
                worker.end()
        if succeeded:
            return value
        raise Died("memory") if isinstance(value, MemoryError) else value

    def end(self) -> None:
        """End the workers that wait."""
        while self._idle:
            self._idle.pop().end()

    def leave(self) -> None:
        """After a fork: the workers are the parent's; keep them from being taken or collected here."""
        _of_parent.extend(self._idle)
        self._idle.clear()


def _expendable() -> bool:
    """Tell whether this process may itself die: a worker of ours, of the page, or of a survey."""
    processes = sys.modules.get("multiprocessing.process")
    return serving.active or not sys.executable or (
        processes is not None and processes.parent_process() is not None)


class Died(Exception):  # noqa: N818  what happened, not an error of ours
    """The worker is gone: for lack of ``time``, of ``memory``, ``stopped``, or by a ``fault`` (with its exit code)."""

    def __init__(self, of: str, code: int = 0) -> None:
        super().__init__(of)
        self.of, self.code = of, code


def _problem(death: Died, limits: Limits, where: str, doing: str) -> Unreadable:
    if death.of == "time":
        return unreadable("too-slow", where=where, what=f"{doing} was stopped after {limits.seconds:g} seconds",
                          try_=f"{_SHORTER}, or give it more: lowbrass --time-limit SECONDS.")
    if death.of == "memory":
        return unreadable("out-of-memory", where=where, what=f"{doing} needs more than {limits.memory_mib} MiB of "
                          "memory", try_=f"{_SHORTER}, or give it more: lowbrass --memory-limit MIB.")
    how = f"signal {-death.code}" if death.code < 0 else f"exit code {death.code}"
    return unreadable("worker-died", where=where, what=f"{doing} broke off: the library that does it failed on this "
                      f"music ({how})", try_=_FIND)


class Worker:
    """One process that does piece after piece; what it prints is kept apart, to see what it died of."""

    def __init__(self, limits: Limits, modules: tuple[str, ...] = ()) -> None:
        self.limits = limits
        self._said = tempfile.TemporaryFile()  # noqa: SIM115  closed with the worker
        paths = [*sys.path, str(Path(__file__).parent.parent)]
        self._process = subprocess.Popen([sys.executable, "-I", "-c", _START], stdin=subprocess.PIPE,
                                         stdout=subprocess.PIPE, stderr=self._said, **_APART)
        self._ended_for, self._up = "", False
        with contextlib.suppress(OSError):           # one that died at once is met when it is asked
            self._send(paths)
            self._send((limits.seconds, limits.memory_mib, modules))

    def _send(self, what: Any) -> None:
        assert self._process.stdin is not None
        pickle.dump(what, self._process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
        self._process.stdin.flush()

    def answer(self, work: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[bool, Any]:
        """Return True and the result, or False and the exception.

        Raises
        ------
        Died
            If there is no answer.
        """
        assert self._process.stdout is not None
        try:
            if not self._up:
                # To start a process takes a second and more on a busy machine, and is no part of the work.
                with self._stopped_after(_START_S):
                    self._up = pickle.load(self._process.stdout)
            with self._stopped_after(self.limits.seconds):
                self._send((work, arguments))
                answer: tuple[bool, Any] = pickle.load(self._process.stdout)
            return answer
        except (EOFError, OSError, pickle.UnpicklingError):
            raise self._death() from None

    @contextlib.contextmanager
    def _stopped_after(self, seconds: float | None) -> Iterator[None]:
        if seconds is None:
            yield
            return
        timer = threading.Timer(seconds, self.stop, ("time",))
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    @property
    def alive(self) -> bool:
        """Whether the process is there."""
        return self._process.poll() is None

    def stop(self, reason: str = "stopped") -> None:
        """Break off what it does, from any thread; whoever waits for the answer is told the reason."""
        self._ended_for = self._ended_for or reason
        self._process.kill()

    def _death(self) -> Died:
        # Its pipe ends a moment before it does itself.
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(GRACE_S)
        self._process.kill()
        code = self._process.wait()
        self._said.seek(0)
        said = self._said.read(2**20)
        if self._ended_for:
            return Died(self._ended_for)
        if code == -getattr(signal, "SIGALRM", 0):
            return Died("time")
        if b"bad_alloc" in said or b"MemoryError" in said or b"length_error" in said or self._used_up():
            return Died("memory")
        return Died("fault", code)

    def _used_up(self) -> bool:
        try:
            import resource
        except ImportError:                          # Windows
            return False
        if self.limits.memory_mib is None:
            return False
        most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        return bool(most * (1 if sys.platform == "darwin" else 1024) > _NEAR * self.limits.memory_mib * 2**20)

    def end(self) -> None:
        """End the process at once and give back what it held."""
        self._process.kill()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        self._process.wait()
        self._said.close()


_of_parent: list[Worker] = []
_pool = Pool()
atexit.register(_pool.end)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_pool.leave)


@contextlib.contextmanager
def interrupts_held_back() -> Iterator[None]:
    """Start a process of `multiprocessing` in here: Ctrl-C is our business alone.

    One that is just starting would answer it with a traceback of its own, so it begins with the signal held back (the
    mask passes to new processes); one that comes meanwhile reaches us afterwards.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()      # its own start would let the signal through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)

"""Foreign code at work in a process of its own, under a limit of time and memory: it may die and take nobody along.

Engraver (verovio) and music21 are fed with scores that nobody has checked for them. What they do is done by a worker
process, which stays for the next piece of work, as its libraries take a while to load. Ours are `work` functions of
modules, whose arguments and results can be pickled.
"""

import atexit
import contextlib
import importlib
import os
import pickle
import signal
import subprocess
import sys
import tempfile
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, TypeVar

from analyzer.problem import Unreadable, unreadable

_Found = TypeVar("_Found")
TIME_VARIABLE, MEMORY_VARIABLE = "LOWBRASS_TIME_LIMIT", "LOWBRASS_MEMORY_LIMIT"
_GRACE_S = 5.0
"""A worker whose parent is gone ends itself so long after its time is over."""
_NEAR = 0.8
"""A worker that died with so much of its memory in use died of that, whatever it said (judged)."""
_START = ("import pickle, sys; sys.path[:] = pickle.load(sys.stdin.buffer); "
          "from analyzer.guard import serve; serve()")


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
    worker = _ready(limits)
    done = False
    try:
        answer = worker.answer(work, arguments)
        done = True
    except _Died as death:
        raise _problem(death, limits, where, doing) from None
    finally:
        if done:
            with _lock:
                _idle.append(worker)
        else:
            worker.end()
    succeeded, value = answer
    if succeeded:
        found: _Found = value
        return found
    if isinstance(value, MemoryError):
        raise _problem(_Died("memory"), limits, where, doing)
    raise value


def warm(*modules: str) -> None:
    """Start a worker and let it load these modules meanwhile, so that the first piece of work need not wait for them.

    Raises
    ------
    Unreadable
        If the limits of the environment are no limits.
    """
    if not _expendable() and not _idle:
        _idle.append(_Worker(limits_told(), modules))


def _ready(limits: Limits) -> "_Worker":
    """Return a worker with these limits that has nothing to do."""
    with _lock:
        worker = _idle.pop() if _idle else None
    if worker is not None and worker.limits != limits:
        worker.end()
        worker = None
    return worker or _Worker(limits)


def _expendable() -> bool:
    """Tell whether this process may itself die: a worker of ours, of the page, or of a survey."""
    processes = sys.modules.get("multiprocessing.process")
    return _serving or not sys.executable or (
        processes is not None and processes.parent_process() is not None)


class _Died(Exception):  # noqa: N818  what happened, not an error of ours
    """The worker is gone: for lack of ``time``, of ``memory``, or by a ``fault`` (then with its exit code)."""

    def __init__(self, of: str, code: int = 0) -> None:
        super().__init__(of)
        self.of, self.code = of, code


def _problem(death: _Died, limits: Limits, where: str, doing: str) -> Unreadable:
    shorter = "Ask for one part or fewer measures (--part, --measures)"
    if death.of == "time":
        return unreadable("too-slow", where=where, what=f"{doing} was stopped after {limits.seconds:g} seconds",
                          try_=f"{shorter}, or give it more: lowbrass --time-limit SECONDS.")
    if death.of == "memory":
        return unreadable("out-of-memory", where=where, what=f"{doing} needs more than {limits.memory_mib} MiB of "
                          "memory", try_=f"{shorter}, or give it more: lowbrass --memory-limit MIB.")
    how = f"signal {-death.code}" if death.code < 0 else f"exit code {death.code}"
    return unreadable("worker-died", where=where, what=f"{doing} broke off: the library that does it failed on this "
                      f"music ({how})", try_=f"{shorter} to find the measure, and export the score again.")


class _Worker:
    """One process that does piece after piece; what it prints is kept apart, to see what it died of."""

    def __init__(self, limits: Limits, modules: tuple[str, ...] = ()) -> None:
        self.limits = limits
        self._said = tempfile.TemporaryFile()  # noqa: SIM115  closed with the worker
        paths = [*sys.path, str(Path(__file__).parent.parent)]
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-c", _START], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._said)
        self._overtime = False
        with contextlib.suppress(OSError):           # one that died at once is met when it is asked
            self._send(paths)
            self._send((limits, modules))

    def _send(self, what: Any) -> None:
        assert self._process.stdin is not None
        pickle.dump(what, self._process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
        self._process.stdin.flush()

    def answer(self, work: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[bool, Any]:
        """Return True and the result, or False and the exception."""
        assert self._process.stdout is not None
        timer = None
        if self.limits.seconds is not None:
            timer = threading.Timer(self.limits.seconds, self._stop)
            timer.daemon = True
            timer.start()
        try:
            self._send((work, arguments))
            answer: tuple[bool, Any] = pickle.load(self._process.stdout)
            return answer
        except (EOFError, OSError, pickle.UnpicklingError):
            raise self._death() from None
        finally:
            if timer is not None:
                timer.cancel()

    def _stop(self) -> None:
        self._overtime = True
        self._process.kill()

    def _death(self) -> _Died:
        # Its pipe ends a moment before it does itself.
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(_GRACE_S)
        self._process.kill()
        code = self._process.wait()
        self._said.seek(0)
        said = self._said.read(2**20)
        if self._overtime or code == -getattr(signal, "SIGALRM", 0):
            return _Died("time")
        if b"bad_alloc" in said or b"MemoryError" in said or b"length_error" in said or self._used_up():
            return _Died("memory")
        return _Died("fault", code)

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


_idle: list[_Worker] = []
_of_parent: list[_Worker] = []
_lock = threading.Lock()
_serving = False


@atexit.register
def _end_all() -> None:
    while _idle:
        _idle.pop().end()


def _leave_to_parent() -> None:
    """After a fork: the workers are the parent's; keep them from being taken or collected here."""
    _of_parent.extend(_idle)
    _idle.clear()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_leave_to_parent)


def serve() -> None:
    """Do one piece of work after another, as standard input asks for them; what the worker process runs."""
    global _serving
    _serving = True
    if hasattr(signal, "SIGINT"):
        signal.signal(signal.SIGINT, signal.SIG_IGN)           # Ctrl-C is the parent's business
    asked = sys.stdin.buffer
    # What a library prints must not mix with the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    limits, modules = pickle.load(asked)
    limit_memory(limits.memory_mib)
    for module in modules:
        with contextlib.suppress(ImportError):       # the work itself says what is missing
            importlib.import_module(module)
    import warnings

    warnings.simplefilter("ignore")
    while True:
        try:
            work, arguments = pickle.load(asked)
        except EOFError:
            return
        if limits.seconds is not None and hasattr(signal, "setitimer"):
            # Nobody is there to stop it where the parent has been killed; SIGALRM ends native code too.
            signal.setitimer(signal.ITIMER_REAL, limits.seconds + _GRACE_S)
        try:
            answer = (True, work(*arguments))
        except Exception as error:
            answer = (False, _portable(error))
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, 0)
        _reply(answers, answer)


def _portable(error: Exception) -> Exception:
    """Return an exception as it can cross to another process, with the traceback of this one as a note."""
    error.add_note(f"In the worker process:\n{''.join(traceback.format_exception(error))}")
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return RuntimeError("".join(traceback.format_exception(error)))
    return error


def _reply(answers: IO[bytes], answer: tuple[bool, Any]) -> None:
    pickle.dump(answer, answers, protocol=pickle.HIGHEST_PROTOCOL)
    answers.flush()


def limit_memory(mib: int | None) -> None:
    """Let this process take no more than so much memory; a system that knows no such limit goes without. [MiB]"""
    try:
        import resource
    except ImportError:                  # Windows
        return
    # On Linux what is written to counts, not the address space: that of every thread is large and mostly unused.
    kind = resource.RLIMIT_DATA if sys.platform == "linux" else resource.RLIMIT_AS
    _, hard = resource.getrlimit(kind)
    if mib is not None and (hard == resource.RLIM_INFINITY or mib * 2**20 < hard):
        resource.setrlimit(kind, (mib * 2**20, hard))

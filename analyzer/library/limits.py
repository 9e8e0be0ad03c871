"""What one file may cost: seconds of work and memory of the process that does it."""

import ctypes
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from analyzer import guard

_Found = TypeVar("_Found")
_AGAIN_S = 1.0                         # work that caught the first stop is told again so soon


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkerLimits(guard.Limits):
    """What one file may cost; judged: the largest score that is read at all (32 MiB of XML) is planned in 20 seconds on
    a slow computer and needs about 1 GiB.
    """

    @property
    def patience_s(self) -> float | None:
        """How long to wait for a process that ought to have stopped by itself: it hangs in foreign code. [s]"""
        return None if self.seconds is None else 2 * self.seconds + 10.0


class _Stopped(BaseException):
    """Ends the work from within; no Exception, so that no handler of errors takes it for one."""


def within(seconds: float | None, work: Callable[[], _Found]) -> _Found:
    """Do a piece of work, in any thread, on any system; give up when its time is over.

    Python code is stopped at its next step; foreign code (a parser at work) only when it comes back.

    Raises
    ------
    TimeoutError
        If the work took longer than `seconds`.

    Examples
    --------
    >>> within(5.0, lambda: 1 + 1)
    2
    """
    if seconds is None:
        return work()
    thread = ctypes.c_ulong(threading.get_ident())
    ended, lock = threading.Event(), threading.Lock()

    def watch() -> None:
        wait_s = seconds
        # Again and again: a destructor that is just running swallows whatever is raised in it.
        while not ended.wait(wait_s):
            with lock:
                if not ended.is_set():
                    ctypes.pythonapi.PyThreadState_SetAsyncExc(thread, ctypes.py_object(_Stopped))
            wait_s = _AGAIN_S

    try:
        try:
            threading.Thread(target=watch, daemon=True).start()
            return work()
        finally:
            with lock:
                ended.set()
    except _Stopped:
        ended.set()
        raise TimeoutError(f"not done in {seconds:g} seconds") from None

"""Workers of the guard that are forked from this process, which has the libraries loaded: a second less a run."""

import os
import pickle
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import IO, Any

from analyzer import guard, serving


class _Forked:
    """What the guard needs of ``subprocess.Popen``, of a process that is forked and serves as a started one does."""

    def __init__(self, _: Any, *, stderr: IO[bytes], **more: Any) -> None:
        their_in, our_in = os.pipe()
        our_out, their_out = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            try:
                os.dup2(their_in, 0)
                os.dup2(their_out, 1)
                os.dup2(stderr.fileno(), 2)
                for each in (their_in, our_in, our_out, their_out):
                    os.close(each)
                sys.stdin, sys.stdout, sys.stderr = (open(0), open(1, "w"), open(2, "w"))  # noqa: SIM115
                sys.path[:] = pickle.load(sys.stdin.buffer)
                serving.serve()
            finally:
                os._exit(0)
        os.close(their_in)
        os.close(their_out)
        self.stdin, self.stdout = os.fdopen(our_in, "wb"), os.fdopen(our_out, "rb")
        self.code: int | None = None

    def poll(self) -> int | None:
        if self.code is None:
            found, status = os.waitpid(self.pid, os.WNOHANG)
            self.code = os.waitstatus_to_exitcode(status) if found else None
        return self.code

    def wait(self, timeout: float | None = None) -> int:
        until = time.monotonic() + (timeout or 3600)
        while self.poll() is None:
            if time.monotonic() > until:
                raise subprocess.TimeoutExpired("worker", timeout or 3600)
            time.sleep(0.002)
        assert self.code is not None
        return self.code

    def kill(self) -> None:
        if self.poll() is None:
            os.kill(self.pid, 9)


@contextmanager
def forked_workers() -> Iterator[None]:
    """Let the guard fork its workers."""
    before = guard.subprocess
    guard.subprocess = SimpleNamespace(Popen=_Forked, PIPE=subprocess.PIPE, TimeoutExpired=subprocess.TimeoutExpired)
    try:
        yield
    finally:
        guard.subprocess = before

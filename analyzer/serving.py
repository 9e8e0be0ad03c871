"""A worker process of `guard`: what is asked for comes in, what it returns or raises goes out.

It starts anew for nearly every command, so that it loads little; the rest comes with the work.
"""

import contextlib
import importlib
import os
import pickle
import queue
import signal
import sys
import threading
from typing import IO, Any

GRACE_S = 5.0
"""A worker whose parent is gone ends itself so long after its time is over."""
active = False
"""Whether this process is such a worker, and may itself die."""


class LibraryError(Exception):
    """A library that is not ours raised something: with the name and the text of that."""


def serve() -> None:
    """Do one piece of work after another, as standard input asks for them; what the worker process runs."""
    global active
    active = True
    if hasattr(signal, "SIGINT"):
        signal.signal(signal.SIGINT, signal.SIG_IGN)           # Ctrl-C is the parent's business
    # What a library prints must not mix with the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    asked = _arriving(sys.stdin.buffer)
    seconds, memory_mib, modules = asked.get()
    limit_memory(memory_mib)
    for module in modules:
        with contextlib.suppress(ImportError):       # the work itself says what is missing
            importlib.import_module(module)
    import warnings

    warnings.simplefilter("ignore")
    _reply(answers, True)                            # up and ready
    while True:
        work, arguments = asked.get()
        if seconds is not None and hasattr(signal, "setitimer"):
            # Where the parent has been killed while native code keeps our other thread waiting, SIGALRM ends it.
            signal.setitimer(signal.ITIMER_REAL, seconds + GRACE_S)
        try:
            answer = (True, work(*arguments))
        except Exception as error:
            answer = (False, _portable(error))
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, 0)
        _reply(answers, answer)


def _arriving(asked: IO[bytes]) -> "queue.SimpleQueue[Any]":
    """Return a queue of what arrives; once nobody can ask any more the process ends, whatever it is doing."""
    arrived: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def read() -> None:
        try:
            while True:
                arrived.put(pickle.load(asked))
        except EOFError:
            os._exit(0)
        except BaseException:            # what cannot be read here is no work; the parent sees an end
            import traceback

            traceback.print_exc()
            os._exit(1)

    threading.Thread(target=read, daemon=True).start()
    return arrived


def _portable(error: Exception) -> Exception:
    """Return an exception as it can cross to another process, with the traceback of this one as a note.

    What a library raises in its own code (MemoryError apart) becomes a `LibraryError`: fed with damaged music it may
    raise anything, and that is no fault of ours.
    """
    import traceback

    from analyzer.plain import one_line

    frames = traceback.extract_tb(error.__traceback__)
    if frames and _of_library(frames[-1].filename) and not isinstance(error, MemoryError):
        found = LibraryError(f"{type(error).__name__}: {one_line(str(error))[:120]}")
        error = found.with_traceback(error.__traceback__)
    error.add_note(f"In the worker process:\n{''.join(traceback.format_exception(error))}")
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return RuntimeError("".join(traceback.format_exception(error)))
    return error


def _of_library(file: str) -> bool:
    from pathlib import Path

    path = Path(file)
    return not {"site-packages", "dist-packages"}.isdisjoint(path.parts) and Path(__file__).parent not in path.parents


def _reply(answers: IO[bytes], answer: Any) -> None:
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

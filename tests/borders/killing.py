"""Kill a writer at every step: ``python -m tests.borders.killing MODULE FUNCTION COMMAND...``.

The command runs once; where it first comes to the function that writes, it forks, for every line that is run there, a
process that is killed at that line. After each the file must be the old one or the new one. Prints how many steps.
"""

import importlib
import os
import signal
import sys
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

_OLD = b"old and whole"


def _killed_at(step: int, code: CodeType) -> Any:
    """In the parent: whether the process was killed. In the process: the trace that kills it at a step."""
    child = os.fork()
    if child:
        return os.WIFSIGNALED(os.waitpid(child, 0)[1])
    count = 0

    def lines(frame: FrameType, event: str, _: object) -> Any:
        nonlocal count
        count += event == "line"
        if event == "line" and count == step:
            os.kill(os.getpid(), signal.SIGKILL)
        if event == "return" and frame.f_code is code:
            os._exit(0)
        return lines
    return lines


def _within(file: str, trace: Any) -> Any:
    """Trace the helpers in the same file too."""
    return lambda frame, event, more: trace(frame, event, more) if frame.f_code.co_filename == file else None


def watch(code: CodeType) -> None:
    """Kill whoever comes to this code, step by step, then end."""
    def calls(frame: FrameType, event: str, _: object) -> Any:
        if frame.f_code is not code:
            return None
        path = Path(frame.f_locals["path"])
        if not path.exists() and path.suffix != ".new":
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(_OLD)
        state = path.read_bytes() if path.exists() else None
        found = []
        for step in range(1, 10_000):
            killed = _killed_at(step, code)
            if callable(killed):
                sys.settrace(_within(code.co_filename, killed))
                return killed
            found.append(path.read_bytes() if path.exists() else None)
            if not killed:
                break
            if state is None:
                path.unlink(missing_ok=True)
            else:
                path.write_bytes(state)
        assert found[-1] != state, "the writer wrote nothing, so the test would see nothing"
        assert all(each in (state, found[-1]) for each in found), "half a file"
        assert found[0] == state
        assert len(found) > 8
        print(f"steps {len(found)}|{path.name}|", file=sys.__stderr__)
        os._exit(0)
    sys.settrace(calls)


if __name__ == "__main__":
    module, function, *arguments = sys.argv[1:]
    watch(getattr(importlib.import_module(module), function).__code__)
    if arguments[0] == "remember":
        from analyzer.web.memory import Memory

        Memory(Path(arguments[1])).keep(b"<score-partwise/>", "a.musicxml", "A")
    else:
        from analyzer.cli import cli

        cli(arguments, standalone_mode=False)

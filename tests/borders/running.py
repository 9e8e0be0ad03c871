"""The command as a user starts it: a process of its own, with pipes or on a terminal."""

import os
import subprocess
import sys
from pathlib import Path

from tests.score.build import note, score

FOUR_NOTES = score(note("C3", 4) + note("D3", 4) + note("E3", 4) + note("F3", 4))
TRACEBACK = "Traceback (most recent call last)"


def written(folder: Path, data: bytes = FOUR_NOTES, name: str = "four.musicxml") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def lowbrass(*arguments: str | Path, state: Path | None = None, timeout: float = 120,
             **more: object) -> subprocess.CompletedProcess[str]:
    """Run the command line to its end; `state` is where reports of faults go."""
    environment = {**os.environ, **({"LOWBRASS_STATE": str(state)} if state else {})}
    given = {"capture_output": True, **more}
    return subprocess.run([sys.executable, "-m", "analyzer", *map(str, arguments)], check=False, text=True,
                          encoding="utf-8", timeout=timeout, env=environment, **given)        # type: ignore[call-overload]


def on_terminal(*arguments: str | Path, timeout: float = 120) -> bytes:
    """Run the command line on a terminal of its own (a pty) and return what the terminal was sent."""
    import pty
    import signal

    child, terminal = pty.fork()
    if child == 0:
        try:
            os.execv(sys.executable, [sys.executable, "-m", "analyzer", *map(str, arguments)])
        finally:
            os._exit(127)
    sent = b""
    signal.alarm(round(timeout))
    try:
        while True:
            try:
                piece = os.read(terminal, 65536)
            except OSError:                          # how Linux tells the end of a terminal
                break
            if not piece:
                break
            sent += piece
    finally:
        signal.alarm(0)
        os.close(terminal)
        os.waitpid(child, 0)
    return sent

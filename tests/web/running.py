"""Run ``lowbrass serve`` as a process, as a user does."""

import os
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]


@contextmanager
def served(*options: str, state: Path | None = None) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Yield the process and the address that it printed; stop it at the end. `state` is where it remembers."""
    if state is None:
        with tempfile.TemporaryDirectory() as folder, served(*options, state=Path(folder) / "state") as found:
            yield found
        return
    process = subprocess.Popen(
        [sys.executable, "-m", "analyzer", "serve", "--no-open", *options], stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "LOWBRASS_STATE": str(state)},
        start_new_session=True)
    try:
        assert process.stderr is not None
        line = process.stderr.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/\S*", line)
        assert found, line + process.stderr.read()
        yield process, found[0]
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        process.communicate(timeout=30)

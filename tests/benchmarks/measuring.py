"""How things are measured here: side by side with a peer, in ratios, each figure with the limit that it is held to.

No absolute time is asserted anywhere: what else the machine does, would decide. A row of a table is a `Figure`.
"""

import math
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

REPEATS = 7
HEAD = "| what | ours | theirs | ratio | limit |\n| --- | ---: | ---: | ---: | ---: |"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One row of the table: ours over theirs (a pure number where `theirs` is empty), and its limit."""

    what: str
    ours: str
    theirs: str
    value: float
    limit: float

    def row(self) -> str:
        digits = 2 if abs(self.value) >= 0.1 or not self.value else 3 if abs(self.value) >= 0.001 else None
        shown = f"{self.value:.1e}" if digits is None else f"{self.value:.{digits}f}"
        return f"| {self.what} | {self.ours} | {self.theirs} | {shown} | {self.limit:.3g} |"


def table(figures: Sequence[Figure]) -> str:
    return "\n".join([HEAD, *(one.row() for one in figures)])


def seconds(work: Callable[[], object]) -> float:
    """Time as the user waits."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def cpu_seconds(work: Callable[[], object]) -> float:
    """Time of this process alone: what else the machine does, does not count."""
    start = time.process_time()
    work()
    return time.process_time() - start


def side_by_side(ours: Callable[[], float], theirs: Callable[[], float], repeats: int = REPEATS,
                 ) -> tuple[float, float, float]:
    """Medians of both and of the ratio of neighbours in time, so that a busy moment hits both sides."""
    pairs = [(ours(), theirs()) for _ in range(repeats)]
    return (statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs),
            statistics.median(a / b for a, b in pairs))


def compared(what: str, ours: Callable[[], object], theirs: Callable[[], object], limit: float, *,
             repeats: int = REPEATS) -> Figure:
    """Time two pieces of work of this process, once each before it counts."""
    ours()
    theirs()
    mine, other, ratio = side_by_side(lambda: cpu_seconds(ours), lambda: cpu_seconds(theirs), repeats)
    return Figure(what=what, ours=shown_s(mine), theirs=shown_s(other), value=ratio, limit=limit)


def grown(what: str, sizes: Sequence[float], works: Sequence[Callable[[], object]], limit: float, *,
          repeats: int = 5) -> Figure:
    """Exponent of the time in the size: slope of the least-squares line through the logarithms of the best times."""
    works[0]()                           # fills what is computed once
    times = [min(cpu_seconds(work) for _ in range(repeats)) for work in works]
    slope, _ = statistics.linear_regression([math.log(one) for one in sizes], [math.log(one) for one in times])
    return Figure(what=f"growth: {what}, {sizes[0]:,} to {sizes[-1]:,}",
                  ours=f"{shown_s(times[0])} to {shown_s(times[-1])}", theirs="", value=slope, limit=limit)


def shown_s(time_s: float) -> str:
    return f"{time_s:.2f} s" if time_s >= 1 else f"{time_s * 1000:.0f} ms" if time_s >= 0.01 else \
        f"{time_s * 1000:.2f} ms"


def process(*arguments: str) -> str:
    return subprocess.run([sys.executable, *arguments], check=True, capture_output=True, text=True,
                          env=_as_installed()).stdout


def cpu_of_process(*arguments: str) -> float:
    """Return the processor time of a Python process and of what it starts. [s]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    process(*arguments)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _as_installed() -> dict[str, str]:
    """Return the environment in which modules are compiled once, as an installation leaves them.

    Where it forbids that, every start would compile all of ours anew, and none of the peers'.
    """
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def peak_mib(code: str, *arguments: str) -> float:
    """Greatest memory of a process that runs `code` with these arguments. [MiB]"""
    # On Linux not by getrusage: there a new process begins with the peak of the one that started it.
    tail = ("print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))"
            if sys.platform == "linux" else
            "import resource; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)")
    kib = float(process("-W", "ignore", "-c", f"import sys\n{code}\n{tail}", *arguments).split()[-1])
    return kib / (2**20 if sys.platform == "darwin" else 2**10)

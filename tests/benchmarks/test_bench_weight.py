"""What an installation weighs and how long it takes: a fresh environment for each, all of it but pip itself.

Print the table (Markdown; wants the package index, a minute or two)::

    python -m tests.benchmarks weight
"""

import resource
import subprocess
import sys
import tempfile
import time
from functools import cache
from pathlib import Path

import pytest

from tests.benchmarks.measuring import Figure, shown_s

ROOT = Path(__file__).parents[2]
KINDS = (("", "the core, all that the README's first command needs", 150.0), ("[all]", "with the extra `all`", 400.0))


def mib_on_disk(folder: Path) -> float:
    """Space that a folder takes on the disk. [MiB]"""
    return sum(path.lstat().st_blocks * 512 for path in folder.rglob("*")) / 2**20


def installed(extra: str) -> tuple[float, float, float]:
    """Install into a fresh environment: its weight without pip [MiB], seconds as waited for, and of processor time."""
    with tempfile.TemporaryDirectory() as place:
        home = Path(place) / "venv"
        subprocess.run([sys.executable, "-m", "venv", home], check=True)
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run([home / "bin/pip", "install", "-q", "--disable-pip-version-check", f"{ROOT}{extra}"], check=True,
                       stderr=subprocess.DEVNULL)
        waited, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
        pip = sum(mib_on_disk(path) for path in home.glob("lib/python*/site-packages/pip*"))
        return (mib_on_disk(home) - pip, waited,
                after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


@cache
def figures() -> tuple[Figure, ...]:
    rows = []
    for extra, what, limit in KINDS:
        mib, waited, worked = installed(extra)
        rows.append(Figure(what=f"`pip install .{extra}`, {what}: MiB without pip (seconds waited; of processor time)",
                           ours=f"{mib:.0f} MiB", theirs=f"{shown_s(waited)}; {shown_s(worked)}", value=mib,
                           limit=limit))
    return tuple(rows)


@pytest.mark.benchmark_suite
def test_no_installation_is_heavier_than_its_limit() -> None:
    for figure in figures():
        print(f"\n{figure.row()}")
    assert [figure.what for figure in figures() if figure.value > figure.limit] == []

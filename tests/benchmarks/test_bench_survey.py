"""How fast a whole library is surveyed, on one core and on two, and what memory that takes.

Print the table (Markdown; some minutes)::

    python -m tests.benchmarks survey

With every score of every suite in place of a seeded sample, and ten thousand files (an hour)::

    python -m tests.benchmarks survey --whole

Two rows want a machine that does nothing else: the speed-up, and files a second.
"""

import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from functools import cache, partial
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.library.best_sets import best_set
from analyzer.library.files import find_entries
from analyzer.library.run import run_pool
from analyzer.library.store import Store
from analyzer.library.survey import Options, survey_bytes
from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, compared, cpu_seconds, grown, shown_s
from tests.score.suites import every_file

SAMPLE = 60
MANY = 600
COUNTS = (8, 16, 32, 64)


def library(folder: Path, files: int, measures: int) -> Path:
    """Fill a folder with studies, no two alike."""
    folder.mkdir()
    several = [making.study(measures, seed=seed) for seed in range(1, 9)]
    for number in range(files):
        # The title differs: copies by content would be done once only.
        title = f"<work-title>No. {number} ".encode()
        (folder / f"study {number:05}.musicxml").write_bytes(
            several[number % 8].replace(b"<work-title>", title, 1))
    return folder


def against_music21(options: Options, what: str, limit: float, *, whole: bool) -> Figure:
    """Survey each score of the suites and let music21 parse it, in turn; what cannot be read costs both their time."""
    import music21

    files = list(every_file())
    if not whole:
        files = random.Random(11).sample(files, min(SAMPLE, len(files)))
    ours = theirs = 0.0
    for path in files:
        ours += cpu_seconds(lambda path=path: survey_bytes(path.name, path.read_bytes(), options))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                theirs += cpu_seconds(lambda path=path: music21.converter.parse(path, forceSource=True))
            except Exception:
                continue                # music21 gives up on some files; its time until then is not counted
    return Figure(what=f"survey of {len(files)} scores of all suites, {what} / music21 parse alone",
                  ours=f"{len(files) / ours:.0f} files/s", theirs=f"{len(files) / theirs:.1f} files/s",
                  value=ours / theirs, limit=limit)


def survey(folder: Path, jobs: int) -> "subprocess.Popen[bytes]":
    return subprocess.Popen([sys.executable, "-m", "analyzer", "survey", str(folder), "--jobs", str(jobs), "--horn",
                             "tenor-f", "--store", str(folder.with_suffix(f".{time.monotonic_ns()}"))],
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def speed_up(files: int = 600) -> Figure:
    """Wall time of the whole command with two processes over that with one; the machine must be otherwise idle."""
    with tempfile.TemporaryDirectory() as place:
        folder = library(Path(place) / "library", files, 60)
        pairs = []
        for _ in range(3):
            times = []
            for jobs in (2, 1):
                start = time.perf_counter()
                assert survey(folder, jobs).wait() == 0
                times.append(time.perf_counter() - start)
            pairs.append((times[0], times[1]))
    two, one = (statistics.median(times) for times in zip(*pairs, strict=True))
    busy = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    return Figure(what=f"survey of {files} studies of 480 notes with 2 processes / with 1 (load {busy:.0f})",
                  ours=shown_s(two), theirs=shown_s(one), value=statistics.median(a / b for a, b in pairs),
                  limit=1 / 1.7)


def own_share(files: int = 120) -> Figure:
    """Processor time of the process that hands out and keeps, over that of its workers: what two cores cannot share.

    Unlike the speed-up it can be measured on a busy machine.
    """
    import resource

    options = Options(horns=(load_horn("tenor-f"),))
    with tempfile.TemporaryDirectory() as place:
        folder = library(Path(place) / "library", files, 60)
        before = resource.getrusage(resource.RUSAGE_CHILDREN)

        def sweep() -> None:
            with Store(Path(place) / "store", options) as store:
                for entry, record in run_pool(find_entries(folder), options, jobs=2):
                    store.keep(entry, record)

        own = cpu_seconds(sweep)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    workers = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Figure(what=f"survey of {files} studies: processor time of the process that hands out / of its 2 workers",
                  ours=shown_s(own), theirs=shown_s(workers), value=own / workers, limit=0.15)


def peaks(folder: Path) -> tuple[float, float]:
    """Greatest memory of the survey's own process and of its workers. [MiB]"""
    process = survey(folder, 2)
    most: dict[int, float] = {}
    while process.poll() is None:
        for status in Path("/proc").glob("[0-9]*/status"):
            try:
                facts = dict(line.split(":", 1) for line in status.read_text().splitlines() if ":" in line)
                pid = int(facts["Pid"])
                if process.pid in (pid, int(facts["PPid"])) and "VmHWM" in facts:
                    most[pid] = max(most.get(pid, 0.0), float(facts["VmHWM"].split()[0]) / 1024)
            except OSError:
                continue                # it has just ended
        time.sleep(0.2)
    own = most.pop(process.pid)
    return own, max(most.values())


def memory(*, whole: bool) -> tuple[Figure, ...]:
    """Memory with many files over that with a tenth of them; on Linux, which tells it of every process."""
    if sys.platform != "linux":
        return ()
    many = 10_000 if whole else MANY
    with tempfile.TemporaryDirectory() as place:
        few_own, few_worker = peaks(library(Path(place) / "few", many // 10, 4))
        own, worker = peaks(library(Path(place) / "many", many, 4))
    return (Figure(what=f"peak memory of a worker, {many:,} files / {many // 10:,} files", ours=f"{worker:.0f} MiB",
                   theirs=f"{few_worker:.0f} MiB", value=worker / few_worker, limit=1.1),
            Figure(what=f"peak memory of the survey's own process, {many:,} files / "
                        f"{many // 10:,}", ours=f"{own:.0f} MiB", theirs=f"{few_own:.0f} MiB", value=own / few_own,
                   limit=1.5))


def listing() -> Figure:
    """Finding and naming every file, told by content and with its hash, against reading the same bytes."""
    with tempfile.TemporaryDirectory() as place:
        folder = library(Path(place) / "library", MANY, 4)
        paths = sorted(folder.iterdir())
        return compared(f"list and hash {MANY} files / read their bytes", lambda: find_entries(folder),
                        lambda: [path.read_bytes() for path in paths], 10)


def growth() -> tuple[Figure, ...]:
    data = [making.study(8, seed=seed) for seed in range(max(COUNTS))]
    options = Options(horns=(load_horn("tenor-f"),))

    def survey_first(count: int) -> None:
        for one in data[:count]:
            survey_bytes("study.xml", one, options)

    chance = random.Random(3)
    steps = tuple(range(12))
    needs = [{frozenset({frozenset(chance.sample(steps, chance.randint(1, 3))) for _ in range(2)}): 1
              for _ in range(10 * count)} for count in COUNTS]
    return (grown("survey ~ files ^ x", COUNTS, [partial(survey_first, count) for count in COUNTS], 1.1),
            grown("best three steps ~ kinds of lines ^ x", [10 * one for one in COUNTS],
                  [partial(best_set, one, steps, 3) for one in needs], 1.2))


@cache
def figures(*, whole: bool = False) -> tuple[Figure, ...]:
    return (against_music21(Options(), "low brass planned on two horns", 1 / 20, whole=whole),
            against_music21(Options(bass_clef=True), "every part in bass clef planned", 1 / 5, whole=whole),
            listing(), own_share(), speed_up(), *growth(), *memory(whole=whole))


def test_library_has_no_copies(tmp_path: Path) -> None:
    folder = library(tmp_path / "library", 20, 2)
    entries = find_entries(folder)
    assert len(entries) == 20
    assert all(entry.status == "score" for entry in entries)


@pytest.mark.benchmark_suite
def test_ratios_are_within_their_limits() -> None:
    for figure in figures():
        print(f"\n{figure.row()}")
    assert [figure.what for figure in figures() if figure.value > figure.limit] == []

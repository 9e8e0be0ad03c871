"""How fast a whole library is surveyed, on one core and on two, and what memory that takes.

Print the table (Markdown; two minutes)::

    python -m tests.benchmarks survey

With every score of every suite in place of a seeded sample, and ten thousand files (an hour)::

    python -m tests.benchmarks survey --whole

Two rows want a machine that does nothing else: the speed-up with two processes, and the time on the cluster.
"""

import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from functools import cache, partial
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.library import run
from analyzer.library.best_sets import best_set
from analyzer.library.files import Contents, Entry, find_entries
from analyzer.library.limits import WorkerLimits
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


def chosen_scores(folder: Path, *, whole: bool) -> Path:
    """Fill a folder with a seeded sample of the suites' scores (or all), so that whole commands can read them."""
    folder.mkdir()
    files = list(every_file())
    if not whole:
        files = random.Random(11).sample(files, min(SAMPLE, len(files)))
    for number, path in enumerate(files):
        (folder / f"{number:03} {path.name}").write_bytes(path.read_bytes())
    return folder


MUSIC21 = """import sys, warnings
from pathlib import Path
from music21 import converter
warnings.simplefilter("ignore")
for path in sorted(Path(sys.argv[1]).iterdir()):
    try:
        converter.parse(path, forceSource=True)
    except Exception:
        pass  # it gives up on some files, as we do; what it needs until then counts on both sides
"""


def command_cpu_s(*arguments: str) -> float:
    """Processor time of a whole command with all its processes. [s]"""
    import resource

    def spent_s() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    before = spent_s()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return spent_s() - before


def against_music21(*, whole: bool) -> Iterator[Figure]:
    """Whole commands over the same scores in processor time, from which each side's own start is taken.

    The start is the same command over a folder with one study of two measures. Before each command of ours stands one
    of theirs, so that a busy moment hits both.
    """
    with tempfile.TemporaryDirectory() as place:
        scores = chosen_scores(Path(place) / "scores", whole=whole)
        start = library(Path(place) / "start", 1, 2)
        count = len(list(scores.iterdir()))
        kinds = {"low brass planned on two horns": ((), 1 / 20), "every part in bass clef planned": (("--bass-clef",),
                                                                                                     1 / 15)}

        def beyond(*arguments: str) -> float:
            return command_cpu_s(*arguments, str(scores)) - command_cpu_s(*arguments, str(start))

        ratios: dict[str, list[tuple[float, float]]] = {what: [] for what in kinds}
        for _ in range(1 if whole else 3):
            theirs = beyond("-c", MUSIC21)
            for what, (options, _) in kinds.items():
                ratios[what].append((beyond("-m", "analyzer", "survey", "--jobs", "1", *options), theirs))
        for what, (_, limit) in kinds.items():
            ours, other = (statistics.median(side) for side in zip(*ratios[what], strict=True))
            yield Figure(what=f"survey of {count} scores of all suites, {what} / music21 parse alone, whole commands "
                              "beyond the start", ours=f"{count / ours:.0f} files/s",
                         theirs=f"{count / other:.1f} files/s",
                         value=statistics.median(a / b for a, b in ratios[what]), limit=limit)


def survey(folder: Path, jobs: int) -> "subprocess.Popen[bytes]":
    return subprocess.Popen([sys.executable, "-m", "analyzer", "survey", str(folder), "--jobs", str(jobs), "--horn",
                             "tenor-f", "--store", str(folder.with_suffix(f".{time.monotonic_ns()}"))],
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def load() -> str:
    """The machine's load, to stand beside what hangs on it."""
    return f"load {os.getloadavg()[0]:.0f}" if hasattr(os, "getloadavg") else "load unknown"


def speed_up(*, whole: bool) -> Figure:
    """Wall time of the whole command with two processes over that with one; the machine must be otherwise idle."""
    files = 600 if whole else 200
    with tempfile.TemporaryDirectory() as place:
        folder = library(Path(place) / "library", files, 60)
        pairs = []
        for _ in range(3 if whole else 2):
            times = []
            for jobs in (2, 1):
                start = time.perf_counter()
                assert survey(folder, jobs).wait() == 0
                times.append(time.perf_counter() - start)
            pairs.append((times[0], times[1]))
    two, one = (statistics.median(times) for times in zip(*pairs, strict=True))
    return Figure(what=f"survey of {files} studies of 480 notes with 2 processes / with 1 ({load()})",
                  ours=shown_s(two), theirs=shown_s(one), value=statistics.median(a / b for a, b in pairs),
                  limit=1 / 1.7)


BARE = """import gc, sys, time
from pathlib import Path
from analyzer.horns.profiles import load_horn
from analyzer.library import run
from analyzer.library.survey import Options, survey_bytes
gc.set_threshold(run._OBJECTS_A_SEARCH)  # as every worker has it
options = Options(horns=(load_horn("tenor-f"),))
paths = sorted(Path(sys.argv[1]).iterdir())
for path in paths[:16]:
    survey_bytes(path.name, path.read_bytes(), options)
waited, cpu = time.perf_counter(), time.process_time()
for path in paths[int(sys.argv[2])::int(sys.argv[3])]:
    survey_bytes(path.name, path.read_bytes(), options)
print(time.perf_counter() - waited, time.process_time() - cpu)
"""


def bare(folder: Path, processes: int) -> tuple[float, float]:
    """Share a folder out to so many processes that know nothing of each other; how long it takes, and what of. [s]"""
    running = [subprocess.Popen([sys.executable, "-c", BARE, str(folder), str(number), str(processes)],
                                stdout=subprocess.PIPE, text=True) for number in range(processes)]
    told = [list(map(float, one.communicate()[0].split())) for one in running]
    return max(waited for waited, _ in told), sum(cpu for _, cpu in told)


def cluster(*, whole: bool) -> Iterator[Figure]:
    """A Dask cluster on the loopback with two workers against its ideal: half the time of one process.

    What it takes of the processors is held against two bare processes that do half of the files each, side by side: so
    both sides have the same caches to share, and a busy machine can tell it, too. The cluster is up and has done some
    files before the time counts; client and scheduler count with the workers.
    """
    try:
        import distributed
        import psutil
    except ImportError:
        return
    files = 600 if whole else 200
    options = Options(horns=(load_horn("tenor-f"),))
    with tempfile.TemporaryDirectory() as place:
        folder = library(Path(place) / "library", files, 60)
        entries = find_entries(folder)
        one, _ = bare(folder, 1)
        _, apart_cpu = bare(folder, 2)
        with run._client(distributed, 2, None, 30.0) as client:
            here = psutil.Process()
            processes = [here, *here.children(recursive=True)]

            def sweep(these: Sequence[Entry]) -> int:
                with closing(Contents()) as contents:
                    return sum(1 for _ in run._on_cluster(distributed, client, these, options, contents, survey_bytes,
                                                          WorkerLimits()))

            def spent() -> float:
                return sum(times.user + times.system for times in (each.cpu_times() for each in processes))

            sweep(entries[:64])
            cpu, started = spent(), time.perf_counter()
            assert sweep(entries) == files
            two, two_cpu = time.perf_counter() - started, spent() - cpu
    yield Figure(what=f"survey of {files} studies on a Dask cluster of 2 workers on the loopback / half of what one "
                      f"bare process takes ({load()})", ours=shown_s(two), theirs=shown_s(one / 2),
                 value=two / (one / 2), limit=1.1)
    yield Figure(what="the same: processor time of client, scheduler and workers / of two bare processes, half the "
                      "files each", ours=shown_s(two_cpu), theirs=shown_s(apart_cpu), value=two_cpu / apart_cpu,
                 limit=1.1)


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


def measured(*, whole: bool = False) -> Iterator[Figure]:
    """Yield the figures as they are found; on a quiet machine in two minutes, the whole in an hour."""
    yield from against_music21(whole=whole)
    yield listing()
    yield own_share()
    yield speed_up(whole=whole)
    yield from cluster(whole=whole)
    yield from growth()
    yield from memory(whole=whole)


@cache
def figures(*, whole: bool = False) -> tuple[Figure, ...]:
    return tuple(measured(whole=whole))


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

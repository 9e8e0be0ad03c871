"""How fast the map is, against things that everybody can time on the same machine in the same minute.

Print the table (Markdown; about a minute)::

    python -m tests.benchmarks.test_bench_map

Hold the ratios against their limits, and print the table::

    python -m pytest tests/benchmarks -o addopts="" -m benchmark_suite -s

Absolute times with their spread, by pytest-benchmark::

    python -m pytest tests/benchmarks -o addopts="" --benchmark-only

No absolute time is asserted anywhere: only ratios, and only under the marker ``benchmark_suite``.
"""

import math
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from analyzer.score.document import read_document
from analyzer.score.line import Line
from analyzer.solver import Lattice
from tests.benchmarks import making

REPEATS = 7
SIZES = (50, 100, 200, 400, 800)                 # measures; 8 notes each
# The work of one command, timed in a process of its own, as a user's: warm caches and a warm heap would flatter it.
READ = "import sys, time; from lxml import etree; data = open(sys.argv[1], 'rb').read()"
PARSE = f"{READ}; t = time.process_time(); etree.fromstring(data); print(time.process_time() - t)"
WORK = (f"{READ}; from analyzer.analysis import Request, analyse; from analyzer.score.document import read_document; "
        "t = time.process_time(); analyse(read_document(data, 'x'), Request()); print(time.process_time() - t)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One row of the table: ours over theirs (a pure number where `theirs` is empty), and its limit."""

    what: str
    ours: str
    theirs: str
    value: float
    limit: float

    def row(self) -> str:
        return f"| {self.what} | {self.ours} | {self.theirs} | {self.value:.2f} | {self.limit:g} |"


def line_of(data: bytes) -> Line:
    return analyse(read_document(data, "study.musicxml"), Request()).lines[0].plan.line


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


def side_by_side(ours: Callable[[], float], theirs: Callable[[], float]) -> tuple[float, float, float]:
    """Medians of both and of the ratio of neighbours in time, so that a busy moment hits both sides."""
    pairs = [(ours(), theirs()) for _ in range(REPEATS)]
    return (statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs),
            statistics.median(a / b for a, b in pairs))


def process(*arguments: str) -> str:
    return subprocess.run([sys.executable, *arguments], check=True, capture_output=True, text=True).stdout


def cold_start() -> Figure:
    """The whole command, from nothing, against only loading the toolkit on which one might have built."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "study.musicxml"
        path.write_bytes(making.study())
        ours, theirs, ratio = side_by_side(
            lambda: seconds(lambda: process("-m", "analyzer", "map", str(path))),
            lambda: seconds(lambda: process("-c", "import music21")))
    return Figure(what="`lowbrass map`, cold, 200 measures, 1,600 notes / `import music21`", ours=f"{ours:.3f} s",
                  theirs=f"{theirs:.3f} s", value=ratio, limit=1.0)


def inside(what: str, data: bytes, limit: float) -> Figure:
    """Reading and planning against only parsing the same bytes."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_bytes(data)
        ours, theirs, ratio = side_by_side(lambda: float(process("-c", WORK, str(path))),
                                           lambda: float(process("-c", PARSE, str(path))))
    return Figure(what=f"read and plan {what}, {len(data) / 1e6:.1f} MB / lxml parse", ours=f"{ours * 1000:.0f} ms",
                  theirs=f"{theirs * 1000:.0f} ms", value=ratio, limit=limit)


def solver() -> Figure:
    """The least-cost walk against a general graph library, on the lattice of the study."""
    import networkx as nx

    lattice = Planner(line_of(making.study()), load_horn("tenor-f")).lattice
    nodes, edges = lattice.nodes, lattice.edges
    graph = nx.DiGraph()
    for k, costs in enumerate(nodes):
        for b, cost in enumerate(costs):
            for a in range(len(nodes[k - 1]) if k else 0):
                graph.add_edge((k - 1, a), (k, b), weight=cost + edges[k - 1][b][a])
    for b, cost in enumerate(nodes[0]):
        graph.add_edge("start", (0, b), weight=cost)
    for a in range(len(nodes[-1])):
        graph.add_edge((len(nodes) - 1, a), "end", weight=0.0)
    answers: list[float] = []

    def ours() -> float:
        return cpu_seconds(lambda: answers.append(Lattice(nodes, edges).cost))

    def theirs() -> float:
        return cpu_seconds(lambda: answers.append(nx.dijkstra_path_length(graph, "start", "end")))

    mine, other, ratio = side_by_side(ours, theirs)
    assert max(answers) == pytest.approx(min(answers)), "both must solve the same problem"
    return Figure(what="least-cost walk of 1,600 notes / networkx dijkstra (graph built beforehand)",
                  ours=f"{mine * 1000:.1f} ms", theirs=f"{other * 1000:.1f} ms", value=ratio, limit=0.5)


def growth() -> Figure:
    """Exponent of planning time in the number of notes: slope of the least-squares line through the logarithms."""
    horn = load_horn("tenor-f")
    lines = [line_of(making.study(measures)) for measures in SIZES]
    Planner(lines[0], horn).plan()               # fills what is computed once for a horn
    times = [min(cpu_seconds(lambda line=line: Planner(line, horn).plan()) for _ in range(5))
             for line in lines]
    slope, _ = statistics.linear_regression([math.log(8 * one) for one in SIZES], [math.log(one) for one in times])
    return Figure(what=f"growth: planning time ~ notes ^ x, {8 * SIZES[0]} to {8 * SIZES[-1]:,} notes",
                  ours=f"{times[0] * 1000:.0f} to {times[-1] * 1000:.0f} ms", theirs="", value=slope, limit=1.15)


@cache
def figures() -> tuple[Figure, ...]:
    return (cold_start(), inside("three trombones in an orchestral score", making.orchestra(), 2.0),
            inside("one part of 1,600 notes", making.study(), 25.0), solver(), growth())


def table() -> str:
    return "\n".join(["| what | ours | theirs | ratio | limit |", "| --- | ---: | ---: | ---: | ---: |",
                      *(one.row() for one in figures())])


def test_generator_gives_what_the_table_says() -> None:
    study = making.study()
    assert study.count(b"<measure ") == 200
    assert study.count(b"<note ") == 1600
    orchestra = making.orchestra()
    assert 4.8e6 < len(orchestra) < 6e6
    assert orchestra.count(b"Trombone<") == 1
    assert orchestra.count(b"Trombone ") == 2
    assert making.study(20) == making.study(20)
    assert making.study(20) != making.study(20, seed=2)


@pytest.mark.parametrize("measures", [2, 40])
def test_generator_fills_every_measure(measures: int) -> None:
    document = read_document(making.study(measures), "study.musicxml")
    for measure in document.part_measures("P1"):
        assert sum(int(one.text or 0) for one in measure.iter("duration")) == 4 * making.DIVISIONS


def test_bench_plan(benchmark) -> None:
    line, horn = line_of(making.study()), load_horn("tenor-f")
    plan = benchmark(lambda: Planner(line, horn).plan())
    assert len(plan.notes) == 1600


def test_bench_read(benchmark) -> None:
    data = making.study()
    assert len(benchmark(lambda: line_of(data)).notes) == 1600


@pytest.mark.benchmark_suite
@pytest.mark.parametrize("place", range(5))
def test_ratio_is_within_its_limit(place: int) -> None:
    figure = figures()[place]
    print(f"\n{figure.row()}")
    assert figure.value <= figure.limit, figure.what


if __name__ == "__main__":
    print(table())

"""How fast the map is, against things that everybody can time on the same machine in the same minute.

Print the table (Markdown; about a minute)::

    python -m tests.benchmarks map

Hold the ratios against their limits, and print the table::

    python -m pytest tests/benchmarks -o addopts="" -m benchmark_suite -s

Absolute times with their spread, by pytest-benchmark::

    python -m pytest tests/benchmarks -o addopts="" --benchmark-only
"""

import tempfile
from functools import cache
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from analyzer.score.document import read_document
from analyzer.score.lines import Line
from analyzer.solver import Lattice
from tests.benchmarks import making
from tests.benchmarks.measuring import (
    Figure,
    compared,
    cpu_seconds,
    grown,
    peak_mib,
    process,
    shown_s,
    side_by_side,
)

__all__ = ["Figure", "cpu_seconds", "figures"]

SIZES = (50, 100, 200, 400, 800)                 # measures; 8 notes each
STATES = (4, 8, 16, 32)
# The work of one command, timed in a process of its own, as a user's: warm caches and a warm heap would flatter it.
READ = "import sys, time; from lxml import etree; data = open(sys.argv[1], 'rb').read()"
PARSE = f"{READ}; t = time.process_time(); etree.fromstring(data); print(time.process_time() - t)"
WORK = (f"{READ}; from analyzer.analysis import Request, analyse; from analyzer.score.document import read_document; "
        "t = time.process_time(); analyse(read_document(data, 'x'), Request()); print(time.process_time() - t)")
OUR_MEMORY = ("from pathlib import Path; from analyzer.analysis import Request, analyse; from analyzer.score.document "
              "import open_document; analyse(open_document(Path(sys.argv[1])), Request())")
THEIR_MEMORY = "import music21; music21.converter.parse(sys.argv[1], forceSource=True)"


def line_of(data: bytes) -> Line:
    return analyse(read_document(data, "study.musicxml"), Request()).lines[0].plan.line


def inside(what: str, data: bytes, limit: float) -> Figure:
    """Reading and planning against only parsing the same bytes."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_bytes(data)
        ours, theirs, ratio = side_by_side(lambda: float(process("-c", WORK, str(path))),
                                           lambda: float(process("-c", PARSE, str(path))))
    return Figure(what=f"read and plan {what}, {len(data) / 1e6:.1f} MB / lxml parse", ours=shown_s(ours),
                  theirs=shown_s(theirs), value=ratio, limit=limit)


def memory() -> Figure:
    """Greatest memory of reading and planning a large score, against reading it with the peer."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_bytes(making.orchestra())
        ours, theirs = peak_mib(OUR_MEMORY, str(path)), peak_mib(THEIR_MEMORY, str(path))
    return Figure(what="peak memory, read and plan an orchestral score of 5.1 MB / music21 parse",
                  ours=f"{ours:.0f} MiB", theirs=f"{theirs:.0f} MiB", value=ours / theirs, limit=0.75)


def solver() -> tuple[Figure, ...]:
    """The least-cost walk against two general graph libraries, on the lattice of the study (graphs built before)."""
    import networkx as nx
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra

    lattice = Planner(line_of(making.study()), load_horn("tenor-f")).lattice
    nodes, edges = lattice.nodes, lattice.edges
    first = [0]
    for row in nodes:
        first.append(first[-1] + len(row))
    # Node t, j is first[t] + j + 1; 0 is the start, the last the end. scipy takes no edge of weight 0: a little more.
    ends = first[-1] + 1
    triples = [(0, j + 1, cost + 1e-9) for j, cost in enumerate(nodes[0])]
    for t, costs in enumerate(nodes[1:], 1):
        triples += [(first[t - 1] + i + 1, first[t] + j + 1, cost + edge + 1e-9) for j, cost in enumerate(costs)
                    for i, edge in enumerate(edges[t - 1][j]) if cost + edge < float("inf")]
    triples += [(first[-2] + j + 1, ends, 1e-9) for j in range(len(nodes[-1]))]
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(triples)
    rows, columns, costs = zip(*triples, strict=True)

    def built() -> csr_matrix:
        return csr_matrix((costs, (rows, columns)), shape=(ends + 1, ends + 1))

    matrix = built()
    best = Lattice(nodes, edges).cost
    assert nx.dijkstra_path_length(graph, 0, ends) == pytest.approx(best, abs=1e-4), "all must solve the same problem"
    assert dijkstra(matrix, indices=0)[ends] == pytest.approx(best, abs=1e-4)

    def ours() -> float:
        return Lattice(nodes, edges).cost

    return (compared("least-cost walk of 1,600 notes / networkx dijkstra (graph built beforehand)", ours,
                     lambda: nx.dijkstra_path_length(graph, 0, ends), 0.75),
            compared("the same / scipy dijkstra, compiled, with its matrix made from the same lists", ours,
                     lambda: dijkstra(built(), indices=0), 2.0),
            compared("the same / scipy dijkstra alone (matrix built beforehand)", ours,
                     lambda: dijkstra(matrix, indices=0), 12.0))


def growth() -> tuple[Figure, ...]:
    horn = load_horn("tenor-f")
    lines = [line_of(making.study(measures)) for measures in SIZES]
    tables = [([[0.5] * states] * 300, [[[1.0] * states] * states] * 299) for states in STATES]
    return (
        grown("planning ~ notes ^ x", [8 * one for one in SIZES],
              [lambda line=line: Planner(line, horn).plan() for line in lines], 1.15),
        grown("least-cost walk ~ states a note ^ x", STATES,
              [lambda shape=shape: Lattice(*shape).cost for shape in tables], 2.1))


@cache
def figures() -> tuple[Figure, ...]:
    return (inside("three trombones in an orchestral score", making.orchestra(), 2.0),
            inside("one part of 1,600 notes", making.study(), 25.0), *solver(), *growth(), memory())


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
@pytest.mark.parametrize("place", range(8))
def test_ratio_is_within_its_limit(place: int) -> None:
    figure = figures()[place]
    print(f"\n{figure.row()}")
    assert figure.value <= figure.limit, figure.what

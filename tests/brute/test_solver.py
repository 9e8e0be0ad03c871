"""The solver against every walk of small lattices and against a general graph library on long ones."""

import itertools
import random

import networkx as nx
import pytest

from analyzer.solver import INF, Lattice, least_peak

Numbers = list[list[float]]


def made(rng: random.Random, layers: int, most: int, *, whole: bool = False, holes: float = 0.1):
    sizes = [rng.randint(1, most) for _ in range(layers)]

    def cost() -> float:
        return float(rng.randint(0, 3)) if whole else rng.uniform(0, 10)

    nodes = [[cost() for _ in range(size)] for size in sizes]
    edges = [[[INF if rng.random() < holes else cost() for _ in range(a)] for _ in range(b)]
             for a, b in itertools.pairwise(sizes)]
    return nodes, edges


def worth(nodes, edges, walk) -> float:
    return sum(nodes[t][j] for t, j in enumerate(walk)) + sum(
        edges[t][b][a] for t, (a, b) in enumerate(itertools.pairwise(walk)))


def every(nodes, edges):
    found = ((worth(nodes, edges, walk), walk) for walk in itertools.product(*(range(len(row)) for row in nodes)))
    return sorted((cost, walk) for cost, walk in found if cost < INF)


@pytest.mark.parametrize("seed", range(200))
def test_best_through_and_order_equal_every_walk(seed: int) -> None:
    rng = random.Random(seed)
    nodes, edges = made(rng, rng.randint(1, 6), 4, whole=seed % 3 == 0, holes=0.15)
    all_walks = every(nodes, edges)
    lattice = Lattice(nodes, edges)
    if not all_walks:
        assert lattice.best() is None
        assert lattice.cost == INF
        assert list(lattice.walks()) == []
        return
    best = lattice.best()
    assert best is not None
    assert worth(nodes, edges, best) == pytest.approx(all_walks[0][0])
    assert lattice.cost == pytest.approx(all_walks[0][0])
    for t, row in enumerate(nodes):
        for j in range(len(row)):
            least = min((cost for cost, walk in all_walks if walk[t] == j), default=INF)
            assert lattice.through(t)[j] == pytest.approx(least)
    given = list(lattice.walks())
    assert [cost for cost, _ in given] == pytest.approx([cost for cost, _ in all_walks])
    assert sorted(walk for _, walk in given) == sorted(walk for _, walk in all_walks)
    for cost, walk in given:
        assert worth(nodes, edges, walk) == pytest.approx(cost)


@pytest.mark.parametrize("seed", range(200))
def test_changed_layers_equal_a_fresh_solve(seed: int) -> None:
    rng = random.Random(1000 + seed)
    nodes, edges = made(rng, rng.randint(2, 60), 5, whole=seed % 4 == 0, holes=0.0 if seed % 2 else 0.1)
    lattice = Lattice(nodes, edges)
    for _ in range(3):
        changes = {}
        for t in rng.sample(range(len(nodes)), rng.randint(1, min(4, len(nodes)))):
            keep = rng.randrange(len(nodes[t]))
            changes[t] = [0.0 if j == keep else INF for j in range(len(nodes[t]))] if rng.random() < 0.6 else [
                rng.uniform(0, 10) for _ in nodes[t]]
        before = lattice
        half = lattice.repriced(changes)
        lattice = lattice.with_nodes(changes)
        assert (half.cost, half.best()) == (lattice.cost, lattice.best())
        if half.best() is not None:
            assert all(half.through(t) == pytest.approx(lattice.through(t)) for t in range(len(nodes)))
        nodes = [changes.get(t, row) for t, row in enumerate(nodes)]
        fresh = Lattice(nodes, edges)
        assert lattice.cost == pytest.approx(fresh.cost)
        if fresh.best() is None:
            assert lattice.best() is None
            break
        assert worth(nodes, edges, lattice.best()) == pytest.approx(fresh.cost)
        for t in range(len(nodes)):
            assert lattice.through(t) == pytest.approx(fresh.through(t))
            if not lattice.changed[0] <= t < lattice.changed[1]:
                assert [a - lattice.cost for a in lattice.through(t)] == pytest.approx(
                    [a - before.cost for a in before.through(t)], abs=1e-5)


def test_a_far_change_leaves_most_tables_alone() -> None:
    rng = random.Random(5)
    nodes, edges = made(rng, 400, 5, holes=0.0)
    lattice = Lattice(nodes, edges)
    new = lattice.with_nodes({200: [0.0] + [INF] * (len(nodes[200]) - 1)})
    first, last = new.changed
    assert 100 < first <= 200 < last < 300


@pytest.mark.parametrize("seed", range(6))
def test_long_lattices_equal_a_graph_library(seed: int) -> None:
    rng = random.Random(seed)
    nodes, edges = made(rng, 500, 8, whole=seed % 2 == 0, holes=0.05 if seed > 2 else 0.0)
    graph = nx.DiGraph()
    for j, cost in enumerate(nodes[0]):
        graph.add_edge("start", (0, j), weight=cost)
    for t, matrix in enumerate(edges):
        for j, row in enumerate(matrix):
            for i, cost in enumerate(row):
                if cost < INF:
                    graph.add_edge((t, i), (t + 1, j), weight=cost + nodes[t + 1][j])
    for j in range(len(nodes[-1])):
        graph.add_edge((len(nodes) - 1, j), "end", weight=0.0)
    oracle = nx.dijkstra_path_length(graph, "start", "end") if nx.has_path(graph, "start", "end") else INF
    assert Lattice(nodes, edges).cost == pytest.approx(oracle)


@pytest.mark.parametrize("seed", range(100))
def test_least_peak_equals_every_walk(seed: int) -> None:
    rng = random.Random(seed)
    nodes, edges = made(rng, rng.randint(1, 6), 4, holes=0.0)

    def peak(walk):
        return max([nodes[t][j] for t, j in enumerate(walk)] + [
            edges[t][b][a] for t, (a, b) in enumerate(itertools.pairwise(walk))])

    oracle = min(peak(walk) for walk in itertools.product(*(range(len(row)) for row in nodes)))
    found, walk = least_peak(nodes, edges)
    assert found == oracle
    assert peak(walk) == oracle


def test_shapes_are_checked() -> None:
    with pytest.raises(ValueError, match="at least one layer"):
        Lattice([], [])
    with pytest.raises(ValueError, match="edge matrix 0"):
        Lattice([[0.0], [0.0]], [[[0.0, 1.0]]])


@pytest.mark.parametrize("seed", range(300))
def test_rewalk_equals_a_lattice_built_anew(seed: int) -> None:
    """Rows changed, nodes forbidden, a layer widened: the window's walk put into the old one is the new best."""
    rng = random.Random(seed)
    nodes, edges = made(rng, rng.randint(1, 40), 4, holes=0.0 if seed % 2 else 0.1)
    lattice = Lattice(nodes, edges)
    for _ in range(rng.randint(0, 2)):                    # tables that carry shifts, as a pinned plan's do
        lattice = lattice.with_nodes({t: [cost + rng.uniform(0, 5) for cost in lattice.nodes[t]]
                                      for t in rng.sample(range(len(nodes)), min(2, len(nodes)))})
    walk = lattice.best()
    if walk is None:
        return
    layers = sorted(rng.sample(range(len(nodes)), rng.randint(1, min(4, len(nodes)))))
    rows, steps = {}, {}
    for t in layers:
        wide = len(nodes[t]) + (rng.random() < 0.3)
        keep = rng.randrange(wide)
        rows[t] = [rng.uniform(0, 10) if j == keep or rng.random() < 0.2 else INF for j in range(wide)]
    size = [len(rows.get(t, row)) for t, row in enumerate(nodes)]
    for t in range(len(edges)):
        if size[t] != len(nodes[t]) or size[t + 1] != len(nodes[t + 1]):
            steps[t] = [[rng.uniform(0, 10) for _ in range(size[t])] for _ in range(size[t + 1])]
    anew = Lattice([rows.get(t, row) for t, row in enumerate(lattice.nodes)],
                   [steps.get(t, matrix) for t, matrix in enumerate(edges)])
    found = lattice.rewalk(walk, rows, steps)
    best = anew.best()
    if best is None:
        assert found is None
        return
    assert found is not None
    dearer, first, states = found
    assert (*walk[:first], *states, *walk[first + len(states):]) == best
    assert lattice.cost + dearer == pytest.approx(anew.cost)


def test_rewalk_looks_at_few_layers() -> None:
    """On a long lattice a change in one layer is solved within a window: that is why it may be asked for each group."""
    rng = random.Random(5)
    nodes, edges = made(rng, 2000, 4, holes=0.0)
    lattice = Lattice(nodes, edges)
    walk = lattice.best()
    lengths = []
    for t in range(0, 2000, 40):
        found = lattice.rewalk(walk, {t: [cost if j != walk[t] else INF for j, cost in enumerate(nodes[t])]})
        lengths.append(len(found[2]) if found else 0)
    assert max(lengths) < 60

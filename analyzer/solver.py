"""Least-cost walk through layers of nodes: the best, the runners-up, and what any other node would cost. No music.

A lattice has `n` layers. `nodes[t][j]` is the cost of node j in layer t; ``edges[t][j][i]`` the cost of going from
node i of layer t to node j of layer t + 1 (rows by arrival, so that one arrival is one row). A walk takes one node
a layer and costs the sum. ``inf`` forbids. Everything is exact dynamic programming [1]_; ties go to the lower index.

References
----------
.. [1] R. Bellman, *Dynamic Programming*, Princeton University Press, 1957, chapter 3.
.. [2] E. L. Lawler, "A procedure for computing the K best solutions to discrete optimization problems",
   *Management Science* 18(7), 1972, pp. 401-405.
.. [3] P. E. Hart, N. J. Nilsson and B. Raphael, "A formal basis for the heuristic determination of minimum cost
   paths", *IEEE Transactions on Systems Science and Cybernetics* 4(2), 1968, pp. 100-107.
"""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from heapq import heappop, heappush
from operator import add
from typing import TypeVar

Memory = TypeVar("Memory", bound=Hashable)

INF = float("inf")
# Two tables count as shifted copies when they differ by a constant to within this much (float noise of long sums).
_SAME = 1e-7

Row = Sequence[float]
Edges = Sequence[Row]


class Lattice:
    """Layers, costs, and the tables of best costs from the start and to the end.

    Parameters
    ----------
    nodes : sequence of rows
        Cost of each node, a row a layer; at least one layer, at least one node in each.
    edges : sequence of matrices
        One fewer than layers; ``edges[t][j][i]`` from node i of layer t to node j of layer t + 1.

    Raises
    ------
    ValueError
        If there is no layer, or a matrix does not fit its layers.
    """

    __slots__ = ("_backward", "_backward_shift", "_best", "_forward", "_older", "_redone", "_shift", "changed", "edges",
                 "nodes")

    def __init__(self, nodes: Sequence[Row], edges: Sequence[Edges]) -> None:
        if not nodes:
            raise ValueError("a lattice needs at least one layer")
        if len(edges) != len(nodes) - 1:
            raise ValueError(f"{len(nodes)} layers need {len(nodes) - 1} edge matrices, not {len(edges)}")
        for t, matrix in enumerate(edges):
            if len(matrix) != len(nodes[t + 1]) or set(map(len, matrix)) != {len(nodes[t])}:
                raise ValueError(f"edge matrix {t} does not fit layers {t} and {t + 1}")
        self.nodes = nodes
        self.edges = edges
        self._forward: list[Row] = _forward(nodes, edges)
        self._backward: list[Row] | None = None
        # True cost = table entry + shift of its layer: a re-solve far away moves whole tables by a constant.
        self._shift: list[float] = [0.0] * len(nodes)
        self._backward_shift: list[float] = self._shift
        self._best: tuple[int, ...] | None = None
        self._older: Lattice | None = None               # the one that this was made from, by other rows
        self._redone: frozenset[int] = frozenset()       # layers whose row or table from the start is not the older's
        self.changed: tuple[int, int] = (0, len(nodes))

    @property
    def cost(self) -> float:
        """Cost of the best walk; ``inf`` where there is none."""
        least: float = min(map(add, self._forward[-1], self.nodes[-1]))
        return least + self._shift[-1]

    def best(self) -> tuple[int, ...] | None:
        """Return the node index of the best walk in each layer, or None where there is no walk; found once."""
        if self._best is None:
            self._best = self._traced()
        return self._best

    def _traced(self) -> tuple[int, ...] | None:
        """Trace the best walk back; where all is as in the older lattice, so is the step from a node of its walk."""
        ends = list(map(add, self._forward[-1], self.nodes[-1]))
        cost = min(ends)
        if cost == INF:
            return None
        state = ends.index(cost)
        path = [state]
        older, redone = self._older._best if self._older else None, self._redone
        for t in range(len(self.nodes) - 2, -1, -1):
            if older and t not in redone and state == older[t + 1]:
                state = older[t]
            else:
                arrive = list(map(add, map(add, self._forward[t], self.nodes[t]), self.edges[t][state]))
                state = arrive.index(min(arrive))
            path.append(state)
        path.reverse()
        return tuple(path)

    def through(self, t: int) -> list[float]:
        """Return, for each node of layer `t`, the cost of the best walk that takes it."""
        shift = self._shift[t] + self._to_end_shift()[t]
        return [f + n + b + shift for f, n, b in zip(self._forward[t], self.nodes[t], self._to_end()[t], strict=True)]

    def with_nodes(self, changes: Mapping[int, Row]) -> "Lattice":
        """Return a lattice in which the node costs of some layers are others; tables are redone only where they differ.

        After a changed layer the tables soon differ from the old ones by a constant; from there on they are shared.
        `changed` of the new lattice is the range of layers (from, to; to not included) outside of which
        ``through(t)`` minus the best cost is as it was, so that nothing built from it need be built again.
        """
        new = self._with_rows(changes)
        nodes, edges = new.nodes, new.edges
        new._backward, new._backward_shift, behind = _redone(
            list(self._to_end()), self._to_end_shift(), list(changes), -1,
            lambda table, t: _step_backward(table[t + 1], nodes[t + 1], edges[t]))
        new.changed = (min(behind, default=0), max(new._redone, default=-1) + 1)
        return new

    def repriced(self, changes: Mapping[int, Row]) -> "Lattice":
        """Return the same as `with_nodes`, with the tables from the end left until they are asked for.

        Half the work where only costs and walks are looked at; `changed` is the whole.
        """
        new = self._with_rows(changes)
        new._backward, new._backward_shift, new.changed = None, new._shift, (0, len(self.nodes))
        return new

    def _with_rows(self, changes: Mapping[int, Row]) -> "Lattice":
        """Return a lattice with other rows and its tables from the start."""
        new: Lattice = object.__new__(Lattice)
        nodes, edges = list(self.nodes), self.edges
        for t, row in changes.items():
            if len(row) != len(nodes[t]):
                raise ValueError(f"layer {t} has {len(nodes[t])} nodes, not {len(row)}")
            nodes[t] = row
        new.nodes, new.edges, new._older, new._best = nodes, edges, self, None
        new._forward, new._shift, redone = _redone(
            list(self._forward), self._shift, list(changes), +1,
            lambda table, t: _step_forward(table[t - 1], nodes[t - 1], edges[t - 1]))
        new._redone = frozenset(redone)
        return new

    def rewalk(self, walk: Sequence[int], nodes: Mapping[int, Row], edges: Mapping[int, Edges] | None = None,
               ) -> tuple[float, int, tuple[int, ...]] | None:
        """Re-solve with other rows in some layers, without building tables: what changes, and where.

        Parameters
        ----------
        walk : sequence of int
            The best walk of this lattice.
        nodes : mapping
            The new row of each changed layer; it may have another length where `edges` has the matrices on both sides.
        edges : mapping, optional
            New matrices, by the layer they start from; none outside of the steps into and out of changed layers.

        Returns
        -------
        (float, int, tuple of int) or None
            By how much the best walk is dearer now; the first layer of the window that was solved again; the new
            walk's nodes in that window. Outside of it the walk stays as it was. None where there is no walk any more.

        Exact: beyond the changed layers the table is computed on until it is the old one, shifted by a constant, from
        where on every choice falls as before; backward the walk is traced until it meets the old one.
        """
        edges = edges or {}
        n, first, last = len(self.nodes), min(nodes), max(nodes)
        base = self._shift[first]
        here: Row = self._forward[first] if first else [0.0] * len(nodes[0])
        if first - 1 in edges:
            base = self._shift[first - 1]
            here = _step_forward(self._forward[first - 1], self.nodes[first - 1], edges[first - 1])
        fresh = [here]
        extra, t = 0.0, first
        while t < n - 1:
            here = _step_forward(here, nodes.get(t, self.nodes[t]), edges.get(t, self.edges[t]))
            fresh.append(here)
            t += 1
            if t > last:
                lift = base - self._shift[t]
                gaps = [new + lift - old for new, old in zip(here, self._forward[t], strict=True)
                        if new < INF or old < INF]
                if gaps and all(gap < INF and abs(gap - gaps[0]) < _SAME for gap in gaps):
                    extra, state = gaps[0], walk[t]
                    break
        else:
            ends = list(map(add, here, nodes.get(t, self.nodes[t])))
            least = min(ends)
            if least == INF:
                return None
            extra, state = least + base - self.cost, ends.index(least)
        states = [state]
        same_to = first - (first - 1 in edges)             # up to this layer every choice falls as before
        while t and (t > same_to or state != walk[t]):
            t -= 1
            left = fresh[t - first] if t >= first else self._forward[t]
            arrive = list(map(add, map(add, left, nodes.get(t, self.nodes[t])), edges.get(t, self.edges[t])[state]))
            state = arrive.index(min(arrive))
            states.append(state)
        states.reverse()
        return extra, t, tuple(states)

    def walks(self) -> Iterator[tuple[float, tuple[int, ...]]]:
        """Yield (cost, walk) from the best on, in order of cost, each walk once (Lawler's partition [2]_)."""
        to_end = self._to_end()
        shift = self._to_end_shift()
        n = len(self.nodes)

        def completed(prefix: tuple[int, ...]) -> tuple[int, ...]:
            path = list(prefix)
            for t in range(len(path) - 1, n - 1):
                here = path[t]
                costs = [row[here] + node + rest for row, node, rest in
                         zip(self.edges[t], self.nodes[t + 1], to_end[t + 1], strict=True)]
                path.append(costs.index(min(costs)))
            return tuple(path)

        # A heap entry: (cost, prefix, cost before the prefix's last node); its walk is the prefix completed at best.
        heap: list[tuple[float, tuple[int, ...], float]] = []
        for j, (node, rest) in enumerate(zip(self.nodes[0], to_end[0], strict=True)):
            if node + rest < INF:
                heappush(heap, (node + rest + shift[0], (j,), 0.0))
        while heap:
            cost, prefix, before = heappop(heap)
            path = completed(prefix)
            yield cost, path
            # Split the rest of this prefix's walks by where they first leave the walk just given.
            spent = before + self.nodes[len(prefix) - 1][prefix[-1]]
            for t in range(len(prefix), n):
                here = path[t - 1]
                for j, row in enumerate(self.edges[t - 1]):
                    if j == path[t]:
                        continue
                    step = spent + row[here]
                    total = step + self.nodes[t][j] + to_end[t][j]
                    if total < INF:
                        heappush(heap, (total + shift[t], (*path[:t], j), step))
                spent += self.edges[t - 1][path[t]][here] + self.nodes[t][path[t]]

    def least_accepted(self, start: Memory, step: Callable[[Memory, int, int], Memory],
                       accepts: Callable[[Memory], bool]) -> tuple[float, tuple[int, ...]] | None:
        """Return (cost, walk) of the least walk whose memory is accepted at its end, or None where there is none.

        The memory is `start` before the first layer and ``step(memory, t, j)`` after node j of layer t; what it may
        hold must be few. Exact: the cost to the end without any condition never overrates the rest (A* [3]_).
        """
        to_end, shift, n = self._to_end(), self._to_end_shift(), len(self.nodes)
        came: dict[tuple[int, int, Memory], tuple[int, int, Memory] | None] = {}
        # A heap entry: (bound, order of entry, place, cost before its node, place before).
        heap: list[tuple[float, int, tuple[int, int, Memory], float, tuple[int, int, Memory] | None]] = []

        def reach(t: int, j: int, memory: Memory, spent: float, before: tuple[int, int, Memory] | None) -> None:
            bound = spent + self.nodes[t][j] + to_end[t][j]
            if bound < INF:
                heappush(heap, (bound + shift[t], -len(came), (t, j, step(memory, t, j)), spent, before))

        for j in range(len(self.nodes[0])):
            reach(0, j, start, 0.0, None)
        while heap:
            cost, _, place, spent, before = heappop(heap)
            if place in came:
                continue
            came[place] = before
            t, j, memory = place
            if t == n - 1:
                if accepts(memory):
                    walk: list[int] = []
                    at: tuple[int, int, Memory] | None = place
                    while at is not None:
                        walk.append(at[1])
                        at = came[at]
                    return cost, tuple(reversed(walk))
                continue
            for k, row in enumerate(self.edges[t]):
                reach(t + 1, k, memory, spent + self.nodes[t][j] + row[j], place)
        return None

    def _to_end(self) -> list[Row]:
        if self._backward is None and self._older is not None:
            changed = [t for t in self._redone if self.nodes[t] is not self._older.nodes[t]]
            self._backward, self._backward_shift, _ = _redone(
                list(self._older._to_end()), self._older._to_end_shift(), changed, -1,
                lambda table, t: _step_backward(table[t + 1], self.nodes[t + 1], self.edges[t]))
        if self._backward is None:
            n = len(self.nodes)
            table: list[Row] = [()] * n
            table[-1] = [0.0] * len(self.nodes[-1])
            for t in range(n - 2, -1, -1):
                table[t] = _step_backward(table[t + 1], self.nodes[t + 1], self.edges[t])
            self._backward = table
            self._backward_shift = [0.0] * n
        return self._backward

    def _to_end_shift(self) -> list[float]:
        self._to_end()
        return self._backward_shift


def _forward(nodes: Sequence[Row], edges: Sequence[Edges]) -> list[Row]:
    here: Row = [0.0] * len(nodes[0])
    table: list[Row] = [here]
    for row, matrix in zip(nodes, edges, strict=False):
        here = _step_forward(here, row, matrix)
        table.append(here)
    return table


def _step_forward(before: Row, nodes: Row, matrix: Edges) -> list[float]:
    left = list(map(add, before, nodes))
    return [min(map(add, left, row)) for row in matrix]


def _step_backward(after: Row, nodes: Row, matrix: Edges) -> list[float]:
    right = list(map(add, after, nodes))
    return [min(map(add, right, column)) for column in zip(*matrix, strict=True)]


def _redone(
    table: list[Row], old_shift: Sequence[float], changed: Sequence[int], way: int,
    step: Callable[[list[Row], int], Row],
) -> tuple[list[Row], list[float], set[int]]:
    """Redo `table` in place beyond the changed layers, in the sense of `way`, until it is a shifted copy again.

    Returns the table, its shifts, and the layers that changed or whose row differs by more than a constant.
    """
    n = len(table)
    shift = list(old_shift)
    order = sorted(changed, reverse=way < 0)
    differing = set(order)
    touched = frozenset(order)
    live, moved = False, 0.0           # whether the row before differs in shape; by how much a shifted copy has moved
    for t in range(order[0] + way if order else n, n if way > 0 else -1, way):
        if not live and t - way not in touched:
            shift[t] += moved
            continue
        row = step(table, t)
        lift = shift[t - way] - shift[t]
        gaps = [new + lift - old for new, old in zip(row, table[t], strict=True) if new < INF or old < INF]
        if all(gap < INF and abs(gap - gaps[0]) < _SAME for gap in gaps):
            live = False
            moved = gaps[0] if gaps else 0.0
            shift[t] += moved
        else:
            live = True
            table[t] = row
            shift[t] = shift[t - way]
            differing.add(t)
    return table, shift, differing


def least_peak(nodes: Sequence[Row], edges: Sequence[Edges]) -> tuple[float, tuple[int, ...]]:
    """Return the least possible greatest value along a walk, and a walk that has it.

    `nodes` and `edges` are shaped as for `Lattice`, but a walk is worth its greatest node or edge, not the sum.

    Examples
    --------
    >>> least_peak([[0.0, 0.0], [0.0]], [[[5.0, 3.0]]])
    (3.0, (1, 0))
    """
    here = list(nodes[0])
    came: list[list[int]] = []
    for row, matrix in zip(nodes[1:], edges, strict=True):
        arrive = [list(map(max, here, into)) for into in matrix]
        lows = [min(values) for values in arrive]
        came.append([values.index(low) for values, low in zip(arrive, lows, strict=True)])
        here = list(map(max, lows, row))
    worth = min(here)
    path = [here.index(worth)]
    for back in reversed(came):
        path.append(back[path[-1]])
    return worth, tuple(reversed(path))

"""How likely marks are under weights: a line's lattice as arrays that are linear in the weights.

A plan's cost is linear in the judged weights. Over all walks of a line, ``exp(-cost)`` makes a chance for each (a
linear-chain conditional random field [1]_), and forward and backward sums give the chance of each choice at each note.
A mark is then a choice drawn by that chance, or, once in a while, a slip: any choice of the note, alike. A slip costs
the fit no more than a slip, however far it lies from the plan, which keeps the fit steady under wrong marks.

References
----------
.. [1] J. Lafferty, A. McCallum and F. Pereira, "Conditional random fields", *Proceedings of ICML*, 2001, pp. 282-289
   (cited from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analyzer.plan.costs import lowest_partial
from analyzer.plan.solve import Planner

SLIP = 0.05
"""Chance that a mark is a slip of the pen. Judged: fits of made-up teachers with no slips and with a tenth of all marks
wrong come out alike (tests/plan/test_learn.py)."""
# Finite, so that sums of exponentials need no special case; far above any cost that decides.
_FORBIDDEN = 1e5


@dataclass(frozen=True, slots=True, kw_only=True)
class Layers:
    """A run of playable notes as arrays.

    For layer t with S states and P states before it: `nodes[t]` (S, W) and `edges[t - 1]` (S, P, W) are the prices of
    each of W weights at factor 1; `node_rest[t]` (S,) and `edge_rest[t - 1]` (S, P) what no fitted weight moves.
    `marks` maps a layer to the mask (S,) of the states that the mark allows; layers with one choice are not in it.
    """

    nodes: tuple[Any, ...]
    node_rest: tuple[Any, ...]
    edges: tuple[Any, ...]
    edge_rest: tuple[Any, ...]
    marks: Mapping[int, Any]
    index: int                         # of the first note in its line


def layers_of(planner: Planner, allowed: Mapping[int, Sequence[bool]], names: Sequence[str]) -> list[Layers]:
    """Return the arrays of a line, one `Layers` for each run between notes that nothing sounds.

    `allowed` maps a note's index to which of its choices the mark means; `names` are the weights to fit. Leaps of
    repeats are left out.
    """
    result = []
    start = 0
    for k in range(len(planner.choices) + 1):
        if k == len(planner.choices) or not planner.choices[k]:
            if k > start:
                result.append(_run(planner, range(start, k), allowed, names))
            start = k + 1
    return result


def _run(planner: Planner, notes: range, allowed: Mapping[int, Sequence[bool]], names: Sequence[str]) -> Layers:
    import numpy as np

    place = {name: at for at, name in enumerate(names)}
    costs, senses, width = planner.costs, planner.costs.senses, len(names)

    def split(items: Mapping[str, float], into: Any) -> float:
        """Add the fitted items to the row `into`, and return the sum of the others."""
        rest = 0.0
        for name, price in items.items():
            if name in place:
                into[place[name]] += price
            else:
                rest += price
        return rest

    nodes, node_rest, edges, edge_rest, marks = [], [], [], [], {}
    for k in notes:
        choices = planner.choices[k]
        row, rest = np.zeros((len(choices), width)), np.zeros(len(choices))
        lowest = lowest_partial(choices)
        for j, choice in enumerate(choices):
            items = costs.note_items(choice, planner.times[k].sounds_s, lowest, planner.at_home(k, choice))
            rest[j] = split(items, row[j])
        nodes.append(np.repeat(row, senses, axis=0))
        node_rest.append(np.repeat(rest, senses))
        if k in allowed and len(choices) > 1:
            marks[k - notes.start] = np.repeat(np.array(allowed[k], dtype=bool), senses)
        if k == notes.start:
            continue
        before, move = planner.choices[k - 1], planner.moves[k - 1]
        matrix = np.zeros((len(choices) * senses, len(before) * senses, width))
        fixed = np.full(matrix.shape[:2], _FORBIDDEN)
        for j, b in enumerate(choices):
            for i, a in enumerate(before):
                prices = np.zeros(width)
                rest_price = split(costs.move_items(a, b, move), prices)
                sense = costs.sense(a, b)
                for was in range(senses):
                    now = was if sense is None else sense
                    at = j * senses + now, i * senses + was
                    matrix[at] = prices
                    fixed[at] = rest_price
                    if now != was:
                        fixed[at] += split({"reversal": costs.reversal(move)}, matrix[at])
        edges.append(matrix)
        edge_rest.append(fixed)
    return Layers(nodes=tuple(nodes), node_rest=tuple(node_rest), edges=tuple(edges), edge_rest=tuple(edge_rest),
                  marks=marks, index=notes.start)


def log_chances(layers: Layers, factors: Any) -> dict[int, Any]:
    """Return, for each marked layer, the logarithm (V,) of the chance of what its mark allows.

    `factors` holds V rows of factors (V, W), one for each weight.
    """
    import numpy as np

    nodes = [row @ factors.T + rest[:, None] for row, rest in zip(layers.nodes, layers.node_rest, strict=True)]
    edges = [matrix @ factors.T + rest[:, :, None]
             for matrix, rest in zip(layers.edges, layers.edge_rest, strict=True)]
    ahead = [np.zeros_like(nodes[0])]
    for node, edge in zip(nodes, edges, strict=False):
        ahead.append(_together((ahead[-1] + node)[None] + edge, 1))
    back = [np.zeros_like(nodes[-1])]
    for node, edge in zip(reversed(nodes), reversed(edges), strict=False):
        back.append(_together((back[-1] + node)[:, None] + edge, 0))
    back.reverse()
    whole = _together(ahead[-1] + nodes[-1], 0)
    return {t: whole - _together((ahead[t] + nodes[t] + back[t])[mask], 0) for t, mask in layers.marks.items()}


def _together(costs: Any, axis: int) -> Any:
    """Cost of several ways together: minus the logarithm of the sum of ``exp(-cost)``."""
    import numpy as np

    least = costs.min(axis=axis, keepdims=True)
    return np.squeeze(least, axis) - np.log(np.exp(least - costs).sum(axis=axis))


def surprise(layers: Sequence[Layers], factors: Any, slip: float = SLIP) -> Any:
    """Return minus the logarithm of the chance of all marks (V,) under V rows of factors (V, W)."""
    import numpy as np

    total = np.zeros(len(factors))
    for layer in layers:
        for t, log_chance in log_chances(layer, factors).items():
            slipped = np.log(slip * layer.marks[t].mean()) if slip else -np.inf
            total -= np.logaddexp(np.log(1 - slip) + log_chance, slipped)
    return total

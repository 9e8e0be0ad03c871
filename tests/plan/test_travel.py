"""Slide travel of the plan against the usual chart's and against the least possible, on lines nobody here wrote.

The lines are bass-clef parts of the corpus that music21 bundles. The least possible is a separate shortest path on
travel alone, over the same allowed choices, by a general graph library (networkx).
"""

from itertools import pairwise
from pathlib import Path

import networkx as nx
import pytest

from analyzer.horns.candidate import travel_mm
from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from analyzer.score.document import open_document
from analyzer.selection import chosen_parts, part_lines

music21 = pytest.importorskip("music21", reason="the corpus comes with music21")
CORPUS = Path(music21.__file__).parent / "corpus"
FILES = ("bach/bwv66.6.mxl", "bach/bwv269.mxl", "haydn/opus74no1/movement3.mxl", "beethoven/opus18no1/movement3.mxl",
         "schumann_robert/opus41no1/movement2.mxl", "bach/bwv277.mxl", "bach/bwv281.mxl", "bach/bwv57.8.mxl")


def lowest_lines():
    for name in FILES:
        path = CORPUS / name
        if not path.exists():
            continue
        document = open_document(path)
        part = document.part_ids[-1]
        yield from part_lines(document, chosen_parts(document, (part,))[0][0])[0][:1]


def least_travel_mm(planner: Planner) -> float:
    graph = nx.DiGraph()
    layers = [one or (None,) for one in planner.choices]
    for j in range(len(layers[0])):
        graph.add_edge("start", (0, j), weight=0.0)
    for t, (before, after) in enumerate(pairwise(layers)):
        for i, a in enumerate(before):
            for j, b in enumerate(after):
                graph.add_edge((t, i), (t + 1, j), weight=travel_mm([a, b]))
    for j in range(len(layers[-1])):
        graph.add_edge((len(layers) - 1, j), "end", weight=0.0)
    return nx.dijkstra_path_length(graph, "start", "end")


def test_travel_table(capsys: pytest.CaptureFixture[str]) -> None:
    lines = list(lowest_lines())
    assert lines, "the corpus is not where it was"
    table = ["horn              tempo  notes  ours m  chart m  least m  ours/least"]
    for horn in ("tenor", "tenor-f", "bass-independent"):
        ratios = []
        for bpm in (60, 180):
            ours = chart = least = 0.0
            count = 0
            for line in lines:
                planner = Planner(line, load_horn(horn), tempo_bpm=bpm)
                totals = planner.plan().totals
                low = least_travel_mm(planner)
                assert low <= totals.travel_mm + 1e-6
                if bpm == 60:
                    assert totals.travel_mm <= totals.chart_travel_mm + 1e-6, f"{line.part_name} on {horn}"
                ours, chart, least = ours + totals.travel_mm, chart + totals.chart_travel_mm, least + low
                count += len(line.notes)
            ratios.append(ours / least)
            table.append(f"{horn:<18}{bpm:>5}{count:>7}{ours / 1000:>8.1f}{chart / 1000:>9.1f}{least / 1000:>9.1f}"
                         f"{ours / least:>12.3f}")
        # Played faster, the plan comes nearer to the least possible.
        assert ratios[1] < ratios[0]
    with capsys.disabled():
        print("\n" + "\n".join(table))

"""Passages that every teacher of the trade knows, at their tempo; passages.csv names the source of each."""

import csv
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from tests.lines import line_of

ROWS = list(csv.DictReader(Path(__file__).with_name("passages.csv").read_text(encoding="utf-8").splitlines()))


def planned(row: dict[str, str], seconds: float | None = None) -> str:
    line = line_of(row["passage"], seconds or float(row["seconds"]), slur=row["slurred"] == "yes")
    plan = Planner(line, load_horn(row["horn"])).plan()
    return " ".join(note.choice.label if note.choice else "x" for note in plan.notes)


def test_there_are_enough_rows_for_every_horn() -> None:
    assert len(ROWS) >= 40
    assert {row["horn"] for row in ROWS} >= {"alto", "tenor", "tenor-f", "bass-single", "bass-independent",
                                             "bass-dependent", "euphonium-3", "euphonium-4",
                                             "euphonium-4-compensating", "baritone-3"}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['horn']} {row['passage']} {row['seconds']} s")
def test_passage(row: dict[str, str]) -> None:
    assert row["source"]
    assert planned(row) == row["expected"]


def test_slow_music_keeps_the_usual_chart() -> None:
    """At two seconds a note nothing leaves the chart, whatever the passage (common practice, no source)."""
    left = []
    for row in ROWS:
        line = line_of(row["passage"], 2.0)
        left += [f"{row['horn']} {note.note.sounding.name}: {note.choice.label}"
                 for note in Planner(line, load_horn(row["horn"])).plan().notes if note.changed]
    assert left == []

"""Passages of the trade at several tempi; passages.csv names the published source of each.

Those that every teacher knows and nobody prints stand in tests/practice/passages.csv.

Print the table, with the lengths of note at which a passage changes over::

    python -m tests.published.test_passages
"""

import csv
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from analyzer.horns.profiles import horn_names, load_horn
from analyzer.plan.solve import Planner
from analyzer.plan.weights import Weights
from tests.lines import line_of

Row = dict[str, str]


def read(path: Path) -> list[Row]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


PUBLISHED = read(Path(__file__).with_name("passages.csv"))
OWN = read(Path(__file__).parents[1] / "practice" / "passages.csv")
# The rows of one passage on one horn together, the slow ones first.
ROWS = sorted([*PUBLISHED, *OWN], key=lambda row: (row["horn"], row["passage"], -float(row["seconds"].split()[0])))


def planned(row: Row, seconds: float, weights: Weights | None = None) -> str:
    line = line_of(row["passage"], seconds, slur=row["slurred"] == "yes")
    plan = Planner(line, load_horn(row["horn"]), weights=weights).plan()
    return " ".join(note.choice.label if note.choice else "x" for note in plan.notes)


def changing() -> Iterator[tuple[Row, Row]]:
    """Rows of the same passage on the same horn: the slow one and the quick one."""
    for slow, quick in pairwise(ROWS):
        if (slow["passage"], slow["horn"]) == (quick["passage"], quick["horn"]):
            yield slow, quick


def steps(slow: Row, quick: Row, count: int = 24) -> list[float]:
    """Lengths of note from the slow row's longest to the quick row's shortest, in equal ratios. [s]"""
    first, last = float(slow["seconds"].split()[0]), float(quick["seconds"].split()[-1])
    return [first * (last / first) ** (k / count) for k in range(count + 1)]


def test_there_are_enough_passages_for_every_horn() -> None:
    assert len({(row["passage"], row["horn"]) for row in ROWS}) >= 40
    assert {row["horn"] for row in ROWS} == set(horn_names())
    assert all(row["source"] and "no source" not in row["source"] for row in PUBLISHED)


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: f"{row['horn']} {row['passage']} {row['seconds']} s")
def test_passage_at_each_of_its_tempi(row: Row) -> None:
    found = {seconds: planned(row, float(seconds)) for seconds in row["seconds"].split()}
    assert found == dict.fromkeys(found, row["expected"])


@pytest.mark.parametrize("pair", tuple(changing()), ids=lambda pair: f"{pair[0]['horn']} {pair[0]['passage']}")
def test_the_change_over_comes_once_and_stays(pair: tuple[Row, Row]) -> None:
    """Played faster and faster, each note goes over to its quick choice once, and never back."""
    slow, quick = pair
    for note in zip(*(planned(slow, seconds).split() for seconds in steps(slow, quick)), strict=True):
        assert sum(a != b for a, b in pairwise(note)) <= 1, " ".join(note)


def test_slow_music_keeps_the_usual_chart() -> None:
    """At two seconds a note nothing leaves the chart, whatever the passage (common practice, no source)."""
    left = []
    for row in ROWS:
        line = line_of(row["passage"], 2.0)
        left += [f"{row['horn']} {note.note.sounding.name}: {note.choice.label}"
                 for note in Planner(line, load_horn(row["horn"])).plan().notes if note.changed]
    assert left == []


def table() -> str:
    """Every row with what is met, and for what changes, where."""
    out = [f"{'horn':<26}{'passage':<54}{'s a note':<32}{'expected and found':<34}source"]
    for row in ROWS:
        missed = [seconds for seconds in row["seconds"].split() if planned(row, float(seconds)) != row["expected"]]
        out.append(f"{row['horn']:<26}{row['passage']:<54}{row['seconds']:<32}{row['expected']:<34}{row['source']}"
                   + (f"   NOT MET at {' '.join(missed)}" if missed else ""))
    out.append("\nWhere a passage changes over, note by note:")
    for slow, quick in changing():
        walked = [(seconds, planned(slow, seconds)) for seconds in steps(slow, quick, 96)]
        out.append(f"{slow['horn']} {slow['passage']}: {walked[0][1]}" + "".join(
            f"; from {seconds:.2f} s {now}" for (_, was), (seconds, now) in pairwise(walked) if was != now))
    return "\n".join(out)


if __name__ == "__main__":
    print(table())

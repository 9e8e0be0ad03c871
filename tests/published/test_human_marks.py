"""Our plans beside the positions that named teachers printed for their own passages (human_marks.csv names each)."""

import csv
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from tests.lines import line_of

ROWS = list(csv.DictReader(Path(__file__).with_name("human_marks.csv").read_text(encoding="utf-8").splitlines()))


def ours(row: dict[str, str]):
    line = line_of(row["notes"], float(row["seconds"]), slur=row["slurred"] == "yes")
    return Planner(line, load_horn(row["horn"])).plan()


def bare(label: str) -> str:
    return label.rstrip("#b")


def test_the_table_is_whole() -> None:
    assert len(ROWS) == 13
    assert all(len(row["notes"].split()) == len(row["positions"].split()) for row in ROWS)


def test_agreement_with_teachers(capsys: pytest.CaptureFixture[str]) -> None:
    """Rows that print the notes around: at least 90 % of all notes. Off the usual chart: printed, and at least half."""
    table = []
    same = total = off_same = off_total = 0
    for row in ROWS:
        plan = ours(row)
        theirs = row["positions"].split()
        mine = [bare(note.choice.label) for note in plan.notes]
        table.append(f"{row['id']} {row['author']:<24} theirs {' '.join(theirs)}\n{'':<30} ours   {' '.join(mine)}"
                     + (f"   ({row['remark']})" if row["remark"] else ""))
        if row["around"] != "yes":
            continue
        for note, one, other in zip(plan.notes, mine, theirs, strict=True):
            same, total = same + (one == other), total + 1
            if bare(note.usual.label) != other:
                off_same, off_total = off_same + (one == other), off_total + 1
    with capsys.disabled():
        print("\n" + "\n".join(table))
        print(f"notes {same}/{total} = {same / total:.1%}; off the usual chart {off_same}/{off_total}")
    assert same / total >= 0.9
    assert off_same / off_total >= 0.5


def test_a_lower_ceiling_keeps_c3_open() -> None:
    """creatone.jp, Bass trombone lesson on choosing positions: the open sixth gives the bright sound."""
    from analyzer.plan.player import Player

    plan = Planner(line_of("C3", 1.5), load_horn("bass-independent"), Player(ceiling_midi=47)).plan()
    assert plan.notes[0].choice.label == "6"

"""Our plans beside the positions that named teachers printed for their own passages (human_marks.csv names each).

Print the table, and for each weight the range in which nothing in it and nothing in the table of passages changes
(some minutes)::

    python -m tests.published.test_human_marks
"""

import csv
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from itertools import product, takewhile
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.pitch import parse_pitch, pitch_of
from analyzer.plan.plan import Plan
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.weights import Weights, default_weights
from tests.lines import line_of
from tests.published import test_passages

Row = dict[str, str]
ROWS = list(csv.DictReader(Path(__file__).with_name("human_marks.csv").read_text(encoding="utf-8").splitlines()))
TRIED = (1.05, 1.1, 1.25, 1.5, 2.0, 4.0)
AROUND = [row for row in ROWS if row["around"] == "yes"]


def ours(row: Row, weights: Weights | None = None) -> Plan:
    line = line_of(row["notes"], float(row["seconds"]), slur=row["slurred"] == "yes")
    return Planner(line, load_horn(row["horn"]), weights=weights).plan()


def bare(label: str) -> str:
    return label.rstrip("#b")


def counted(weights: Weights | None = None) -> tuple[int, int, int, int]:
    """Notes that agree, notes; the same of those that the teacher takes off the usual chart. Rows with neighbours."""
    same = total = off_same = off_total = 0
    for row in AROUND:
        for note, theirs in zip(ours(row, weights).notes, row["positions"].split(), strict=True):
            agrees = bare(note.choice.label) == theirs
            same, total = same + agrees, total + 1
            if bare(note.usual.label) != theirs:
                off_same, off_total = off_same + agrees, off_total + 1
    return same, total, off_same, off_total


def asked_around(row: Row) -> tuple[int, int]:
    """A note printed without its neighbours: how often ours is theirs, of all neighbours within a minor third."""
    name, theirs = row["notes"].split()[-1], row["positions"].split()[-1]
    midi = parse_pitch(name).midi
    others = [pitch_of(one).name for one in range(midi - 3, midi + 4) if one != midi]
    tie = "~" if row["slurred"] == "yes" else ""
    found = [Planner(line_of(f"{a}{tie} {name}{tie} {b}", float(row["seconds"])), load_horn(row["horn"])).plan()
             for a, b in product(others, others)]
    return sum(bare(plan.notes[1].choice.label) == theirs for plan in found), len(found)


def table() -> str:
    out = []
    for row in ROWS:
        mine = " ".join(bare(note.choice.label) for note in ours(row).notes)
        out.append(f"{row['id']} {row['author']:<24} theirs {row['positions']}\n{'':<30} ours   {mine}"
                   + (f"   ({row['remark']})" if row["remark"] else ""))
        if row["around"] == "no":
            same, total = asked_around(row)
            out.append(f"{'':<30} ours is theirs for {same} of {total} pairs of neighbours within a minor third")
    same, total, off_same, off_total = counted()
    out.append(f"rows with their neighbours: notes {same}/{total} = {same / total:.1%}; "
               f"off the usual chart {off_same}/{off_total}")
    return "\n".join(out)


def test_the_table_is_whole() -> None:
    assert len(ROWS) == 13
    assert all(len(row["notes"].split()) == len(row["positions"].split()) for row in ROWS)


def test_agreement_with_teachers(capsys: pytest.CaptureFixture[str]) -> None:
    """Rows that print the notes around: at least 90 % of all notes; off the usual chart more than half, printed."""
    with capsys.disabled():
        print(f"\n{table()}")
    same, total, off_same, off_total = counted()
    assert same / total >= 0.9
    assert off_same / off_total > 0.5


@pytest.mark.whole
def test_no_weights_give_the_marks_that_we_miss() -> None:
    """Weights fitted to both tables at once, the marks of teachers four times, doubt just the two F3 of hp01 and hp02.

    They go from second to sixth and back to fourth (60 cm) where first lies between (36 cm), with as many turns; the
    same author takes first for the last F3 of hp02.
    """
    pytest.importorskip("scipy", reason="fitting needs scipy")
    from analyzer.plan.learn import Marked, learn

    def marked(names: str, seconds: str, slurred: str, horn: str, labels: str) -> Marked:
        return Marked(line=line_of(names, float(seconds), slur=slurred == "yes"), horn=load_horn(horn),
                      labels={k: label for k, label in enumerate(labels.split()) if label != "x"})

    teachers = [marked(row["notes"], row["seconds"], row["slurred"], row["horn"], row["positions"]) for row in AROUND]
    trade = [marked(row["passage"], seconds, row["slurred"], row["horn"], row["expected"])
             for row in test_passages.ROWS for seconds in {row["seconds"].split()[0], row["seconds"].split()[-1]}]
    found = learn(4 * teachers + trade)
    assert found.before > 0.99
    assert set(found.doubtful) == {"Test, measure 2, F3: 6"}


@pytest.mark.parametrize("changed", ["player", "weights"])
def test_c3_opens_for_who_asks_for_the_brighter_tone(changed: str) -> None:
    """creatone.jp, Bass trombone lesson on choosing positions: the open sixth gives the bright sound."""
    line, horn, weights = line_of("C3", 3), load_horn("bass-independent"), default_weights()
    assert Planner(line, horn).plan().notes[0].choice.label == "T1"
    plan = (Planner(line, horn, Player(ceiling_midi=47)) if changed == "player" else
            Planner(line, horn, weights=replace(weights, resonance=10 * weights.resonance))).plan()
    assert plan.notes[0].choice.label == "6"


def sensitivity() -> Iterator[str]:
    """A row for each weight: the range of values tried (see `TRIED`) that changes nothing."""
    def marks(weights: Weights) -> list[str]:
        return [note.choice.label for row in ROWS for note in ours(row, weights).notes]

    def passages(weights: Weights) -> bool:
        return all(test_passages.planned(row, float(seconds), weights) == row["expected"]
                   for row in test_passages.ROWS for seconds in {row["seconds"].split()[0], row["seconds"].split()[-1]})

    base = default_weights()
    usual = marks(base)
    yield f"{'weight':<18}{'value':>7}{'marks stay from':>18}{'to':>8}{'passages hold from':>21}{'to':>8}"
    for name in (each.name for each in fields(Weights)):
        value = getattr(base, name)

        def farthest(holds: Callable[[Weights], bool], way: int, name: str = name, value: float = value) -> float:
            tried = (value * factor**way for factor in TRIED)
            return [value, *takewhile(lambda other: holds(replace(base, **{name: other})), tried)][-1]

        low, high, low_passages, high_passages = (
            farthest(holds, way) for holds in (lambda other: marks(other) == usual, passages) for way in (-1, 1))
        yield f"{name:<18}{value:>7g}{low:>18.3g}{high:>8.3g}{low_passages:>21.3g}{high_passages:>8.3g}"


if __name__ == "__main__":
    print(table(), end="\n\n", flush=True)
    for line in sensitivity():
        print(line, flush=True)

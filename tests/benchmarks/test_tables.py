"""The command that writes the tables into DEVELOPERS.md."""

import pytest

from tests.benchmarks.__main__ import BEGIN, END, GROUPS, PAGE, inserted
from tests.benchmarks.measuring import Figure, grown, side_by_side, table

PAGE_TEXT = f"# Title\n\n{BEGIN}\n{END}\n\nThe rest.\n"


def a_table(name: str, value: float) -> str:
    figure = Figure(what="this / that", ours="1 s", theirs="2 s", value=value, limit=1)
    return f"**{GROUPS[name][0]}**\n\n{table([figure])}"


def test_tables_come_between_the_marks_and_only_the_new_ones_change() -> None:
    first = inserted(PAGE_TEXT, {name: a_table(name, 0.25) for name in GROUPS})
    assert first.startswith("# Title\n")
    assert first.endswith("\nThe rest.\n")
    assert first.count("| 0.25 |") == len(GROUPS)
    second = inserted(first, {"score": a_table("score", 0.75)})
    assert second == first.replace(a_table("score", 0.25), a_table("score", 0.75))
    assert inserted(second, {}) == second
    with pytest.raises(ValueError, match="has no lines"):
        inserted("# Title\n", {})


def test_the_page_has_its_marks() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert inserted(text, {}) == text


def test_measuring_tells_slow_from_fast_and_linear_from_square() -> None:
    ours, theirs, ratio = side_by_side(iter((1.0, 4.0, 2.0)).__next__, iter((2.0, 8.0, 4.0)).__next__, repeats=3)
    assert (ours, theirs, ratio) == (2.0, 4.0, 0.5)
    sizes = (200, 400, 800)
    linear = grown("a", sizes, [lambda n=n: sum(range(300 * n)) for n in sizes], 2)
    square = grown("b", sizes, [lambda n=n: [sum(range(n)) for _ in range(n)] for n in sizes], 2)
    assert linear.value + 0.4 < square.value

"""The order of the courses against published ones (rows whose order is the source's own), as Kendall's tau.

``python -m tests.course.test_order`` prints every pair in which a course and a source disagree. The levels of the
skills come from these sources, so that agreement is no proof of them: the test says what the music at hand makes of the
order.
"""

import csv
from itertools import combinations
from pathlib import Path

from analyzer.course.course import Course
from analyzer.plan.player import Player
from tests.course.schools import CHANGES, SCHOOLS, SHARED, course_for

_FILE = Path(__file__).with_name("published_orders.csv")
ABLE = Player(name="Student")
"""The whole slide and every note: what is missing then is missing in the music."""
LEAST_TAU = 0.9
"""What the courses keep at least, over all schools; measured: 0.97, and 0.95 for the samples alone (1 pair off)."""


def published() -> list[tuple[str, list[str]]]:
    """Return source and order of each row."""
    with _FILE.open(encoding="utf-8", newline="") as rows:
        return [(f"{row['author']}, {row['source']}", row["order"].split(" > ")) for row in csv.DictReader(rows)]


def pairs_of(course: Course) -> list[tuple[str, str, str, int]]:
    """Return source, two skills in its order, and 1 where the course agrees, -1 where not, 0 in one week."""
    week = {skill.id: week.number for week in course.weeks for skill in week.new}
    return [(source, first, second, (week[first] < week[second]) - (week[first] > week[second]))
            for source, order in published() for first, second in combinations(order, 2)
            if first in week and second in week]


def all_pairs() -> list[tuple[str, str, str, str, str, int]]:
    """Return the pairs of every school that is there and every change of horn."""
    there = [school for school, files in SCHOOLS.items() if all(path.is_file() for path in files)]
    return [(school, change, *pair) for school in there for change, (_, _, clef) in CHANGES.items() if clef is None
            for pair in pairs_of(course_for(school, change, player=ABLE))]


def tau(signs: list[int]) -> float:
    """Return Kendall's tau-a without the pairs of one week: agreements less disagreements, over both.

    Examples
    --------
    >>> tau([1, 1, 1, -1, 0])
    0.5
    """
    told = [sign for sign in signs if sign]
    return sum(told) / len(told)


def test_courses_follow_the_published_orders() -> None:
    signs = [sign for *_, sign in all_pairs()]
    assert len([sign for sign in signs if sign]) >= 15
    assert tau(signs) >= LEAST_TAU


def test_a_course_turned_round_would_be_seen() -> None:
    assert tau([-sign for *_, sign in all_pairs()]) <= -LEAST_TAU


def main() -> None:
    """Print the pairs that disagree and the correlation."""
    found = all_pairs()
    print(f"scores beside the project: {'there' if SHARED.is_dir() else 'absent'}")
    for school, change, source, first, second, sign in found:
        if sign < 0:
            print(f"{school}, {change}: {second} before {first}, against {source}")
    signs = [sign for *_, sign in found]
    print(f"{len(signs)} pairs: {signs.count(1)} as published, {signs.count(-1)} the other way, {signs.count(0)} in "
          f"one week; tau {tau(signs):.2f}")


if __name__ == "__main__":
    main()

"""A pin answered anew against the first plan, 300 measures of 8 notes; process time, median of neighbours in time.

Print the ratio::

    python -m tests.benchmarks.test_bench_pin
"""

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, cpu_seconds, shown_s, side_by_side
from tests.benchmarks.test_bench_map import line_of

LIMIT = 0.1


def pin_ratio() -> tuple[float, float, float]:
    """Seconds of a re-solve, of the first solve, and their ratio; pins in the middle of the part."""
    line, horn = line_of(making.study(300)), load_horn("tenor-f")
    known = Planner(line, horn)
    place = next(note for note in known.plan().notes[len(line.notes) // 2:] if note.alternatives)
    labels = [other.choice.label for other in place.alternatives]

    def again() -> float:
        return cpu_seconds(lambda: known.plan({place.index: labels[0]}))

    def first() -> float:
        return cpu_seconds(lambda: Planner(line, horn).plan())

    return side_by_side(again, first)


def figures() -> list[Figure]:
    """Rows of the table: the plan alone, from the click to the marks in a browser, and the server's part of it."""
    from tests.web import measure_pin  # needs a browser

    again, first, ratio = pin_ratio()
    return [Figure(what="plan with one more pin, 2,400 notes / the first plan", ours=shown_s(again),
                   theirs=shown_s(first), value=ratio, limit=LIMIT),
            *measure_pin.figures(), measure_pin.server_figure()]


@pytest.mark.benchmark_suite
def test_a_pin_takes_a_tenth_of_the_first_plan_at_most() -> None:
    again, first, ratio = pin_ratio()
    print(f"\npin {again * 1000:.1f} ms, first plan {first * 1000:.1f} ms, ratio {ratio:.3f}, limit {LIMIT}")
    assert ratio <= LIMIT


if __name__ == "__main__":
    pin_s, first_s, share = pin_ratio()
    print(f"pin {pin_s * 1000:.1f} ms / first plan {first_s * 1000:.1f} ms = {share:.3f} (limit {LIMIT})")

"""Where pages end. The systems here are plain values; what is wanted was told by hand from the rule."""

from collections.abc import Sequence

from analyzer.engrave.breaks import better_pages, hurried, rest_between, with_breaks
from analyzer.engrave.geometry import System


def system(number: int, rests: Sequence[int]) -> System:
    return System(measures=len(rests), heads={}, staves=(), top=0, bottom=0, rests=tuple(rests),
                  indices=tuple(range(4 * number, 4 * number + len(rests))))


def part(*rests: Sequence[int]) -> list[System]:
    return [system(number, found) for number, found in enumerate(rests)]


PLAYED, RESTS_LAST, RESTS_FIRST = (0, 0, 0, 0), (0, 0, 0, 6), (2, 0, 0, 0)


def test_rest_around_the_end_of_a_system_counts_on_both_sides() -> None:
    assert rest_between(*part(PLAYED, PLAYED)) == 0
    assert rest_between(*part(RESTS_LAST, PLAYED)) == 6
    assert rest_between(*part((0, 0, 1, 1), RESTS_FIRST)) == 4


def test_a_page_ends_earlier_for_a_turn_at_rest() -> None:
    systems = part(PLAYED, PLAYED, RESTS_LAST, PLAYED, PLAYED, PLAYED, PLAYED)
    pages = [systems[:5], systems[5:]]
    assert hurried(pages) == {1}
    found = better_pages(pages, [1.0] * 7, [5.0, 6.0])
    assert found == [[0, 1, 2], [3, 4, 5, 6]]
    assert hurried([[systems[k] for k in page] for page in found]) == set()


def test_no_rest_near_the_end_leaves_the_pages_as_they_are_and_is_told() -> None:
    systems = part(RESTS_LAST, *[PLAYED] * 8)
    pages = [systems[:5], systems[5:]]
    assert better_pages(pages, [1.0] * 9, [5.0, 6.0]) is None
    assert hurried(pages) == {1}


def test_a_turn_that_would_cost_a_page_is_not_made() -> None:
    systems = part(PLAYED, PLAYED, RESTS_LAST, *[PLAYED] * 8)
    pages = [systems[:5], systems[5:]]
    assert better_pages(pages, [1.0] * 11, [5.0, 6.0]) is None


def test_no_system_stands_alone_on_the_last_page() -> None:
    systems = part(*[PLAYED] * 6)
    assert better_pages([systems[:5], systems[5:]], [1.0] * 6, [5.0, 6.0]) == [[0, 1, 2, 3], [4, 5]]


def test_a_part_of_three_pages_folds_out() -> None:
    systems = part(*[PLAYED] * 6)
    assert hurried([systems[:2], systems[2:4], systems[4:]]) == set()


def test_breaks_are_written_before_the_measures_that_begin_a_line() -> None:
    music = '<part><measure number="1" id="m0"/><measure number="2" id="m1"></measure></part>'
    assert with_breaks(music, ((1, True),)).count('id="m1"><print new-page="yes"/>') == 1

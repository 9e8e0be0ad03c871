"""The page within its bounds, measured on one that runs: ``python -m tests.web.measure_bounds`` prints the figures."""

import sys
import time
from collections.abc import Iterator

import pytest

pytest.importorskip("uvicorn", reason="the extra web is not installed")

from tests.web import measure_bounds
from tests.web.running import served

pytestmark = [pytest.mark.whole, pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")]


@pytest.fixture
def page() -> Iterator[tuple[str, int]]:
    with served() as (process, address):
        time.sleep(1)
        yield address, process.pid


def test_sixty_scores_below_500_mib(page: tuple[str, int]) -> None:
    assert measure_bounds.sixty_uploads(*page).most_mib < 500
    assert measure_bounds.large_uploads(*page).most_mib < 500


def test_a_hundred_clients_at_once_are_answered(page: tuple[str, int]) -> None:
    assert measure_bounds.hundred_clients(*page).answered == 100


@pytest.mark.parametrize("count", [19_000, 200_000])
def test_many_notes_are_answered_or_refused(page: tuple[str, int], count: int) -> None:
    """Within the 20 seconds of a plan's process; a loaded machine needs more to start and to read."""
    found = measure_bounds.too_many_notes(*page, count)
    assert found.answered == (4 if count < 20_000 else 1)
    assert found.most_mib < 1024


def test_who_gives_up_stops_the_plan(page: tuple[str, int]) -> None:
    assert measure_bounds.given_up(*page).answered == 1

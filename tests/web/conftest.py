"""A page in this process, with the header that its own script would send."""

import asyncio
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the extra web is not installed")

with warnings.catch_warnings():
    # Newer versions would rather have a successor of httpx; either does here.
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

from analyzer.web.app import build
from analyzer.web.page import ASKING, Page
from analyzer.web.workers import Jobs, Workers
from tests.web.calls import check_answer
from tests.web.running import served

SAMPLES = Path(__file__).parents[2] / "sample_scores"
HOST = "127.0.0.1:8765"
TOKEN = "a-token-for-tests"


@pytest.fixture(scope="session")
def workers() -> Iterator[Workers]:
    started = Workers(count=1)
    yield started
    started.stop()


@pytest.fixture(scope="session")
def planner() -> Iterator[Workers]:
    started = Workers()
    yield started
    started.stop()


class Here(Workers):
    """Does the work in this process, for tests that change a limit in it."""

    def start(self) -> None:
        pass

    async def run(self, work, *arguments):
        return await asyncio.to_thread(work, *arguments)


class NoStop(Workers):
    """Lends the one pool of worker processes to every page of the tests: a page's end does not stop it."""

    def __init__(self, lent: Workers) -> None:
        super().__init__()
        self.lent = lent

    def start(self) -> None:
        self.lent.start()

    async def run(self, work, *arguments):
        return await self.lent.run(work, *arguments)


@pytest.fixture
def page(workers: Workers, planner: Workers) -> Page:
    return page_of(workers, planner, samples=SAMPLES)


def page_of(workers: Workers, planner: Workers, **more: object) -> Page:
    """Return a page with the processes that all tests share."""
    return Page(engravers=(NoStop(workers),), jobs=Jobs(NoStop(workers)),
                planners=(Jobs(NoStop(planner), most_waiting=ASKING),), **more)


@pytest.fixture
def bare(page: Page) -> Iterator[TestClient]:
    """A client without the token."""
    with TestClient(build(TOKEN, (HOST, "localhost:8765"), page), base_url=f"http://{HOST}",
                    raise_server_exceptions=False) as client:
        client.event_hooks = {"response": [held_to_its_schema]}
        yield client


def held_to_its_schema(response) -> None:
    """Every answer of every test here is what its schema says."""
    response.read()
    check_answer(str(response.url), response.status_code, response.headers.get("content-type", ""), response.content)


@pytest.fixture
def client(bare: TestClient) -> TestClient:
    bare.headers["X-Lowbrass-Token"] = TOKEN
    return bare


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """Where a page of its own process is; for tests in a real browser."""
    with served() as (_, found):
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    from tests.web.browsing import started_browser

    yield from started_browser()


@pytest.fixture(params=["phone", "laptop"])
def tab(browser, address: str, request) -> Iterator[object]:
    from tests.web.browsing import opened_tab

    yield from opened_tab(browser, address, request.param)


@pytest.fixture
def laptop(browser, address: str) -> Iterator[object]:
    from tests.web.browsing import opened_tab

    yield from opened_tab(browser, address, "laptop")

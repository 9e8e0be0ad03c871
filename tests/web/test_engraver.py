"""Worker processes: what they lose when they die, and that they end with their parent."""

import asyncio
import os
import re
import signal
import time

import pytest

from analyzer.engrave.copy import engraving_copy
from analyzer.problem import Unreadable
from analyzer.score.document import read_document
from analyzer.web.engraver import ID_PREFIX, engrave
from analyzer.web.jobs import Workers
from tests.benchmarks import making


def test_a_worker_that_dies_costs_one_piece_of_work() -> None:
    workers = Workers(count=1)

    async def work() -> int:
        with pytest.raises(Unreadable, match="broke off"):
            await workers.run(os._exit, 3)
        return await workers.run(os.getpid)

    try:
        assert asyncio.run(work()) != os.getpid()
    finally:
        workers.stop()


def test_a_worker_that_dies_while_idle_costs_nothing() -> None:
    workers = Workers(count=1)

    async def work() -> int:
        first = await workers.run(os.getpid)
        os.kill(first, signal.SIGKILL)
        # The pool notices a little later; whenever it is asked, it answers.
        await asyncio.sleep(1.0)
        for _ in range(3):
            assert await workers.run(os.getpid) != first
        return first

    try:
        assert asyncio.run(work())
    finally:
        workers.stop()


def test_work_that_takes_too_long_is_stopped() -> None:
    workers = Workers(count=1, time_limit_s=1.5)

    async def work() -> int:
        await workers.run(os.getpid)
        with pytest.raises(Unreadable, match="too long"):
            await workers.run(time.sleep, 60)
        return await workers.run(os.getpid)

    start = time.perf_counter()
    try:
        assert asyncio.run(work()) != os.getpid()
        assert time.perf_counter() - start < 30
    finally:
        workers.stop()


def test_music_longer_than_the_engravers_longest_page_stays_whole() -> None:
    pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
    copy = engraving_copy(read_document(making.study(300), "study.musicxml"), "P1")
    assert len(re.findall(rf'id="{ID_PREFIX}m\d+"', engrave(copy, 300)[0])) == 300

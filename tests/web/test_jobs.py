"""Worker processes: what is lost when they die, take too long or are given up, and that the next work begins."""

import asyncio
import os
import signal
import time

import pytest

from analyzer.problem import Unreadable
from analyzer.web.security import RefusedError
from analyzer.web.workers import JOBS_WAITING, Jobs, Workers
from tests.borders import working
from tests.web.conftest import NoStop


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


def test_work_that_needs_too_much_memory_is_stopped() -> None:
    workers = Workers(memory_limit_mib=256)

    async def work() -> int:
        with pytest.raises(Unreadable, match="more memory"):
            await workers.run(working.hold, 2048)
        return await workers.run(len, "four")

    try:
        assert asyncio.run(work()) == 4
    finally:
        workers.stop()


def test_other_work_waits_for_its_turn_and_its_time_counts_from_then() -> None:
    workers = Workers(time_limit_s=2.5)

    async def work() -> list[object]:
        await workers.run(os.getpid)
        return await asyncio.gather(workers.run(time.sleep, 60), workers.run(time.sleep, 1), workers.run(len, "four"),
                                    return_exceptions=True)

    try:
        stopped, slept, four = asyncio.run(work())
        assert isinstance(stopped, Unreadable)
        assert (slept, four) == (None, 4)
    finally:
        workers.stop()


def test_a_stop_tells_whoever_waits() -> None:
    workers = Workers()

    async def work() -> None:
        await workers.run(os.getpid)
        waiting = asyncio.ensure_future(workers.run(time.sleep, 60))
        await asyncio.sleep(0.3)
        workers.stop()
        with pytest.raises(Unreadable, match="was stopped"):
            await waiting

    asyncio.run(work())


def test_what_is_given_up_late_is_let_go_on_a_while() -> None:
    """Whoever asks for another thing at once finds the process that knows the score, not a new one."""
    jobs = Jobs(patience_s=60)

    async def gone() -> bool:
        return begun.is_set()

    async def waiting() -> bool:
        return False

    async def work() -> tuple[int, int]:
        first = await jobs.run(waiting, os.getpid)
        long = asyncio.ensure_future(jobs.run(gone, time.sleep, 1))
        await asyncio.sleep(0.1)
        begun.set()
        await long
        return first, await jobs.run(waiting, os.getpid)

    begun = asyncio.Event()
    try:
        first, second = asyncio.run(work())
        assert first == second
    finally:
        jobs.stop()


def test_a_job_that_nobody_waits_for_is_stopped_and_the_next_begins() -> None:
    jobs = Jobs()
    left = asyncio.Event()

    async def gone() -> bool:
        return left.is_set()

    async def waiting() -> bool:
        return False

    async def work() -> int:
        long = asyncio.ensure_future(jobs.run(gone, time.sleep, 60))
        await asyncio.sleep(0.5)
        left.set()
        with pytest.raises(RefusedError, match="Nobody waits"):
            await long
        return await jobs.run(waiting, len, "four")

    begun = time.perf_counter()
    try:
        assert asyncio.run(work()) == 4
        assert time.perf_counter() - begun < 40
    finally:
        jobs.stop()


def test_too_many_jobs_are_refused(workers) -> None:
    jobs = Jobs(NoStop(workers))

    async def waiting() -> bool:
        return False

    async def many() -> list[object]:
        return await asyncio.gather(*(jobs.run(waiting, len, "four") for _ in range(30)), return_exceptions=True)

    found = asyncio.run(many())
    assert found.count(4) == JOBS_WAITING
    assert all(isinstance(one, RefusedError) and one.status == 503 for one in found if one != 4)

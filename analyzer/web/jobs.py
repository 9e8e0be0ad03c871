"""Work in processes of its own, which may die, take too long or be given up without taking the page along."""

import asyncio
import contextlib
import json
import os
import signal
import threading
from collections.abc import Awaitable, Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process, resource_tracker
from typing import Any, TypeVar

from analyzer.analysis import Request, analyse
from analyzer.engrave.copy import engraving_copy
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.marking.ossia import repitched
from analyzer.marking.which import marks
from analyzer.problem import unreadable
from analyzer.report.compare import compare_document
from analyzer.report.fit.page import section_page
from analyzer.report.map.document import map_document
from analyzer.report.page_answers import fit_answer
from analyzer.review.compare import compare
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import Refusal, ossia
from analyzer.score.document import SCORE_ENDINGS, read_document
from analyzer.score.parts import find_parts
from analyzer.section.fit import fit
from analyzer.selection import between, part_lines
from analyzer.web.engraver import engrave
from analyzer.web.forms import section_of
from analyzer.web.security import RefusedError

_Result = TypeVar("_Result")
ENDINGS = (*SCORE_ENDINGS, ".pdf", ".html", ".json")
TIME_LIMIT_S = 120.0
"""Longest time for one piece of work; judged: the longest real score takes about a tenth of it."""
START_LIMIT_S = 60.0
"""Longest time for a worker process to start; judged: a busy machine takes some seconds."""
_LOOK_S = 0.2                          # how often it is asked whether the page still waits
JOBS_WAITING = 20
"""So many jobs may wait; judged: one person asks for a few."""


def _start_worker() -> None:
    """Prepare a worker: it leaves Ctrl-C to its parent, ends with it, and has the engraver loaded."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
    with contextlib.suppress(ImportError):
        import verovio  # noqa: F401


@contextlib.contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Start processes that hold Ctrl-C back from their first moment on; one that comes meanwhile reaches us after it.

    Ignoring it here would lose a Ctrl-C of somebody who stops the page at once. Where signals cannot be held back
    (Windows), a console's Ctrl-C is ignored for that moment all the same.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    if hasattr(signal, "pthread_sigmask"):
        # Its start lets the signal through again at its end, so it must not come between.
        resource_tracker.ensure_running()
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class Workers:
    """A few worker processes. A worker that dies or takes too long costs one piece of work, not the page."""

    def __init__(self, *, count: int, time_limit_s: float = TIME_LIMIT_S) -> None:
        self._count = count
        self._time_limit_s = time_limit_s
        self._pool: ProcessPoolExecutor | None = None
        self._started: dict[ProcessPoolExecutor, Future[int]] = {}

    def start(self) -> None:
        """Start the processes, so that the first picture does not wait for them."""
        with _interrupts_held_back():
            self._submitted(os.getpid)

    async def run(self, work: Callable[..., _Result], *arguments: object) -> _Result:
        """Do `work` in a process.

        Raises
        ------
        Unreadable
            If the process died or the work took too long.
        """
        with _interrupts_held_back():
            pool, future = self._submitted(work, *arguments)
            started = self._started[pool]
        try:
            # To start a process takes a second and more on a busy machine, and is no part of the work.
            await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(started)), START_LIMIT_S)
            return await asyncio.wait_for(asyncio.wrap_future(future), self._time_limit_s)
        except asyncio.CancelledError:
            task = asyncio.current_task()
            if task is not None and task.cancelling():
                future.cancel()
                raise
            # Other work took too long or broke off, and its process was this work's, too.
            raise unreadable("engraver", where="engraving", what="the work was stopped together with other work",
                             try_="Try it once more.") from None
        except BrokenProcessPool:
            self._drop(pool)
            raise unreadable("engraver", where="engraving", what="the work broke off", try_="Try it once more; if it "
                             "breaks off again, ask for fewer measures.") from None
        except TimeoutError:
            self._drop(pool)
            raise unreadable("engraver", where="engraving", what="the work took too long and was stopped",
                             try_="Ask for fewer measures.") from None

    def _submitted(self, work: Callable[..., _Result], *arguments: object,
                   ) -> tuple[ProcessPoolExecutor, Future[_Result]]:
        """Give work to the pool; to a new one where a worker died while nobody waited for it."""
        with contextlib.suppress(BrokenProcessPool):
            if self._pool is not None:
                return self._pool, self._pool.submit(work, *arguments)
        if self._pool is not None:
            self._drop(self._pool)
        self._pool = ProcessPoolExecutor(self._count, mp_context=get_context("spawn"), initializer=_start_worker)
        self._started = {self._pool: self._pool.submit(os.getpid)}
        return self._pool, self._pool.submit(work, *arguments)

    def _drop(self, pool: ProcessPoolExecutor) -> None:
        if self._pool is pool:
            self._pool = None
        # The pool itself has no way to stop a running piece of work.
        for process in list((pool._processes or {}).values()):
            process.terminate()
        pool.shutdown(wait=False, cancel_futures=True)

    def stop(self) -> None:
        """End the processes."""
        if self._pool is not None:
            self._drop(self._pool)


class Jobs:
    """One worker process for long work. Giving up stops it, so that the next piece starts at once in a new one."""

    def __init__(self, workers: Workers | None = None) -> None:
        self._workers = workers or Workers(count=1)
        self._turn = asyncio.Lock()
        self._waiting = 0

    async def run(self, gone: Callable[[], Awaitable[bool]], job: Callable[..., _Result], *arguments: object,
                  ) -> _Result:
        """Do `job` in the process; `gone` tells whether nobody waits for it any more.

        Raises
        ------
        RefusedError
            If too many wait already, or nobody waits for this.
        Unreadable
            If the job says so, its process died, or it took too long.
        """
        if self._waiting >= JOBS_WAITING:
            raise RefusedError(503, "Too much work at once. Wait a moment and try again.")
        self._waiting += 1
        try:
            async with self._turn:
                if await gone():
                    raise RefusedError(499, "Nobody waits for this any more.")
                return await self._watched(gone, job, *arguments)
        finally:
            self._waiting -= 1

    async def _watched(self, gone: Callable[[], Awaitable[bool]], job: Callable[..., _Result], *arguments: object,
                       ) -> _Result:
        task = asyncio.ensure_future(self._workers.run(job, *arguments))
        while not (await asyncio.wait({task}, timeout=_LOOK_S))[0]:
            if await gone():
                task.cancel()
                self._workers.stop()
                raise RefusedError(499, "Nobody waits for this any more.")
        return task.result()

    def stop(self) -> None:
        """End the process."""
        self._workers.stop()


def file_of(data: bytes, name: str, request: Request, ending: str) -> bytes:
    """Read, plan and write one file anew, as the command line does.

    Raises
    ------
    Unreadable
        As for `analyse` and the writers.
    """
    analysis = analyse(read_document(data, name), request)
    if ending == ".json":
        return json.dumps(map_document(analysis), ensure_ascii=False, indent=1).encode()
    if ending in SCORE_ENDINGS:
        from analyzer.marking.annotate import annotated

        return annotated(analysis.document, marks(analysis.lines))
    from analyzer.report.map.pages import page_file

    return page_file(analysis, ending)


def comparison_of(data: bytes, name: str, horns: tuple[Horn, ...], request: Request) -> dict[str, Any]:
    """Read a score anew and plan it on several horns, as the command line does; return the JSON document.

    Raises
    ------
    Unreadable
        As for `compare`.
    """
    return compare_document(compare(read_document(data, name), horns, request))


def fit_of(data: bytes, name: str, section: dict[str, Any], measures: tuple[str, str] | None,
           tempo_bpm: float | None) -> dict[str, Any]:
    """Read a score anew and fit a section to it, as the command line does; return the answer.

    Raises
    ------
    Unreadable
        As for `section_of` and `fit`.
    """
    return fit_answer(fit(read_document(data, name), section_of(section), measures=measures, tempo_bpm=tempo_bpm))


def fit_page_of(data: bytes, name: str, section: dict[str, Any], measures: tuple[str, str] | None,
                tempo_bpm: float | None) -> bytes:
    """Return the page of the same answer: one HTML file. Raises as `fit_of`."""
    return section_page(fit(read_document(data, name), section_of(section), measures=measures, tempo_bpm=tempo_bpm))


def playable_file(data: bytes, name: str, request: Request, refused: Sequence[Refusal] = ()) -> bytes:
    """Read a score anew and return it with other notes where its own cannot be played, as the command line does.

    Raises
    ------
    Unreadable
        If nothing can be changed, or as for `analyse`.
    """
    document = read_document(data, name)
    changed = ossia(review(analyse(document, request)), Harmony(document), refused)
    if not changed.changes:
        what = "none of the notes that cannot be played has another to take its place" if changed.left \
            else "there is nothing to change: every note can be played"
        raise unreadable("no-change", where=name, what=what, try_="Look at the findings of the review.")
    return repitched(document, changed.by_part(), changed.glides(), changed.marks())


def change_shown(data: bytes, name: str, request: Request, place: str, width_px: int) -> dict[str, str]:
    """Return pictures of the measure of one change, as written and as changed, each with its marks: before, after.

    Raises
    ------
    Unreadable
        If there is no such change, or as for `analyse`.
    """
    document = read_document(data, name)
    analysis = analyse(document, request)
    changed = ossia(review(analysis), Harmony(document))
    change = next((change for change in changed.changes if change.place == place), None)
    if change is None or change.finding.index is None:
        raise unreadable("no-change", where=name, what="there is no such change", try_="Look at the review again.")
    line = next(planned.plan.line for planned in analysis.lines
                if planned.part.id == change.finding.part_id and planned.plan.line.number == change.finding.line)
    index = line.notes[change.finding.index].measure_index
    after = read_document(repitched(document, changed.by_part(), changed.glides(), changed.marks()), name)
    return {when: engrave(engraving_copy(shown.document, change.finding.part_id, tuple(marks(shown.lines)),
                                         measures=(index, index)), width_px)[0]
            for when, shown in (("before", analysis), ("after", analyse(after, request)))}


def take_home_file(data: bytes, name: str, request: Request, line: int) -> bytes:
    """Read a score anew and return the page of one line that a student takes home. Raises as `take_home`."""
    from analyzer.report.take_home.page import take_home

    return take_home(read_document(data, name), request, line=line)[0]


def practice_file(data: bytes, name: str, request: Request) -> bytes:
    """Read a score anew and return a practice sheet of the part's hard moves as PDF. Raises as `drills_for`."""
    from analyzer.practice.drills import drills_for
    from analyzer.report.drill.file import sheet_content

    return sheet_content(drills_for(read_document(data, name), request), (), ".pdf", "a4")


def chart_of(horn: str) -> bytes:
    """Return the wall chart of a horn as PDF."""
    from analyzer.report.chart.page import chart_file

    return chart_file(load_horn(horn), ".pdf")


def midi_file(
    data: bytes, name: str, part_id: str, measures: tuple[str, str] | None, tempo_bpm: float | None,
) -> bytes:
    """Read a score anew and return one part, or some measures of it, at sounding pitch as a MIDI file.

    `tempo_bpm` holds in place of the score's own tempi. [quarter notes a minute]

    Raises
    ------
    Unreadable
        If the measures are not there.
    ValueError
        If the part has no music.
    """
    from analyzer.engrave.engrave import midi_of

    document = read_document(data, name)
    span = None
    if measures:
        part = next(part for part in find_parts(document)[0] if part.id == part_id)
        cut = between(part_lines(document, part)[0][0], *measures, name=name).measures
        span = (cut[0].index, cut[-1].index)
    return midi_of(document, part_id, measures=span, tempo_bpm=tempo_bpm)

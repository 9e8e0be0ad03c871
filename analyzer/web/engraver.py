"""Engraving and files in processes of their own: the engraver holds the interpreter's lock while it works."""

import asyncio
import contextlib
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from functools import lru_cache
from multiprocessing import get_context, parent_process
from typing import TYPE_CHECKING, TypeVar

from analyzer.analysis import Request, analyse
from analyzer.engrave.copy import Copy
from analyzer.engrave.options import PageOptions
from analyzer.marking.which import marks
from analyzer.problem import unreadable
from analyzer.report.map.document import map_document
from analyzer.score.document import SCORE_ENDINGS, read_document

if TYPE_CHECKING:
    from analyzer.engrave.layout import Engraving

_Result = TypeVar("_Result")
ID_PREFIX = "music-"
_WIDEST_PX = 6000
"""Wider pictures are not tried, to hold long music in one: at twice a laptop's width it is too small to read."""
ENDINGS = (*SCORE_ENDINGS, ".pdf", ".html", ".json")
TIME_LIMIT_S = 120.0
"""Longest time for one piece of work; judged: the longest real score takes about a tenth of it."""


def engrave(copy: Copy, width_px: int) -> "tuple[str, Engraving]":
    """Return one long picture of an engraving copy, and where its notes stand, for `new_layers`.

    The picture is without fonts (they come once, by `font_sheet`). A worker remembers the last engravings: the same
    music with other marks is drawn at once.
    """
    from analyzer.engrave.engrave import pages_with, places_of

    engraving = _in_one_picture(copy, width_px)
    return pages_with(engraving, copy)[0], places_of(engraving)


def _in_one_picture(copy: Copy, width_px: int) -> "Engraving":
    """Engrave for a screen; music longer than the engraver's longest page is set wider, so that it looks smaller."""
    from analyzer.engrave.engrave import engraved

    while True:
        options = PageOptions(paper="screen", width_px=width_px, id_prefix=ID_PREFIX, embed_fonts=False)
        engraving = engraved(copy, options, lay_out=_remembered)
        if len(engraving.sheets) == 1 or width_px > _WIDEST_PX:
            return engraving
        width_px = width_px * 3 // 2


def _remembered(copy: Copy, options: PageOptions, rows: int, step: int) -> "Engraving":
    """Engrave music as `laid_out`, or return what was made of it before; the marks play no part."""
    return _laid_out(replace(copy, marks=()), options, rows, step)


@lru_cache(maxsize=4)
def _laid_out(copy: Copy, options: PageOptions, rows: int, step: int) -> "Engraving":
    from analyzer.engrave.layout import laid_out

    return laid_out(copy, options, rows, step)


def font_sheet() -> str:
    """Return the style sheet with the faces that pictures ask for."""
    from analyzer.engrave.fonts import style_sheet

    text = "".join(map(chr, (*range(0x20, 0x180), *range(0x2010, 0x2045), 0x2190, 0x2192, 0x2212)))
    signs = "♭♮♯" + "".join(map(chr, range(0xE000, 0xF400)))
    return style_sheet({"regular": text, "bold": text, "italic": text, "bold-italic": text, "music": signs})


def file_of(data: bytes, name: str, request: Request, ending: str) -> bytes:
    """Read, plan and write one file anew, as the command line does.

    Raises
    ------
    Unreadable
        As for `analyse` and the writers.
    """
    import json

    analysis = analyse(read_document(data, name), request)
    if ending == ".json":
        return json.dumps(map_document(analysis), ensure_ascii=False, indent=1).encode()
    if ending in SCORE_ENDINGS:
        from analyzer.marking.annotate import annotated

        return annotated(analysis.document, marks(analysis.lines))
    from analyzer.report.map.pages import page_file

    return page_file(analysis, ending)


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
def _interrupts_ignored() -> Iterator[None]:
    """Start processes that ignore Ctrl-C from their first moment on."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class Engraver:
    """A few worker processes. A worker that dies or takes too long costs one piece of work, not the page."""

    def __init__(self, *, workers: int = 2, time_limit_s: float = TIME_LIMIT_S) -> None:
        self._workers = workers
        self._time_limit_s = time_limit_s
        self._pool: ProcessPoolExecutor | None = None

    def start(self) -> None:
        """Start the processes, so that the first picture does not wait for them."""
        with _interrupts_ignored():
            if self._pool is None:
                self._pool = ProcessPoolExecutor(self._workers, mp_context=get_context("spawn"),
                                                 initializer=_start_worker)
            self._pool.submit(os.getpid)

    async def run(self, work: Callable[..., _Result], *arguments: object) -> _Result:
        """Do `work` in a process.

        Raises
        ------
        Unreadable
            If the process died or the work took too long.
        """
        if self._pool is not None and getattr(self._pool, "_broken", False):
            # A worker died while nobody waited for it: that costs nothing but a new one.
            self._drop(self._pool)
        self.start()
        assert self._pool is not None
        pool = self._pool
        try:
            with _interrupts_ignored():
                future = pool.submit(work, *arguments)
            return await asyncio.wait_for(asyncio.wrap_future(future), self._time_limit_s)
        except BrokenProcessPool:
            self._drop(pool)
            raise unreadable("engraver", where="engraving", what="the work broke off", try_="Try it once more; if it "
                             "breaks off again, ask for fewer measures.") from None
        except TimeoutError:
            self._drop(pool)
            raise unreadable("engraver", where="engraving", what="the work took too long and was stopped",
                             try_="Ask for fewer measures.") from None

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

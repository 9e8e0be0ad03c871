"""Long work in a process of its own, one piece at a time; it ends when the page that asked gives it up."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, TypeVar

from analyzer.analysis import Request, analyse
from analyzer.marking.ossia import repitched
from analyzer.problem import unreadable
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.page import section_page
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import Refusal, ossia
from analyzer.score.document import read_document
from analyzer.score.parts import find_parts
from analyzer.section.fit import fit
from analyzer.selection import between, part_lines
from analyzer.web.engraver import Engraver
from analyzer.web.forms import section_of
from analyzer.web.replies import RefusedError

_Result = TypeVar("_Result")
_LOOK_S = 0.2                          # how often it is asked whether the page still waits
ERRANDS_WAITING = 20
"""So many pieces of long work may wait; judged: one person asks for a few."""


class Errands:
    """One worker process for long work. Giving up stops it, so that the next piece starts at once in a new one."""

    def __init__(self, worker: Engraver | None = None) -> None:
        self._worker = worker or Engraver(workers=1)
        self._turn = asyncio.Lock()
        self._waiting = 0

    async def run(self, gone: Callable[[], Awaitable[bool]], work: Callable[..., _Result], *arguments: object,
                  ) -> _Result:
        """Do `work` in the process; `gone` tells whether nobody waits for it any more.

        Raises
        ------
        RefusedError
            If too many wait already, or nobody waits for this.
        Unreadable
            If the work says so, its process died, or it took too long.
        """
        if self._waiting >= ERRANDS_WAITING:
            raise RefusedError(503, "Too much work at once. Wait a moment and try again.")
        self._waiting += 1
        try:
            async with self._turn:
                if await gone():
                    raise RefusedError(499, "Nobody waits for this any more.")
                return await self._watched(gone, work, *arguments)
        finally:
            self._waiting -= 1

    async def _watched(self, gone: Callable[[], Awaitable[bool]], work: Callable[..., _Result], *arguments: object,
                       ) -> _Result:
        task = asyncio.ensure_future(self._worker.run(work, *arguments))
        while not (await asyncio.wait({task}, timeout=_LOOK_S))[0]:
            if await gone():
                task.cancel()
                self._worker.stop()
                raise RefusedError(499, "Nobody waits for this any more.")
        return task.result()

    def stop(self) -> None:
        """End the process."""
        self._worker.stop()


def fit_of(data: bytes, name: str, section: dict[str, Any], measures: tuple[str, str] | None,
           tempo_bpm: float | None) -> dict[str, Any]:
    """Read a score anew and fit a section to it, as the command line does; return its JSON document.

    Raises
    ------
    Unreadable
        As for `section_of` and `fit`.
    """
    return fit_document(fit(read_document(data, name), section_of(section), measures=measures, tempo_bpm=tempo_bpm))


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
        part = next(one for one in find_parts(document)[0] if one.id == part_id)
        cut = between(part_lines(document, part)[0][0], *measures, name=name).measures
        span = (cut[0].index, cut[-1].index)
    return midi_of(document, part_id, measures=span, tempo_bpm=tempo_bpm)

"""What one running page holds, and how a question finds its score."""

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from analyzer.problem import Unreadable
from analyzer.web.answers import open_score
from analyzer.web.asked import Asked, read_asked, read_json
from analyzer.web.engraver import font_sheet
from analyzer.web.hearings import Hearings
from analyzer.web.memory import Memory
from analyzer.web.own_horns import OwnHorns
from analyzer.web.scores import OpenScore, OpenScores, new_id
from analyzer.web.security import MAX_QUESTION_BYTES, RefusedError
from analyzer.web.shelf import Shelf
from analyzer.web.state import at_work
from analyzer.web.sweeps import Sweeps
from analyzer.web.workers import Jobs, Workers

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_Found = TypeVar("_Found")
UPLOADS_AT_ONCE = 2
"""How many uploads are held in memory at the same time; the others wait in their sockets."""
PLAN_LIMIT_S, PLAN_LIMIT_MIB = 20.0, 1024
"""Longest time and most memory of what is asked of an open score; judged: an opera's trombone takes about a quarter."""
ASKING = 200
"""So many questions may wait at a planner; judged: a person asks for a few, a class on one computer for dozens."""
_PATIENCE_S = 1.0
"""A planner that nobody waits for any more is let go on so long; a new one takes about as long to be as useful."""


class Page:
    """Everything that one running page holds: open scores, worker processes, the queue of uploads."""

    def __init__(self, engravers: tuple[Workers, ...] = (), scores: OpenScores | None = None,
                 samples: Path | None = None, jobs: Jobs | None = None, memory: Memory | None = None,
                 planners: tuple[Jobs, ...] = ()) -> None:
        self.engravers = engravers or tuple(Workers(modules=("verovio",)) for _ in range(2))
        self.planners = planners or tuple(
            Jobs(Workers(time_limit_s=PLAN_LIMIT_S, memory_limit_mib=PLAN_LIMIT_MIB, modules=("analyzer.web.answers",)),
                 most_waiting=ASKING, patience_s=_PATIENCE_S) for _ in range(2))
        self.jobs = jobs or Jobs()
        self.scores = OpenScores() if scores is None else scores
        self.samples = samples
        self.memory = memory or Memory(None)
        self.own = OwnHorns(self.memory)
        self.shelf = Shelf()
        self.sweeps = Sweeps()
        self.hearings = Hearings()
        self.uploads = asyncio.Semaphore(UPLOADS_AT_ONCE)
        self.waiting = 0
        self.reading = 0
        self.most_reading = 0          # how many uploads were held at once at most, for the tests
        self._fonts: str | None = None
        self._fonts_lock = asyncio.Lock()

    def start(self) -> None:
        """Start the processes that are needed at once."""
        for engraver in self.engravers:
            engraver.start()
        for planner in self.planners:
            planner.start()

    def stop(self) -> None:
        """End all processes."""
        for engraver in self.engravers:
            engraver.stop()
        for jobs in (*self.planners, self.jobs):
            jobs.stop()
        self.own.end()
        self.sweeps.stop()
        self.shelf.clear()
        self.hearings.clear()

    def engraver_of(self, score: OpenScore) -> Workers:
        """Return the engraver that serves a score: always the same one, which remembers its pictures."""
        return self.engravers[_nth(score.id, len(self.engravers))]

    def planner_of(self, score_id: str) -> Jobs:
        """Return the planner that serves a score: always the same one, which keeps its tree and its plans."""
        return self.planners[_nth(score_id, len(self.planners))]

    async def open_score(self, request: "Request", data: bytes, name: str) -> tuple[OpenScore, dict[str, Any]]:
        """Open a score's bytes; return it, and what the page says of it."""
        score_id = new_id()
        found = await self.planner_of(score_id).run(request.is_disconnected, open_score, score_id, data, name)
        source = (found.source_ending, data) if found.source_ending else None
        return self.scores.add(OpenScore(found.facts, found.ending, found.xml or data, source)), found.told

    async def work(self, request: "Request", score: OpenScore, work: Callable[..., _Found], *arguments: object,
                   ) -> _Found:
        """Return what ``work(session, *arguments)`` answers in the planner's process that has the score.

        Raises
        ------
        RefusedError
            If nobody waits for the answer any more: then it is stopped.
        Unreadable
            If the work says so, or met a limit.
        """
        planner, gone = self.planner_of(score.id), request.is_disconnected
        known, found = await planner.run(gone, at_work, score.facts, None, work, *arguments)
        if not known:
            _, found = await planner.run(gone, at_work, score.facts, score.packed, work, *arguments)
        return cast(_Found, found)

    async def asked(self, request: "Request") -> tuple[Asked, OpenScore]:
        """Read a question about an open score, and find the score."""
        given, score = await self.question(request)
        return self.read(given), score

    def read(self, given: dict[str, Any]) -> Asked:
        """Read a question, with the horns of one's own."""
        return read_asked(given, self.own.path)

    async def question(self, request: "Request") -> tuple[dict[str, Any], OpenScore]:
        """Read what a page sent about an open score, unread yet, and find the score.

        Raises
        ------
        RefusedError
            If the score is no longer open.
        """
        given = await read_json(request, MAX_QUESTION_BYTES)
        return given, self.score_of(given)

    def score_of(self, given: dict[str, Any]) -> OpenScore:
        """Return the open score of a question. Raises as `question`."""
        score = self.scores.get(given.get("session"))
        if score is None:
            raise RefusedError(404, "This score is no longer open here. Choose its file again; your choices are kept.")
        return score

    async def fonts(self, request: "Request") -> "Response":
        """Give the faces of the music; cut once."""
        from starlette.responses import Response

        async with self._fonts_lock:
            if self._fonts is None:
                try:
                    self._fonts = await self.engravers[0].run(font_sheet)
                except (ModuleNotFoundError, Unreadable):
                    return Response("", media_type="text/css")
        return Response(self._fonts, media_type="text/css")


def _nth(score_id: str, count: int) -> int:
    return sum(score_id.encode()) % count


def stem(score: OpenScore) -> str:
    """Return the name of a score's file without its ending."""
    return Path(score.name).stem or "score"

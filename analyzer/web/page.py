"""What one running page holds, and how a question finds its score."""

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyzer.problem import Unreadable
from analyzer.web.asked import Asked, read_asked, read_json
from analyzer.web.engraver import font_sheet
from analyzer.web.jobs import Jobs, Workers
from analyzer.web.memory import Memory
from analyzer.web.own_horns import OwnHorns
from analyzer.web.security import MAX_QUESTION_BYTES, RefusedError
from analyzer.web.shelf import Shelf
from analyzer.web.state import Session, Sessions
from analyzer.web.sweeps import Sweeps

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

UPLOADS_AT_ONCE = 2
"""How many uploads are held in memory at the same time; the others wait in their sockets."""


class Page:
    """Everything that one running page holds: open scores, worker processes, the queue of uploads."""

    def __init__(self, engravers: tuple[Workers, ...] = (), sessions: Sessions | None = None,
                 samples: Path | None = None, jobs: Jobs | None = None, memory: Memory | None = None) -> None:
        self.engravers = engravers or (Workers(count=1), Workers(count=1))
        self.jobs = jobs or Jobs()
        self.sessions = Sessions() if sessions is None else sessions
        self.samples = samples
        self.memory = memory or Memory(None)
        self.own = OwnHorns(self.memory)
        self.shelf = Shelf()
        self.sweeps = Sweeps()
        self.uploads = asyncio.Semaphore(UPLOADS_AT_ONCE)
        self.waiting = 0
        self.reading = 0
        self.most_reading = 0          # how many uploads were held at once at most, for the tests
        self._fonts: str | None = None
        self._fonts_lock = asyncio.Lock()

    def engraver_of(self, session: Session) -> Workers:
        """Return the engraver that serves a score: always the same one, which remembers its pictures."""
        return self.engravers[sum(session.id.encode()) % len(self.engravers)]

    async def asked(self, request: "Request") -> tuple[Asked, Session]:
        """Read a question about an open score, and find the score."""
        given, session = await self.question(request)
        return self.read(given), session

    def read(self, given: dict[str, Any]) -> Asked:
        """Read a question, with the horns of one's own."""
        return read_asked(given, self.own.path)

    async def question(self, request: "Request") -> tuple[dict[str, Any], Session]:
        """Read what a page sent about an open score, unread yet, and find the score.

        Raises
        ------
        RefusedError
            If the score is no longer open.
        """
        given = await read_json(request, MAX_QUESTION_BYTES)
        session = self.sessions.get(given.get("session"))
        if session is None:
            raise RefusedError(404, "This score is no longer open here. Choose its file again; your pins are kept.")
        if not session.awake:
            await asyncio.to_thread(lambda: session.document)
        return given, session

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


def stem(session: Session) -> str:
    """Return the name of a score's file without its ending."""
    return Path(session.name).stem or "score"

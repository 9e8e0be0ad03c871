"""The routes of the local page: its few fixed files, and what it asks under ``/api/``."""

import asyncio
import json
import re
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from analyzer.problem import Unreadable, unreadable
from analyzer.score.document import read_document
from analyzer.web.asked import Asked, read_asked
from analyzer.web.engraver import ENDINGS, Engraver, engrave, file_of, font_sheet
from analyzer.web.samples import sample_names, sample_path
from analyzer.web.security import MAX_QUESTION_BYTES, MAX_UPLOAD_BYTES, App, Guard
from analyzer.web.sessions import Session, Sessions
from analyzer.web.work import (
    analysis_for,
    answer,
    ceilings,
    copy_for,
    horns,
    parts_of,
    pictures_for,
    request_pins,
)

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

STATIC = Path(__file__).parent / "static"
FILES = {
    "/": ("page.html", "text/html"), "/page.css": ("page.css", "text/css"), "/page.js": ("page.js", "text/javascript"),
    "/music.js": ("music.js", "text/javascript"), "/pieces.js": ("pieces.js", "text/javascript"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}
UPLOADS_AT_ONCE = 2
"""How many uploads are held in memory at the same time; the others wait in their sockets."""
UPLOADS_WAITING = 100
UPLOAD_TIME_S = 60.0
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]")

Handler = Callable[["Request"], Awaitable["Response"]]


class RefusedError(Exception):
    """A body is longer than it may be, or did not come in time."""

    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status


class Page:
    """Everything that one running page holds: open scores, worker processes, the queue of uploads."""

    def __init__(self, engraver: Engraver | None = None, sessions: Sessions | None = None,
                 samples: Path | None = None) -> None:
        self.engraver = engraver or Engraver()
        self.sessions = Sessions() if sessions is None else sessions
        self.samples = samples
        self._uploads = asyncio.Semaphore(UPLOADS_AT_ONCE)
        self._waiting = 0
        self._reading = 0
        self.most_reading = 0          # how many uploads were held at once at most, for the tests
        self._fonts: str | None = None
        self._fonts_lock = asyncio.Lock()

    async def start(self, request: "Request") -> "Response":
        """Say what the page needs to begin: samples, horns, ceilings."""
        return _json({"samples": sample_names(self.samples), "horns": horns(), "ceilings": ceilings(),
                      "limit_mib": MAX_UPLOAD_BYTES // 2**20})

    async def open(self, request: "Request") -> "Response":
        """Open an uploaded score (the body is the file) or a sample."""
        sample = request.query_params.get("sample")
        if sample is not None:
            path = sample_path(self.samples, sample)
            return await self._opened(await asyncio.to_thread(path.read_bytes), path.name)
        if self._waiting >= UPLOADS_WAITING:
            raise RefusedError(503, "Too many files at once. Wait a moment and try again.")
        self._waiting += 1
        try:
            async with self._uploads:
                self._reading += 1
                self.most_reading = max(self.most_reading, self._reading)
                try:
                    data = await _body(request, MAX_UPLOAD_BYTES)
                    return await self._opened(data, file_name(request.headers.get("x-file-name", "")))
                finally:
                    self._reading -= 1
        finally:
            self._waiting -= 1

    async def _opened(self, data: bytes, name: str) -> "Response":
        document = await asyncio.to_thread(read_document, data, name)
        session = self.sessions.add(document, data)
        parts = await asyncio.to_thread(parts_of, document)
        return _json({"session": session.id, "file": name, "title": document.title, "parts": parts,
                      "compressed": document.archive is not None})

    async def plan(self, request: "Request") -> "Response":
        """Answer a question: the plan of a line, quickly; music and pictures are asked for apart."""
        asked, session = await self._asked(request)
        async with session.lock:
            return _json(await asyncio.to_thread(answer, session, asked))

    async def music(self, request: "Request") -> "Response":
        """Engrave what `plan` answered."""
        asked, session = await self._asked(request)
        async with session.lock:
            copy = await asyncio.to_thread(copy_for, session, asked)
        try:
            return _json({"svg": await self.engraver.run(engrave, copy, asked.width_px)})
        except (ValueError, ModuleNotFoundError) as error:
            raise _no_picture(error, session.document.name) from None

    async def pictures(self, request: "Request") -> "Response":
        """Draw how slide or valves move in what `plan` answered."""
        asked, session = await self._asked(request)
        async with session.lock:
            return _json({"pictures": await asyncio.to_thread(pictures_for, session, asked)})

    async def file(self, request: "Request") -> "Response":
        """Write a file of the asked part, with the pins, all its lines."""
        from starlette.responses import Response

        given, session = await self._question(request)
        asked = read_asked(given)
        ending = given.get("ending")
        if ending == "score":
            ending = ".mxl" if session.document.archive is not None else ".musicxml"
        if ending not in ENDINGS:
            raise unreadable("bad-question", where="download", what="there is no such form of file",
                             try_=f"The forms are {', '.join(ENDINGS)}.")
        async with session.lock:
            analysis = await asyncio.to_thread(analysis_for, session, asked)
            pins = request_pins(analysis, asked.pins)
        try:
            content = await self.engraver.run(file_of, session.data, session.document.name, asked.request(pins),
                                              ending)
        except (ValueError, ModuleNotFoundError) as error:
            raise _no_picture(error, session.document.name) from None
        stem = Path(session.document.name).stem or "score"
        return Response(content, media_type="application/octet-stream", headers={
            "content-disposition": f"attachment; filename*=UTF-8''{quote(f'{stem}-marked{ending}')}"})

    async def _asked(self, request: "Request") -> tuple[Asked, Session]:
        given, session = await self._question(request)
        return read_asked(given), session

    async def _question(self, request: "Request") -> tuple[dict[str, Any], Session]:
        body = await _body(request, MAX_QUESTION_BYTES)
        try:
            given = json.loads(body)
        except (ValueError, RecursionError):
            given = None
        if not isinstance(given, dict):
            raise unreadable("bad-question", where="the question", what="is no JSON object",
                             try_="Load the page again.")
        session = self.sessions.get(given.get("session"))
        if session is None:
            raise RefusedError(404, "This score is no longer open here. Choose its file again; your pins are kept.")
        return given, session

    async def fonts(self, request: "Request") -> "Response":
        """Give the faces of the music; cut once."""
        from starlette.responses import Response

        async with self._fonts_lock:
            if self._fonts is None:
                try:
                    self._fonts = await self.engraver.run(font_sheet)
                except (ModuleNotFoundError, Unreadable):
                    return Response("", media_type="text/css")
        return Response(self._fonts, media_type="text/css")


def build(token: str, hosts: tuple[str, ...], page: Page) -> App:
    """Return the whole application, guarded."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    @asynccontextmanager
    async def lifespan(app: Starlette) -> Any:
        page.engraver.start()
        yield
        page.engraver.stop()

    async def static(request: Request) -> Response:
        name, kind = FILES[request.url.path]
        return Response((STATIC / name).read_bytes(), media_type=kind)

    async def on_unreadable(request: Request, error: Exception) -> Response:
        assert isinstance(error, Unreadable)
        return _json({"line": error.problem.line(), "problem": error.problem.as_json()}, 400)

    async def on_too_much(request: Request, error: Exception) -> Response:
        assert isinstance(error, RefusedError)
        return _json({"line": str(error)}, error.status)

    async def on_error(request: Request, error: Exception) -> Response:
        return _json({"line": "Something went wrong here that should not. Try again; if it stays so, load the page "
                              "anew."}, 500)

    routes = [
        *(Route(path, static, methods=["GET"]) for path in FILES),
        Route("/fonts.css", page.fonts, methods=["GET"]),
        Route("/api/start", page.start, methods=["GET"]),
        Route("/api/open", page.open, methods=["POST"]),
        Route("/api/plan", page.plan, methods=["POST"]),
        Route("/api/music", page.music, methods=["POST"]),
        Route("/api/pictures", page.pictures, methods=["POST"]),
        Route("/api/file", page.file, methods=["POST"]),
    ]
    app = Starlette(routes=routes, lifespan=lifespan, exception_handlers={
        Unreadable: on_unreadable, RefusedError: on_too_much, Exception: on_error})
    return Guard(app, token=token, hosts=hosts)


def file_name(header: str) -> str:
    """Return a plain file name from what the browser sent: its last part, without control signs, not too long.

    Examples
    --------
    >>> file_name("..%2F..%2Fetc%2Fpasswd")
    'passwd'
    """
    name = _CONTROL.sub("", unquote(header, errors="replace")).replace("\\", "/").rsplit("/", 1)[-1].strip()
    if name in ("", ".", ".."):
        return "score"
    return name if len(name) <= 120 else f"{name[:100]}…{name[-15:]}"


async def _body(request: "Request", most: int) -> bytes:
    from starlette.requests import ClientDisconnect

    pieces: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(UPLOAD_TIME_S):
            async for piece in request.stream():
                size += len(piece)
                if size > most:
                    raise RefusedError(413, f"That is more than {most // 2**20} MiB, more than is needed here. Export "
                                            "only the low-brass parts, or split the score.")
                pieces.append(piece)
    except TimeoutError:
        raise RefusedError(408, "The file did not arrive in time. Try again.") from None
    except ClientDisconnect:
        raise RefusedError(400, "The connection broke off.") from None
    return b"".join(pieces)


def _json(content: dict[str, Any], status: int = 200) -> "Response":
    from starlette.responses import Response

    return Response(json.dumps(content, ensure_ascii=False, separators=(",", ":")), status_code=status,
                    media_type="application/json")


def _no_picture(error: Exception, name: str) -> Unreadable:
    if isinstance(error, ModuleNotFoundError):
        return unreadable("missing-extra", where=name, what=f"the picture needs {error.name}, which is not installed",
                          try_="Install the extra: pip install 'lowbrass[engrave]'.")
    return unreadable("cannot-engrave", where=name, what=f"the music cannot be engraved: {error}",
                      try_="The choices are listed as text all the same.")

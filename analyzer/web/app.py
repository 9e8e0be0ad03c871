"""The routes of the local page: its few fixed files, and what it asks under ``/api/``."""

import asyncio
import json
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from analyzer.problem import Unreadable, unreadable
from analyzer.report.plain import plain_line
from analyzer.score.document import read_score
from analyzer.web.answers import (
    answer_since,
    ceilings,
    copy_for,
    horns,
    notice_of,
    parts_of,
    pictures_for,
    review_for,
    sound_for,
)
from analyzer.web.asked import (
    Asked,
    file_name,
    read_asked,
    read_body,
    read_horns,
    read_json,
    read_refusals,
    read_standing,
    read_text,
)
from analyzer.web.engraver import engrave, font_sheet, no_picture
from analyzer.web.forms import (
    MAX_TOML_BYTES,
    Mistake,
    check_form,
    pins_text,
    player_text,
    read_pins,
    read_player_file,
    read_section_file,
    sample_section,
    section_text,
)
from analyzer.web.jobs import (
    ENDINGS,
    Jobs,
    Workers,
    change_shown,
    chart_of,
    comparison_of,
    file_of,
    fit_of,
    fit_page_of,
    midi_file,
    playable_file,
    practice_file,
    take_home_file,
)
from analyzer.web.memory import MOST_SETTINGS_BYTES, Memory
from analyzer.web.security import MAX_QUESTION_BYTES, MAX_UPLOAD_BYTES, App, Guard, RefusedError
from analyzer.web.state import Session, Sessions, analysis_for, request_pins, sample_names, sample_path

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_TAKEN = {"take-home": "-take-home.html", "practice": "-practice.pdf", "chart": "-chart.pdf"}
"""What can be taken along beside the part itself: its name in a question, and how its file ends."""
_PREVIEW_PX = 420
STATIC = Path(__file__).parent / "static"
_KINDS = {".css": "text/css", ".html": "text/html", ".js": "text/javascript", ".svg": "image/svg+xml"}
_NAMES = ("page.css", "views.css", "page.js", "doors.js", "state.js", "pieces.js", "music.js", "choices.js",
          "pins.js", "settings.js", "review.js", "compare.js", "section.js", "play.js", "sound.js", "engine.js",
          "slide.js", "icon.svg")
FILES = {"/": ("page.html", "text/html"), **{f"/{name}": (name, _KINDS[Path(name).suffix]) for name in _NAMES}}
"""What may be fetched without the token: path to file and kind."""
UPLOADS_AT_ONCE = 2
"""How many uploads are held in memory at the same time; the others wait in their sockets."""
UPLOADS_WAITING = 100
"""So many uploads may wait; judged: one person drops a folder at most, anything above is no person."""


class Page:
    """Everything that one running page holds: open scores, worker processes, the queue of uploads."""

    def __init__(self, engravers: tuple[Workers, ...] = (), sessions: Sessions | None = None,
                 samples: Path | None = None, jobs: Jobs | None = None, memory: Memory | None = None) -> None:
        self.engravers = engravers or (Workers(count=1), Workers(count=1))
        self.jobs = jobs or Jobs()
        self.sessions = Sessions() if sessions is None else sessions
        self.samples = samples
        self.memory = memory or Memory(None)
        self._uploads = asyncio.Semaphore(UPLOADS_AT_ONCE)
        self._waiting = 0
        self._reading = 0
        self.most_reading = 0          # how many uploads were held at once at most, for the tests
        self._fonts: str | None = None
        self._fonts_lock = asyncio.Lock()

    async def start(self, request: "Request") -> "Response":
        """Say what the page needs to begin: samples, horns, ceilings."""
        return json_reply({"samples": sample_names(self.samples), "horns": horns(), "ceilings": ceilings(),
                           "limit_mib": MAX_UPLOAD_BYTES // 2**20, "section": sample_section(self.samples),
                           "memory": await asyncio.to_thread(self.memory.all)})

    async def open(self, request: "Request") -> "Response":
        """Open an uploaded score (the body is the file), a sample, or one that is kept on this computer."""
        sample, kept = request.query_params.get("sample"), request.query_params.get("kept")
        keeping = request.query_params.get("keep") != "no"
        if sample is not None:
            path = sample_path(self.samples, sample)
            return await self._opened(await asyncio.to_thread(path.read_bytes), path.name, keeping)
        if kept is not None:
            found = await asyncio.to_thread(self.memory.score, kept)
            if found is None:
                raise RefusedError(410, "This score is no longer kept here. Choose its file again.")
            return await self._opened(found[0], found[1]["name"], True, found[1]["settings"])
        if self._waiting >= UPLOADS_WAITING:
            raise RefusedError(503, "Too many files at once. Wait a moment and try again.")
        self._waiting += 1
        try:
            async with self._uploads:
                self._reading += 1
                self.most_reading = max(self.most_reading, self._reading)
                try:
                    data = await read_body(request, MAX_UPLOAD_BYTES)
                    return await self._opened(data, file_name(request.headers.get("x-file-name", "")), keeping)
                finally:
                    self._reading -= 1
        finally:
            self._waiting -= 1

    async def _opened(self, data: bytes, name: str, keeping: bool,
                      settings: dict[str, Any] | None = None) -> "Response":
        document = await asyncio.to_thread(read_score, data, name)
        # A score of another form is kept as the MusicXML that it became, so that it is turned only once.
        session = self.sessions.add(document, data if document.xml == data or document.archive else document.xml)
        parts = await asyncio.to_thread(parts_of, document)
        notice = await asyncio.to_thread(notice_of, document)
        kept = None
        if keeping:
            kept = await asyncio.to_thread(self.memory.keep, data, name, document.title or "")
            known = await asyncio.to_thread(self.memory.score, kept) if kept else None
            settings = known[1]["settings"] if known else settings
        return json_reply({"session": session.id, "file": name, "title": document.title, "parts": parts,
                           "notice": notice, "compressed": document.archive is not None, "kept": kept,
                           "settings": settings})

    async def remember(self, request: "Request") -> "Response":
        """Keep what is set and pinned for a kept score, or the desk: section, players, how the page looks."""
        given = await read_json(request, MOST_SETTINGS_BYTES)
        kept, settings, desk = given.get("kept"), given.get("settings"), given.get("desk")
        done = False
        if isinstance(kept, str) and isinstance(settings, dict):
            done = await asyncio.to_thread(self.memory.settle, kept, settings)
        elif isinstance(desk, dict):
            done = await asyncio.to_thread(self.memory.keep_desk, desk)
        return json_reply({"kept": done})

    async def forget(self, request: "Request") -> "Response":
        """Take away a kept score or everything, or put back what was taken away last; say what is kept now."""
        given = await read_json(request, MAX_QUESTION_BYTES)
        kept = given.get("kept")
        if given.get("back") is True:
            await asyncio.to_thread(self.memory.put_back)
            return json_reply(await asyncio.to_thread(self.memory.all))
        try:
            await asyncio.to_thread(*((self.memory.forget, kept) if isinstance(kept, str) else
                                      (self.memory.forget_all,)))
        except OSError as error:
            raise RefusedError(500, f"Something could not be taken away from {self.memory.folder} "
                                    f"({error.strerror}). Take that folder away by hand.") from None
        return json_reply(await asyncio.to_thread(self.memory.all))

    async def plan(self, request: "Request") -> "Response":
        """Answer a question: the plan of a line, quickly; music and pictures are asked for apart.

        Where the page tells what stands on it, the answer is what is new since, with new marks for its picture.
        """
        given, session = await self.question(request)
        asked, standing = read_asked(given), read_standing(given)
        async with session.lock:
            found, times = await asyncio.to_thread(answer_since, session, asked, standing)
        return json_reply(found, headers={"server-timing": times})

    async def music(self, request: "Request") -> "Response":
        """Engrave what `plan` answered; the picture's name is for the next question."""
        asked, session = await self.asked(request)
        async with session.lock:
            copy = await asyncio.to_thread(copy_for, session, asked)
        try:
            svg, places = await self.engraver_of(session).run(engrave, copy, asked.width_px)
        except (ValueError, ModuleNotFoundError) as error:
            raise no_picture(error, session.name) from None
        return json_reply({"svg": svg, "picture": session.drawn(places)})

    def engraver_of(self, session: Session) -> Workers:
        """Return the engraver that serves a score: always the same one, which remembers its pictures."""
        return self.engravers[sum(session.id.encode()) % len(self.engravers)]

    async def pictures(self, request: "Request") -> "Response":
        """Draw how slide or valves move in what `plan` answered."""
        asked, session = await self.asked(request)
        async with session.lock:
            return json_reply({"pictures": await asyncio.to_thread(pictures_for, session, asked)})

    async def file(self, request: "Request") -> "Response":
        """Write a file of the asked part, with the pins, all its lines."""
        given, session = await self.question(request)
        asked = read_asked(given)
        ending, name = given.get("ending"), session.name
        if ending == "score":
            ending = session.ending
        if ending not in (*ENDINGS, ".mid", *_TAKEN):
            raise unreadable("bad-question", where="download", what="there is no such form of file",
                             try_=f"The forms are {', '.join((*ENDINGS, '.mid', *_TAKEN))}.")
        async with session.lock:
            analysis = await asyncio.to_thread(analysis_for, session, asked)
            pins = request_pins(analysis, asked.pins)
        try:
            if ending == "take-home":
                content = await self.jobs.run(request.is_disconnected, take_home_file, session.data, name,
                                              asked.request(pins), asked.line)
            elif ending == "practice":
                content = await self.jobs.run(request.is_disconnected, practice_file, session.data, name,
                                              asked.request())
            elif ending == "chart":
                horn = asked.horn or analysis.lines[0].plan.horn.name
                content = await self.jobs.run(request.is_disconnected, chart_of, horn)
                return file_reply(content, f"{horn}-chart.pdf")
            elif ending == ".mid":
                content = await self.jobs.run(request.is_disconnected, midi_file, session.data, name, asked.part,
                                              asked.measures, asked.tempo_bpm)
            else:
                content = await self.jobs.run(request.is_disconnected, file_of, session.data, name,
                                              asked.request(pins), ending)
        except (ValueError, ModuleNotFoundError) as error:
            raise no_picture(error, name) from None
        end = _TAKEN.get(ending) or f"{'' if ending == '.mid' else '-marked'}{ending}"
        return file_reply(content, f"{_stem(session)}{end}")

    async def sound(self, request: "Request") -> "Response":
        """Say how what `plan` answered sounds, and where slide or valves are at each moment."""
        asked, session = await self.asked(request)
        async with session.lock:
            return json_reply(await asyncio.to_thread(sound_for, session, asked))

    async def review(self, request: "Request") -> "Response":
        """Review the asked part."""
        asked, session = await self.asked(request)
        async with session.lock:
            return json_reply(await asyncio.to_thread(review_for, session, asked))

    async def playable(self, request: "Request") -> "Response":
        """Write the score with notes that can be played, but for the changes that are refused."""
        given, session = await self.question(request)
        content = await self.jobs.run(request.is_disconnected, playable_file, session.data, session.name,
                                      read_asked(given).request(), read_refusals(given))
        return file_reply(content, f"{_stem(session)}-playable{session.ending}")

    async def change(self, request: "Request") -> "Response":
        """Show the measure of one change as written and as changed."""
        given, session = await self.question(request)
        place, asked = given.get("place"), read_asked(given)
        return json_reply(await self.jobs.run(request.is_disconnected, change_shown, session.data, session.name,
                                              asked.request(), str(place)[:120], _PREVIEW_PX))

    async def apply(self, request: "Request") -> "Response":
        """Open the score with the changes that are not refused; the one as written stays open too."""
        given, session = await self.question(request)
        content = await self.jobs.run(request.is_disconnected, playable_file, session.data, session.name,
                                      read_asked(given).request(), read_refusals(given))
        return await self._opened(content, f"{_stem(session)}-playable{session.ending}", given.get("keep") is not False)

    async def compare(self, request: "Request") -> "Response":
        """Plan the asked part on several horns."""
        given, session = await self.question(request)
        asked, named = read_asked(given), read_horns(given)
        return json_reply(await self.jobs.run(request.is_disconnected, comparison_of, session.data, session.name, named,
                                              asked.request()))

    async def fit(self, request: "Request") -> "Response":
        """Fit a section to the score; the answer itself, or as a page to keep."""
        given, session = await self.question(request)
        section, asked = given.pop("section", None), read_asked(given)
        found, mistakes = check_form(section)
        if found is None:
            return _refused(mistakes)
        what = (session.data, session.name, section, asked.measures, asked.tempo_bpm)
        if given.get("ending") == ".html":
            return file_reply(await self.jobs.run(request.is_disconnected, fit_page_of, *what),
                              f"{_stem(session)}-section.html")
        return json_reply(await self.jobs.run(request.is_disconnected, fit_of, *what))

    async def section_read(self, request: "Request") -> "Response":
        """Turn a section file into a form."""
        return json_reply(read_section_file(*await read_text(request, MAX_TOML_BYTES)))

    async def section_write(self, request: "Request") -> "Response":
        """Turn a form into a section file."""
        given = await read_json(request, MAX_QUESTION_BYTES)
        found, mistakes = check_form(given)
        return _refused(mistakes) if found is None else file_reply(section_text(given).encode(), "section.toml")

    async def player_read(self, request: "Request") -> "Response":
        """Turn a player file into a form."""
        return json_reply({"player": read_player_file(*await read_text(request, MAX_TOML_BYTES))})

    async def player_write(self, request: "Request") -> "Response":
        """Turn a form into a player file."""
        text = player_text(await read_json(request, MAX_QUESTION_BYTES))
        read_player_file(text, "player")
        return file_reply(text.encode(), "player.toml")

    async def pins_read(self, request: "Request") -> "Response":
        """Find the notes of a pins file."""
        given, session = await self.question(request)
        text, name = str(given.get("text", "")), str(given.get("name", "pins"))[:120]
        return json_reply(await asyncio.to_thread(read_pins, session.document, text, name))

    async def pins_write(self, request: "Request") -> "Response":
        """Write the pins as a file."""
        asked, session = await self.asked(request)
        text = await asyncio.to_thread(pins_text, session.document, asked.pins)
        return file_reply(text.encode(), f"{_stem(session)}-pins.toml")

    async def asked(self, request: "Request") -> tuple[Asked, Session]:
        """Read a question about an open score, and find the score."""
        given, session = await self.question(request)
        return read_asked(given), session

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


def json_reply(content: dict[str, Any], status: int = 200, headers: dict[str, str] | None = None) -> "Response":
    """Return an answer as JSON."""
    from starlette.responses import Response

    return Response(json.dumps(content, ensure_ascii=False, separators=(",", ":")), status_code=status,
                    media_type="application/json", headers=headers)


def file_reply(content: bytes, name: str) -> "Response":
    """Return an answer that the browser saves under a name."""
    from starlette.responses import Response

    return Response(content, media_type="application/octet-stream", headers={
        "content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"})


def _stem(session: Session) -> str:
    return Path(session.name).stem or "score"


def _refused(mistakes: tuple[Mistake, ...]) -> "Response":
    """Say what is wrong in a form, with the field of each mistake."""
    return json_reply({"line": mistakes[0].line, "mistakes": [mistake.as_json() for mistake in mistakes]}, 400)


def build(token: str, hosts: tuple[str, ...], page: Page) -> App:
    """Return the whole application, guarded."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    @asynccontextmanager
    async def lifespan(app: Starlette) -> Any:
        for engraver in page.engravers:
            engraver.start()
        yield
        for engraver in page.engravers:
            engraver.stop()
        page.jobs.stop()

    async def static(request: Request) -> Response:
        name, kind = FILES[request.url.path]
        return Response((STATIC / name).read_bytes(), media_type=kind)

    async def on_unreadable(request: Request, error: Exception) -> Response:
        assert isinstance(error, Unreadable)
        return json_reply({"line": plain_line(error.problem), "problem": error.problem.as_json()}, 400)

    async def on_too_much(request: Request, error: Exception) -> Response:
        assert isinstance(error, RefusedError)
        return json_reply({"line": str(error)}, error.status)

    async def on_error(request: Request, error: Exception) -> Response:
        return json_reply({"line": "Something went wrong here that should not. Try again; if it stays so, load the "
                                   "page anew."}, 500)

    asked = {
        "open": page.open, "plan": page.plan, "music": page.music, "pictures": page.pictures, "file": page.file,
        "sound": page.sound, "review": page.review, "playable": page.playable, "compare": page.compare,
        "change": page.change, "apply": page.apply, "fit": page.fit,
        "section/read": page.section_read, "section/write": page.section_write,
        "player/read": page.player_read, "player/write": page.player_write, "pins/read": page.pins_read,
        "pins/write": page.pins_write, "remember": page.remember, "forget": page.forget,
    }
    routes = [
        *(Route(path, static, methods=["GET"]) for path in FILES),
        Route("/fonts.css", page.fonts, methods=["GET"]), Route("/api/start", page.start, methods=["GET"]),
        *(Route(f"/api/{path}", handler, methods=["POST"]) for path, handler in asked.items()),
    ]
    app = Starlette(routes=routes, lifespan=lifespan, exception_handlers={
        Unreadable: on_unreadable, RefusedError: on_too_much, Exception: on_error})
    return Guard(app, token=token, hosts=hosts)

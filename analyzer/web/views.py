"""What the page asks beside plan and music: review, comparison, fit, sound, and the files that carry work along."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from analyzer.report.compare import compare_document
from analyzer.report.review import review_document
from analyzer.review.compare import compare
from analyzer.review.findings import grouped
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import Refusal, ossia, read_refusal
from analyzer.web.asked import Asked, read_asked, read_horns
from analyzer.web.errands import Errands, fit_of, fit_page_of, playable_file
from analyzer.web.forms import (
    MAX_TOML_BYTES,
    Mistake,
    check_form,
    player_text,
    read_player_file,
    read_section_file,
    section_text,
)
from analyzer.web.pinning import pins_text, read_pins
from analyzer.web.replies import file_reply, json_reply, read_json, read_text
from analyzer.web.security import MAX_QUESTION_BYTES
from analyzer.web.sessions import Session
from analyzer.web.sound import sound_for
from analyzer.web.work import analysis_for

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

Handler = Callable[["Request"], Awaitable["Response"]]


class Host(Protocol):
    """What a view needs of the running page."""

    errands: Errands

    async def question(self, request: "Request") -> tuple[dict[str, Any], Session]:
        """Read what a page sent about an open score, and find the score."""
        ...


def views(page: Host) -> dict[str, Handler]:
    """Return the handler of each path."""

    async def sound(request: "Request") -> "Response":
        given, session = await page.question(request)
        asked = read_asked(given)
        async with session.lock:
            return json_reply(await asyncio.to_thread(sound_for, session, asked))

    async def reviewed(request: "Request") -> "Response":
        given, session = await page.question(request)
        asked = read_asked(given)
        async with session.lock:
            return json_reply(await asyncio.to_thread(review_for, session, asked))

    async def compared(request: "Request") -> "Response":
        given, session = await page.question(request)
        asked, horns = read_asked(given), read_horns(given)
        return json_reply(compare_document(await asyncio.to_thread(compare, session.document, horns, asked.request())))

    async def playable(request: "Request") -> "Response":
        given, session = await page.question(request)
        content = await page.errands.run(request.is_disconnected, playable_file, session.data, session.document.name,
                                         read_asked(given).request(), _refusals(given))
        return file_reply(content, f"{_stem(session)}-playable{session.document.ending}")

    async def fitted(request: "Request") -> "Response":
        given, session = await page.question(request)
        section, asked = given.pop("section", None), read_asked(given)
        found, mistakes = check_form(section)
        if found is None:
            return _refused(mistakes)
        what = (session.data, session.document.name, section, asked.measures, asked.tempo_bpm)
        if given.get("ending") == ".html":
            content = await page.errands.run(request.is_disconnected, fit_page_of, *what)
            return file_reply(content, f"{_stem(session)}-section.html")
        return json_reply(await page.errands.run(request.is_disconnected, fit_of, *what))

    async def section_read(request: "Request") -> "Response":
        return json_reply(read_section_file(*await read_text(request, MAX_TOML_BYTES)))

    async def section_write(request: "Request") -> "Response":
        given = await read_json(request, MAX_QUESTION_BYTES)
        found, mistakes = check_form(given)
        if found is None:
            return _refused(mistakes)
        return file_reply(section_text(given).encode(), "section.toml")

    async def player_read(request: "Request") -> "Response":
        return json_reply({"player": read_player_file(*await read_text(request, MAX_TOML_BYTES))})

    async def player_write(request: "Request") -> "Response":
        given = await read_json(request, MAX_QUESTION_BYTES)
        text = player_text(given)
        read_player_file(text, "player")
        return file_reply(text.encode(), "player.toml")

    async def pins_read(request: "Request") -> "Response":
        given, session = await page.question(request)
        text, name = str(given.get("text", "")), str(given.get("name", "pins"))[:120]
        return json_reply(await asyncio.to_thread(read_pins, session.document, text, name))

    async def pins_write(request: "Request") -> "Response":
        given, session = await page.question(request)
        text = await asyncio.to_thread(pins_text, session.document, read_asked(given).pins)
        return file_reply(text.encode(), f"{_stem(session)}-pins.toml")

    return {
        "/api/sound": sound, "/api/review": reviewed, "/api/compare": compared, "/api/fit": fitted,
        "/api/playable": playable,
        "/api/section/read": section_read, "/api/section/write": section_write,
        "/api/player/read": player_read, "/api/player/write": player_write,
        "/api/pins/read": pins_read, "/api/pins/write": pins_write,
    }


def _stem(session: Session) -> str:
    return Path(session.document.name).stem or "score"


def _refused(mistakes: tuple[Mistake, ...]) -> "Response":
    """Say what is wrong in a form, with the field of each mistake."""
    return json_reply({"line": mistakes[0].line, "mistakes": [one.as_json() for one in mistakes]}, 400)


def review_for(session: Session, asked: Asked) -> dict[str, Any]:
    """Review the asked part; the document of the command, and for each line its findings put together (`told`)."""
    analysis = analysis_for(session, asked)
    found = review(analysis)
    told = [
        {"line": one.planned.plan.line.number, "groups": [
            {"severity": group.first.severity, "code": group.first.code, "what": group.first.what,
             "places": [{"measure": each.measure, "index": each.index} for each in group.findings],
             "ways": [{"text": way, "measures": list(dict.fromkeys(where))} for way, where in group.ways]}
            for group in grouped(one.findings)]}
        for one in found]
    beyond = any(finding.severity == "stop" for one in found for finding in one.findings)
    changed = ossia(found, Harmony(session.document)) if beyond else None
    return {**review_document(analysis, found, changed), "told": told}


def _refusals(given: dict[str, Any]) -> tuple[Refusal, ...]:
    """Read the changes that the reader does not want, as the command line has them; another form is left aside."""
    texts = given.get("refuse", [])
    return tuple(found for text in texts if isinstance(text, str) for found in [read_refusal(text)] if found) \
        if isinstance(texts, list) else ()

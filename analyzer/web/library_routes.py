"""Routes: a folder of scores: what is in it, music that suits, a course. What takes long is told line by line."""

import asyncio
from typing import TYPE_CHECKING, Any, cast

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.library.search import Wanted
from analyzer.library.survey import Options
from analyzer.plan.practiced import practiced_of
from analyzer.section.section import Section
from analyzer.web.asked import (
    a_day,
    file_name,
    one_of,
    read_body,
    read_horn,
    read_json,
    read_paper,
    read_player,
    whole_number,
)
from analyzer.web.forms import section_of
from analyzer.web.library_answers import (
    MOST_SHOWN,
    CourseAsked,
    SheetsAsked,
    course_answer,
    course_sheets,
    score_bytes,
    search_answer,
    search_file,
    survey_answer,
    survey_file,
)
from analyzer.web.open_routes import opened
from analyzer.web.page import Page
from analyzer.web.replies import file_reply, json_reply
from analyzer.web.security import MAX_QUESTION_BYTES, MAX_UPLOAD_BYTES
from analyzer.web.shelf import Held
from analyzer.web.sweeps import Job
from analyzer.writing.readers import CLEFS, Clef

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response


async def begin(page: Page, request: "Request") -> "Response":
    """Make room for files that are chosen; those before go."""
    await asyncio.to_thread(page.shelf.begin)
    return json_reply({"files": 0})


async def add(page: Page, request: "Request") -> "Response":
    """Take one of the chosen files (the body is the file)."""
    data = await read_body(request, MAX_UPLOAD_BYTES)
    name = file_name(request.headers.get("x-file-name", ""))
    return json_reply({"files": await asyncio.to_thread(page.shelf.add, data, name)})


async def survey(page: Page, request: "Request") -> "Response":
    """Say what is in a folder, and with a section what one more horn would open to it."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    options = Options(horns=_horns(page, given), bass_clef=given.get("bass_clef") is True, player=read_player(given))
    return _told(page, survey_answer, page.shelf.folder_of(given), options, _section(page, given))


async def search(page: Page, request: "Request") -> "Response":
    """Find music in a folder for a player on a horn, or for a section."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    section = _section(page, given)
    wanted = Wanted(player=read_player(given), section=section, horns=() if section else _horns(page, given),
                    bass_clef=given.get("bass_clef") is True)
    most = whole_number(given, "most", 1, MOST_SHOWN) or 20
    return _told(page, search_answer, page.shelf.folder_of(given), wanted, most)


async def course(page: Page, request: "Request") -> "Response":
    """Make a course of weeks for a change of horn or clef."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    before, after = (load_horn(read_horn(given, key, page.own.path)) for key in ("before", "after"))
    clef = given.get("clef") or None
    asked = CourseAsked(
        before=before, after=after, player=read_player(given), weeks=whole_number(given, "weeks", 1, 40),
        clef=cast(Clef, one_of(given, "clef", *CLEFS)) if clef else None, open_sheets=given.get("open_sheets") is True,
        practiced=practiced_of(given.get("practiced")))
    # The sheets that come along make a course of their own where a school has no scores at hand.
    folder = None if asked.open_sheets and page.shelf.none_given(given) else page.shelf.folder_of(given)
    return _told(page, course_answer, folder, asked)


async def sheets(page: Page, request: "Request") -> "Response":
    """Make the sheets of a course that was answered."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    held = page.shelf.held(given.get("held"), "course")
    found, reads = held.found
    phone = found.goal.after.name if given.get("phone") is True else None
    how = SheetsAsked(paper=read_paper(given), start=a_day(given, "start"),
                      phone=page.own.path(phone) or phone if phone else None)
    return _told(page, course_sheets, found, held.entries, reads, how)


async def file(page: Page, request: "Request") -> "Response":
    """Give a file of an answer: a survey, a search, the sheets of a course."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    held = page.shelf.held(given.get("held"), "survey", "search", "sheets")
    paper = read_paper(given)
    if held.kind == "sheets":
        return file_reply(held.found, "course.zip")
    if held.kind == "search":
        most = whole_number(given, "most", 1, MOST_SHOWN) or 20
        return file_reply(await page.jobs.run(request.is_disconnected, search_file, held.found, most, paper),
                          "music-found.pdf")
    ending = one_of(given, "ending", ".pdf", ".html", ".csv")
    content = await page.jobs.run(request.is_disconnected, survey_file, *held.found, ending, paper)
    return file_reply(content, f"our-library{ending}")


async def score(page: Page, request: "Request") -> "Response":
    """Open a score of a folder that was looked through."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    held = page.shelf.held(given.get("held"), "survey", "search", "course")
    data, name = await asyncio.to_thread(score_bytes, held.entries, given.get("file"))
    return await opened(page, request, data, name, given.get("keep") is not False)


def _told(page: Page, job: Job, *arguments: object) -> "Response":
    """Answer line by line; what is held for later goes by its id."""
    from starlette.responses import StreamingResponse

    def hold(kept: Held) -> dict[str, Any]:
        return {"held": page.shelf.hold(kept)}

    return StreamingResponse(page.sweeps.lines(hold, job, *arguments), media_type="application/x-ndjson")


def _horns(page: Page, given: dict[str, Any]) -> tuple[Horn, ...]:
    return (load_horn(read_horn(given, "horn", page.own.path)),) if given.get("horn") else ()


def _section(page: Page, given: dict[str, Any]) -> Section | None:
    return section_of(given["section"], page.own.paths()) if given.get("section") is not None else None


ROUTES = {
    "library/begin": begin, "library/add": add, "library/survey": survey, "library/search": search,
    "library/course": course, "library/sheets": sheets, "library/file": file, "library/score": score,
}

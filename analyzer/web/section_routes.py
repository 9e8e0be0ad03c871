"""Routes: the section and its fit; files of sections, players and pins."""

import asyncio
from typing import TYPE_CHECKING

from analyzer.web.answers import pins_read_for, pins_text_for, told
from analyzer.web.asked import read_json, read_text
from analyzer.web.forms import (
    MAX_TOML_BYTES,
    Mistake,
    check_form,
    player_text,
    read_player_file,
    read_section_file,
    section_text,
)
from analyzer.web.jobs import fit_of, fit_page_of
from analyzer.web.page import Page, stem
from analyzer.web.replies import file_reply, json_reply
from analyzer.web.security import MAX_QUESTION_BYTES

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response


async def fit(page: Page, request: "Request") -> "Response":
    """Fit a section to the score; the answer itself, or as a page to keep."""
    given, score = await page.question(request)
    section, asked = given.pop("section", None), page.read(given)
    found, mistakes = check_form(section, await _own(page))
    if found is None:
        return _refused(mistakes)
    what = (score.data, score.name, found, asked.measures, asked.tempo_bpm)
    if given.get("ending") == ".html":
        return file_reply(await page.jobs.run(request.is_disconnected, fit_page_of, *what),
                          f"{stem(score)}-section.html")
    return json_reply(await page.jobs.run(request.is_disconnected, fit_of, *what))


async def section_read(page: Page, request: "Request") -> "Response":
    """Turn a section file into a form."""
    return json_reply(read_section_file(*await read_text(request, MAX_TOML_BYTES), await _own(page)))


async def section_write(page: Page, request: "Request") -> "Response":
    """Turn a form into a section file."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    own = await _own(page)
    found, mistakes = check_form(given, own)
    return _refused(mistakes) if found is None else file_reply(section_text(given, own).encode(), "section.toml")


async def player_read(page: Page, request: "Request") -> "Response":
    """Turn a player file into a form."""
    return json_reply({"player": read_player_file(*await read_text(request, MAX_TOML_BYTES))})


async def player_write(page: Page, request: "Request") -> "Response":
    """Turn a form into a player file."""
    text = player_text(await read_json(request, MAX_QUESTION_BYTES))
    read_player_file(text, "player")
    return file_reply(text.encode(), "player.toml")


async def pins_read(page: Page, request: "Request") -> "Response":
    """Find the notes of a pins file."""
    given, score = await page.question(request)
    text, name = str(given.get("text", "")), str(given.get("name", "pins"))[:120]
    return json_reply(await page.work(request, score, told, pins_read_for, text, name))


async def pins_write(page: Page, request: "Request") -> "Response":
    """Write the pins as a file."""
    asked, score = await page.asked(request)
    text = await page.work(request, score, pins_text_for, asked)
    return file_reply(text.encode(), f"{stem(score)}-pins.toml")


async def _own(page: Page) -> dict[str, str]:
    """Return the files of one's own horns, which stand in a form by their names."""
    return await asyncio.to_thread(page.own.paths)


def _refused(mistakes: tuple[Mistake, ...]) -> "Response":
    """Say what is wrong in a form, with the field of each mistake."""
    return json_reply({"line": mistakes[0].line, "mistakes": [mistake.as_json() for mistake in mistakes]}, 400)


ROUTES = {
    "fit": fit, "section/read": section_read, "section/write": section_write, "player/read": player_read,
    "player/write": player_write, "pins/read": pins_read, "pins/write": pins_write,
}

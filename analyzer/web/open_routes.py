"""Routes: the first screen, a score opened, and what is kept on this computer."""

import asyncio
from typing import TYPE_CHECKING, Any

from analyzer.paper_here import paper_accepted
from analyzer.web.answers import ceilings, horns
from analyzer.web.asked import file_name, read_body, read_json
from analyzer.web.forms import sample_section
from analyzer.web.memory import MOST_SETTINGS_BYTES
from analyzer.web.page import Page
from analyzer.web.replies import json_reply
from analyzer.web.scores import sample_names, sample_path
from analyzer.web.security import MAX_QUESTION_BYTES, MAX_UPLOAD_BYTES, RefusedError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

UPLOADS_WAITING = 100
"""So many uploads may wait; judged: one person drops a folder at most, anything above is no person."""


async def start(page: Page, request: "Request") -> "Response":
    """Say what the page needs to begin: samples, horns, ceilings."""
    return json_reply({"samples": sample_names(page.samples), "horns": [*page.own.listed(), *horns()],
                       "ceilings": ceilings(), "limit_mib": MAX_UPLOAD_BYTES // 2**20,
                       "section": sample_section(page.samples),
                       "paper": paper_accepted(request.headers.get("accept-language", "")),
                       "memory": await asyncio.to_thread(page.memory.all)})


async def open(page: Page, request: "Request") -> "Response":
    """Open an uploaded score (the body is the file), a sample, or one that is kept on this computer."""
    sample, kept = request.query_params.get("sample"), request.query_params.get("kept")
    keeping = request.query_params.get("keep") != "no"
    if sample is not None:
        path = sample_path(page.samples, sample)
        return await opened(page, request, await asyncio.to_thread(path.read_bytes), path.name, keeping)
    if kept is not None:
        found = await asyncio.to_thread(page.memory.score, kept)
        if found is None:
            raise RefusedError(410, "This score is no longer kept here. Choose its file again.")
        return await opened(page, request, found[0], found[1]["name"], True, found[1]["settings"])
    if page.waiting >= UPLOADS_WAITING:
        raise RefusedError(503, "Too many files at once. Wait a moment and try again.")
    page.waiting += 1
    try:
        async with page.uploads:
            page.reading += 1
            page.most_reading = max(page.most_reading, page.reading)
            try:
                data = await read_body(request, MAX_UPLOAD_BYTES)
                return await opened(page, request, data, file_name(request.headers.get("x-file-name", "")), keeping)
            finally:
                page.reading -= 1
    finally:
        page.waiting -= 1


async def opened(page: Page, request: "Request", data: bytes, name: str, keeping: bool,
                 settings: dict[str, Any] | None = None) -> "Response":
    """Open a score's bytes and say what is in it; `keeping` a copy on this computer."""
    score, told = await page.open_score(request, data, name)
    kept = None
    if keeping:
        kept = await asyncio.to_thread(page.memory.keep, data, name, told["title"] or "")
        known = await asyncio.to_thread(page.memory.score, kept) if kept else None
        settings = known[1]["settings"] if known else settings
    return json_reply({"session": score.id, "file": name, **told, "kept": kept, "settings": settings})


async def remember(page: Page, request: "Request") -> "Response":
    """Keep what is set and pinned for a kept score, or the desk: section, players, how the page looks."""
    given = await read_json(request, MOST_SETTINGS_BYTES)
    kept, settings, desk = given.get("kept"), given.get("settings"), given.get("desk")
    done = False
    if isinstance(kept, str) and isinstance(settings, dict):
        done = await asyncio.to_thread(page.memory.settle, kept, settings)
    elif isinstance(desk, dict):
        done = await asyncio.to_thread(page.memory.keep_desk, desk)
    return json_reply({"kept": done})


async def forget(page: Page, request: "Request") -> "Response":
    """Take away a kept score or everything, or put back what was taken away last; say what is kept now."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    kept = given.get("kept")
    if given.get("back") is True:
        await asyncio.to_thread(page.memory.put_back)
        return json_reply(await asyncio.to_thread(page.memory.all))
    try:
        if not isinstance(kept, str):
            page.own.end()
            await asyncio.to_thread(page.shelf.clear)
        await asyncio.to_thread(*((page.memory.forget, kept) if isinstance(kept, str) else
                                  (page.memory.forget_all,)))
    except OSError as error:
        raise RefusedError(500, f"Something could not be taken away from {page.memory.folder} "
                                f"({error.strerror}). Take that folder away by hand.") from None
    return json_reply(await asyncio.to_thread(page.memory.all))


ROUTES = {"open": open, "remember": remember, "forget": forget}

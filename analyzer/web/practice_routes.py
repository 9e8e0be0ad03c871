"""Routes: practicing: a sheet of drills, and a recording held against the plan."""

import datetime as dt
import json
from typing import TYPE_CHECKING, Any, cast

from analyzer.problem import unreadable
from analyzer.report.drill.sound import Drone
from analyzer.web.asked import a_day, file_name, number, one_of, read_body, whole_number
from analyzer.web.page import Page, stem
from analyzer.web.practice_answers import (
    SHEET_ENDINGS,
    Paper,
    SheetAsked,
    drill_answer,
    drill_file,
    drill_pages,
    hear_answer,
)
from analyzer.web.replies import file_reply, json_reply
from analyzer.web.security import MAX_UPLOAD_BYTES

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_MOST_SEED = 10_000
_MOST_WEEKS = 12
_NAMES = {".pdf": "practice.pdf", ".musicxml": "practice.musicxml", ".mid": "practice.mid", ".wav": "tones.wav",
          ".ics": "practice.ics"}


async def sheet(page: Page, request: "Request") -> "Response":
    """Say what a practice sheet of the asked part holds; with `pages` as pictures, with `ending` as a file."""
    given, score = await page.question(request)
    asked, gone = _asked(page, given), request.is_disconnected
    if given.get("pages") is True:
        return json_reply(await page.jobs.run(gone, drill_pages, score.data, score.name, asked))
    if "ending" in given:
        ending = one_of(given, "ending", *SHEET_ENDINGS)
        content = await page.jobs.run(gone, drill_file, score.data, score.name, asked, ending)
        return file_reply(content, f"{stem(score)}-{_NAMES[ending]}")
    return json_reply(await page.jobs.run(gone, drill_answer, score.data, score.name, asked))


def _asked(page: Page, given: dict[str, Any]) -> SheetAsked:
    told = one_of(given, "drone", "", "equal", "just")
    drone = cast(Drone, told) if told else None
    start: dt.date | None = a_day(given, "start")
    return SheetAsked(request=page.read(given).request(), seed=whole_number(given, "seed", 1, _MOST_SEED) or 1,
                      weeks=whole_number(given, "weeks", 1, _MOST_WEEKS), start=start,
                      paper=cast(Paper, one_of(given, "paper", "a4", "letter")), drone=drone)


async def hear(page: Page, request: "Request") -> "Response":
    """Hold a recording against the plan of the asked line: a line of JSON, the question, then the sound file itself."""
    from starlette.responses import StreamingResponse

    body = await read_body(request, MAX_UPLOAD_BYTES, "Choose a shorter recording.")
    head, _, recording = body.partition(b"\n")
    try:
        given = json.loads(head)
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, dict):
        raise unreadable("bad-question", where="the question", what="cannot be read", try_="Load the page again.")
    score, asked = page.score_of(given), page.read(given)
    called = file_name(request.headers.get("x-file-name", ""))
    lines = page.sweeps.lines(lambda _: {}, hear_answer, score.data, score.name, asked, recording, called,
                              number(given, "reference", 380, 480))
    return StreamingResponse(lines, media_type="application/x-ndjson")


ROUTES = {"practice/sheet": sheet, "practice/hear": hear}

"""Routes: practicing: a sheet of drills, and a recording held against the plan."""

import datetime as dt
import json
from typing import TYPE_CHECKING, Any, cast

from analyzer.plain import one_line
from analyzer.problem import Problem, unreadable
from analyzer.report.drill.sound import Drone
from analyzer.report.listen.document import Student, together_said
from analyzer.web.asked import a_day, file_name, number, one_of, read_body, read_paper, whole_number
from analyzer.web.hearings import MOST, Heard
from analyzer.web.page import Page, stem
from analyzer.web.practice_answers import (
    SHEET_ENDINGS,
    SheetAsked,
    drill_answer,
    drill_file,
    drill_pages,
    hear_answer,
    heard_file,
    kept_answer,
    moves_answer,
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
_PAGES = (".html", ".pdf")
_LONGEST = 300                         # letters of a name or a reason that a page sends back


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
                      paper=read_paper(given), drone=drone)


async def hear(page: Page, request: "Request") -> "Response":
    """Hold a recording against the plan of the asked line: a line of JSON, the question, then the sound file itself."""
    from starlette.responses import StreamingResponse

    given, recording = await _with_recording(request)
    score, asked = page.score_of(given), page.read(given)
    called = file_name(request.headers.get("x-file-name", ""))

    def hold(student: Student) -> dict[str, Any]:
        return {"held": page.hearings.hold(Heard(session=score.id, asked=asked, student=student))}

    lines = page.sweeps.lines(hold, hear_answer, score.data, score.name, asked, recording, called,
                              number(given, "reference", 380, 480))
    return StreamingResponse(lines, media_type="application/x-ndjson")


async def moves(page: Page, request: "Request") -> "Response":
    """Say what to play in turn; with a recording of it, how fast the player of a player file (its text) moves."""
    from starlette.responses import StreamingResponse

    given, recording = await _with_recording(request)
    score, asked = page.score_of(given), page.read(given)
    lines = page.sweeps.lines(lambda _: {}, moves_answer, score.data, score.name, asked, recording,
                              file_name(request.headers.get("x-file-name", "")), *_player_file(given))
    return StreamingResponse(lines, media_type="application/x-ndjson")


async def _with_recording(request: "Request") -> tuple[dict[str, Any], bytes]:
    """Read a line of JSON and the sound behind it."""
    body = await read_body(request, MAX_UPLOAD_BYTES, "Choose a shorter recording.")
    head, _, recording = body.partition(b"\n")
    try:
        given = json.loads(head)
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, dict):
        raise unreadable("bad-question", where="the question", what="cannot be read", try_="Load the page again.")
    return given, recording


def _player_file(given: dict[str, Any]) -> tuple[str, str]:
    """Return text and name of a player file that the page sends along."""
    return str(given.get("text", "")), one_line(str(given.get("name", "")))[:_LONGEST] or "player.toml"


async def heard(page: Page, request: "Request") -> "Response":
    """Give what was heard as a file: of one recording, or of a class; those that could not be heard with their reason.

    ``students`` is a list of ``{"held"}`` and ``{"file", "why"}``, in the order of the table. Without an ending it says
    where several of them stumble.
    """
    given, score = await page.question(request)
    ending, rows = one_of(given, "ending", "", *_PAGES), given.get("students")
    if not isinstance(rows, list) or not 0 < len(rows) <= MOST or not all(isinstance(one, dict) for one in rows):
        raise unreadable("bad-question", where="students", what=f"must be a list of 1 to {MOST} recordings",
                         try_="Open fewer recordings at a time.")
    known = [page.hearings.of(one["held"], score.id) for one in rows if "held" in one]
    if not known or any(one.asked != known[0].asked for one in known):
        raise unreadable("bad-question", where="students", what="were heard with different settings" if known else
                         "are none that could be heard", try_="Open the recordings once more.")
    of = iter(known)
    students = [next(of).student if "held" in one else _unheard(one) for one in rows]
    if not ending:
        return json_reply({"together": together_said(students)})
    content = await page.jobs.run(request.is_disconnected, heard_file, score.data, score.name, known[0].asked, students,
                                  ending)
    return file_reply(content, f"{stem(score)}-heard{ending}")


def _unheard(given: dict[str, Any]) -> Student:
    file, why = (one_line(str(given.get(key, "")))[:_LONGEST] for key in ("file", "why"))
    return Student(file=file, hearing=None,
                   problem=Problem(severity="error", code="not-heard", where=file, what=why, try_=""))


async def keep(page: Page, request: "Request") -> "Response":
    """Put what a recording came to into a player file (its text, empty for a new one); say how it goes on."""
    given, score = await page.question(request)
    held = page.hearings.of(given.get("held"), score.id)
    return json_reply(await page.jobs.run(request.is_disconnected, kept_answer, score.data, score.name, held.student,
                                          *_player_file(given), dt.date.today().isoformat()))


ROUTES = {"practice/sheet": sheet, "practice/hear": hear, "practice/heard": heard, "practice/keep": keep,
          "practice/moves": moves}

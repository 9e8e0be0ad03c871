"""Routes: horns, without a score or beside one: charts, a change of horn, horns of one's own."""

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from analyzer.horns.profiles import horn_names, load_horn
from analyzer.problem import unreadable
from analyzer.review.remedies import least_pull, pull_mm
from analyzer.tuning.profile_text import own_name, profile_text
from analyzer.tuning.readings import MOST_BYTES as MOST_TABLE_BYTES
from analyzer.tuning.retuned import pulled as pulled_out
from analyzer.tuning.sheet import rows as sheet_rows
from analyzer.tuning.sheet import sheet
from analyzer.web.asked import one_of, read_horn, read_json, read_place, read_player, read_width
from analyzer.web.horn_answers import change_answer, change_print, chart_answer, chart_print, fit_answer
from analyzer.web.page import Page
from analyzer.web.replies import file_reply, json_reply
from analyzer.web.security import MAX_QUESTION_BYTES

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_MOST_NAME = 40
_SEMITONE_CENTS = 100


async def chart(page: Page, request: "Request") -> "Response":
    """Show every way to sound every note of a horn; with `paper` as a file for the wall."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    horn = read_horn(given, "horn", page.own.path)
    if "paper" not in given:
        return json_reply(await page.jobs.run(request.is_disconnected, chart_answer, horn, read_width(given)))
    paper = cast(Literal["a4", "a3", "letter"], one_of(given, "paper", "a4", "a3", "letter"))
    content = await page.jobs.run(request.is_disconnected, chart_print, horn, paper, given.get("large") is True)
    return file_reply(content, f"{load_horn(horn).name}-chart.pdf")


async def change(page: Page, request: "Request") -> "Response":
    """Show what a change of horn brings, with the open score where there is one; with `print` as a file."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    before, after = (read_horn(given, key, page.own.path) for key in ("before", "after"))
    score = page.scores.get(given.get("session"))
    asked = (before, after, read_player(given), score.data if score else None, score.name if score else "")
    if "print" not in given:
        return json_reply(await page.jobs.run(request.is_disconnected, change_answer, *asked, read_width(given)))
    what = one_of(given, "print", "chart", "aid")
    content = await page.jobs.run(request.is_disconnected, change_print, *asked, what,
                                  one_of(given, "paper", "a4", "a3", "letter"))
    name = f"{load_horn(before).name}-to-{load_horn(after).name}"
    return file_reply(content, f"{name}{'-chart' if what == 'chart' else ''}.pdf")


async def sheet_of(page: Page, request: "Request") -> "Response":
    """Give the notes worth reading from a tuner: to be typed in, or with `file` as a table to take along."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    horn = load_horn(read_horn(given, "horn", page.own.path))
    if given.get("file") is True:
        return file_reply(sheet(horn).encode(), f"{horn.name}-tuner.csv")
    columns, rows = sheet_rows(horn)
    return json_reply({"columns": list(columns), "rows": [list(row) for row in rows]})


async def fit_of(page: Page, request: "Request") -> "Response":
    """Fit a horn to what a tuner showed: a table with a line a reading."""
    given = await read_json(request, MOST_TABLE_BYTES + MAX_QUESTION_BYTES)
    horn = read_horn(given, "horn", page.own.path)
    table, file, name = (given.get(key) for key in ("table", "file", "name"))
    if not (isinstance(table, str) and isinstance(file, str) and isinstance(name, str)):
        raise unreadable("bad-question", where="readings", what="there is no table", try_="Load the page again.")
    return json_reply(await page.jobs.run(request.is_disconnected, fit_answer, horn, table.encode(),
                                          file[:120] or "readings", _name_of(name)))


def _name_of(text: str) -> str:
    """Return the name of one's own horn, in signs that a name may have."""
    return own_name(Path(f"{text.strip()[:_MOST_NAME].replace('/', '-') or 'my-horn'}.toml"))


async def keep(page: Page, request: "Request") -> "Response":
    """Add a horn of one's own, from a fit or a file."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    text, file = given.get("profile"), given.get("file")
    if not isinstance(text, str) or not isinstance(file, str):
        raise unreadable("bad-question", where="horn", what="there is no horn", try_="Load the page again.")
    horn = await asyncio.to_thread(page.own.keep, text, file[:120] or "horn", keeping=given.get("keep") is not False)
    return json_reply({"name": horn.name, "own": await asyncio.to_thread(page.own.listed)})


async def pulled(page: Page, request: "Request") -> "Response":
    """Add a horn with its attachment pulled from F to E, or as far past E as a note takes that it lacks."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    horn = load_horn(read_horn(given, "horn", page.own.path))
    midi = read_place(given, "midi")
    found = least_pull(horn, midi) if midi is not None else None
    if found is None:
        raise unreadable("bad-question", where="horn", what="pulling the attachment does not bring this note",
                         try_="Look at the other ways.")
    loop, cents, _ = found
    out_mm = pull_mm(horn, loop, max(cents, _SEMITONE_CENTS))
    base = horn.name.split("-")[0] if horn.name in horn_names() else horn.name
    far = "to" if cents <= _SEMITONE_CENTS else "past"
    other = pulled_out(horn, {loop.name: out_mm}, name=f"{base}-pulled-{far}-E")
    text = profile_text(other, f"{horn.name} with its {loop.name} slide pulled out {out_mm:.0f} mm")
    kept = await asyncio.to_thread(page.own.keep, text, "horn", keeping=given.get("keep") is not False)
    return json_reply({"name": kept.name, "own": await asyncio.to_thread(page.own.listed)})


async def forget(page: Page, request: "Request") -> "Response":
    """Take a horn of one's own away."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    await asyncio.to_thread(page.own.forget, str(given.get("name")))
    return json_reply({"own": await asyncio.to_thread(page.own.listed)})


async def write(page: Page, request: "Request") -> "Response":
    """Save a horn of one's own as a file."""
    given = await read_json(request, MAX_QUESTION_BYTES)
    name = str(given.get("name"))
    return file_reply((await asyncio.to_thread(page.own.text, name)).encode(), f"{name}.toml")


ROUTES = {
    "horns/chart": chart, "horns/change": change, "horns/sheet": sheet_of, "horns/fit": fit_of, "horns/keep": keep,
    "horns/forget": forget, "horns/pulled": pulled, "horns/write": write,
}

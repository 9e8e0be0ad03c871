"""Routes: what is asked of an open score: its plan, its pictures, its files, its review."""

from typing import TYPE_CHECKING

from analyzer.problem import unreadable
from analyzer.web.answers import length_for, pictures_for, pins_for, plan_told, review_for, sound_for, told
from analyzer.web.asked import read_horns, read_paper, read_place, read_refusals, read_standing
from analyzer.web.engraver import engrave_length, no_picture
from analyzer.web.jobs import (
    ENDINGS,
    change_shown,
    chart_of,
    comparison_of,
    comparison_sheet,
    file_of,
    midi_file,
    playable_file,
    practice_file,
    take_home_file,
)
from analyzer.web.open_routes import opened
from analyzer.web.page import Page, stem
from analyzer.web.replies import file_reply, json_reply
from analyzer.web.state import Session

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_TAKEN = {"take-home": "-take-home.html", "practice": "-practice.pdf", "chart": "-chart.pdf"}
"""What can be taken along beside the part itself: its name in a question, and how its file ends."""
_PREVIEW_PX = 420


async def plan(page: Page, request: "Request") -> "Response":
    """Answer a question: the plan of a line, quickly; music and pictures are asked for apart.

    Where the page tells what stands on it, the answer is what is new since, with new marks for its picture.
    """
    given, score = await page.question(request)
    asked, standing = page.read(given), read_standing(given)
    found, times = await page.work(request, score, plan_told, asked, standing)
    return json_reply(found, headers={"server-timing": times})


async def music(page: Page, request: "Request") -> "Response":
    """Engrave what `plan` answered, a long part length by length; a picture's name is for the next question.

    `at` in the question is the measure with which a further length begins, as the answer before told by ``next``.
    """
    given, score = await page.question(request)
    asked, at = page.read(given), read_place(given, "at")
    length = await page.work(request, score, length_for, asked, at)
    try:
        svg, places, shown, following = await page.engraver_of(score).run(engrave_length, length, asked.width_px)
    except (ValueError, ModuleNotFoundError) as error:
        raise no_picture(error, score.name) from None
    picture = await page.work(request, score, Session.drawn, places)
    return json_reply({"svg": svg, "picture": picture, "prefix": length.prefix, "systems": shown,
                       "next": following})


async def pictures(page: Page, request: "Request") -> "Response":
    """Draw how slide or valves move in what `plan` answered."""
    asked, score = await page.asked(request)
    return json_reply(await page.work(request, score, told, pictures_for, asked))


async def file(page: Page, request: "Request") -> "Response":
    """Write a file of the asked part, with the pins, all its lines."""
    given, score = await page.question(request)
    asked = page.read(given)
    ending, name = given.get("ending"), score.name
    if ending == "score":
        ending = score.marked_ending
    if ending not in (*ENDINGS, score.marked_ending, ".mid", *_TAKEN):
        raise unreadable("bad-question", where="download", what="there is no such form of file",
                         try_=f"The forms are {', '.join((*ENDINGS, '.mid', *_TAKEN))}.")
    paper = read_paper(given)
    pins, horn = await page.work(request, score, pins_for, asked)
    try:
        if ending == "take-home":
            content = await page.jobs.run(request.is_disconnected, take_home_file, score.data, name,
                                          asked.request(pins), asked.line)
        elif ending == "practice":
            content = await page.jobs.run(request.is_disconnected, practice_file, score.data, name,
                                          asked.request(), paper)
        elif ending == "chart":
            horn = asked.horn or horn
            content = await page.jobs.run(request.is_disconnected, chart_of, horn, paper)
            return file_reply(content, f"{horn}-chart.pdf")
        elif ending == ".mid":
            content = await page.jobs.run(request.is_disconnected, midi_file, score.data, name, asked.part,
                                          asked.measures, asked.tempo_bpm)
        else:
            data = score.source if ending == score.marked_ending else score.data
            content = await page.jobs.run(request.is_disconnected, file_of, data, name, asked.request(pins), ending,
                                          paper)
    except (ValueError, ModuleNotFoundError) as error:
        raise no_picture(error, name) from None
    end = _TAKEN.get(ending) or f"{'' if ending == '.mid' else '-marked'}{ending}"
    return file_reply(content, f"{stem(score)}{end}")


async def sound(page: Page, request: "Request") -> "Response":
    """Say how what `plan` answered sounds, and where slide or valves are at each moment."""
    asked, score = await page.asked(request)
    return json_reply(await page.work(request, score, told, sound_for, asked))


async def review(page: Page, request: "Request") -> "Response":
    """Review the asked part."""
    asked, score = await page.asked(request)
    return json_reply(await page.work(request, score, told, review_for, asked))


async def playable(page: Page, request: "Request") -> "Response":
    """Write the score with notes that can be played, but for the changes that are refused."""
    given, score = await page.question(request)
    content = await page.jobs.run(request.is_disconnected, playable_file, score.data, score.name,
                                  page.read(given).request(), read_refusals(given))
    return file_reply(content, f"{stem(score)}-playable{score.ending}")


async def change(page: Page, request: "Request") -> "Response":
    """Show the measure of one change as written and as changed."""
    given, score = await page.question(request)
    place, asked = given.get("place"), page.read(given)
    return json_reply(await page.jobs.run(request.is_disconnected, change_shown, score.data, score.name,
                                          asked.request(), str(place)[:120], _PREVIEW_PX))


async def apply(page: Page, request: "Request") -> "Response":
    """Open the score with the changes that are not refused; the one as written stays open too."""
    given, score = await page.question(request)
    content = await page.jobs.run(request.is_disconnected, playable_file, score.data, score.name,
                                  page.read(given).request(), read_refusals(given))
    return await opened(page, request, content, f"{stem(score)}-playable{score.ending}", given.get("keep") is not False)


async def compare(page: Page, request: "Request") -> "Response":
    """Plan the asked part on several horns."""
    given, score = await page.question(request)
    asked, named = page.read(given), read_horns(given, page.own.path)
    what = (score.data, score.name, named, asked.request())
    if given.get("ending") == ".pdf":
        return file_reply(await page.jobs.run(request.is_disconnected, comparison_sheet, *what, read_paper(given)),
                          f"{stem(score)}-horns.pdf")
    return json_reply(await page.jobs.run(request.is_disconnected, comparison_of, *what))


ROUTES = {
    "plan": plan, "music": music, "pictures": pictures, "file": file, "sound": sound, "review": review,
    "playable": playable, "compare": compare, "change": change, "apply": apply,
}

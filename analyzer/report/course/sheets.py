"""The hand-outs of a course: the new horn in hand, a sheet a week, the road for the teacher, the calendar."""

import datetime as dt
import io
from collections.abc import Sequence
from typing import Any

from analyzer.course.course import Course, Week
from analyzer.course.skills import RoadSkill
from analyzer.library.files import Contents, Entry
from analyzer.paper_here import Paper
from analyzer.problem import Problem, Unreadable
from analyzer.report.course.document import (
    DECIDES,
    clef_said,
    course_cautions,
    goal_said,
    open_sheet_said,
    place_said,
    title_of,
)
from analyzer.report.course.drill import drill_svgs
from analyzer.report.course.first import first_sheet
from analyzer.report.course.music import ExcerptMusic, flowable, music_of, phone_page
from analyzer.report.paper import MARGIN_MM, PT_PER_MM, built, forms, grid, safe
from analyzer.score.document import Document, read_score
from analyzer.score.transposing import Reads
from analyzer.words import counted, listed
from analyzer.writing.readers import Clef

_WIDE_MM = 180.0
_SIZES = (1.0, 0.88, 0.78)
"""Sizes of the music tried until a week is one sheet: staves of 7.2, 6.3, 5.6 mm; the last stands over two pages.
Judged: 5.6 mm is still above the smallest staff that band parts are printed in (common practice, no source)."""
_BOX = "[   ]"


def course_files(course: Course, entries: Sequence[Entry], *, reads: Reads | None = None, paper: Paper = "a4",
                 start: dt.date | None = None, phone: str | None = None,
                 ) -> tuple[dict[str, bytes], tuple[Problem, ...]]:
    """Return every hand-out by file name, and what could not be engraved.

    With `phone`, the new horn's name or file, each week has a take-home page of its first excerpt too.

    Raises
    ------
    ImportError
        If a package of the extras `engrave` (or, with `start`, `build`) is not installed.
    """
    documents: dict[str, Document] = {}
    clef = clef_of(course)
    problems: list[Problem] = []
    by_name = {entry.name: entry for entry in entries}
    contents = Contents()
    files = {"00-road.pdf": b"", "01-new-horn.pdf": first_sheet(course, paper)}
    try:
        for week in course.weeks:
            music: list[ExcerptMusic] = []
            for excerpt in week.excerpts:
                try:
                    if excerpt.score not in documents:
                        documents[excerpt.score] = read_score(contents.read(by_name[excerpt.score]), excerpt.score)
                    found = music_of(excerpt, course.goal, documents[excerpt.score], clef, reads=reads)
                except Unreadable as error:
                    found = ExcerptMusic(problem=error.problem)
                music.append(found)
                problems += [found.problem] if found.problem else []
            files[f"week-{week.number:02d}.pdf"] = week_sheet(course, week, music, paper)
            if phone is not None:
                try:
                    page = phone_page(week.excerpts[0], music[0], course.goal, phone)
                except Unreadable as error:
                    problems.append(error.problem)
                else:
                    files |= {f"week-{week.number:02d}.html": page} if page else {}
    finally:
        contents.close()
    files["00-road.pdf"] = road_page(course, paper)
    if start is not None:
        files["course.ics"] = course_calendar(course, start)
    return files, tuple(problems)


def clef_of(course: Course) -> Clef | None:
    """Return the clef of every excerpt: the one to be learned; else bass, so that no clef is new on the quiet.

    None, as printed, where the scores print no bass clef at all (a brass band).
    """
    if course.goal.clef is not None:
        return course.goal.clef
    printed = {clef for week in course.weeks for one in week.excerpts for clef in one.clefs}
    return "bass" if "bass" in printed else None


def week_sheet(course: Course, week: Week, music: Sequence[ExcerptMusic], paper: Paper) -> bytes:
    """Return one week's sheet: what is new, the drills, the excerpts with their marks and ladders, the cautions.

    The music is as large as one page allows, within `_SIZES`.
    """
    from pypdf import PdfReader

    played = list(zip(week.excerpts, music, strict=True))
    drills = [drill_svgs(skill, course.goal, clef_of(course), played) for skill in week.new]
    sheet = b""
    for size in _SIZES:
        sheet = built(_story(course, week, music, drills, size), paper, f"{title_of(course)}, week {week.number}")
        if len(PdfReader(io.BytesIO(sheet)).pages) == 1:
            break
    return sheet


def _story(course: Course, week: Week, music: Sequence[ExcerptMusic], drills: Sequence[Sequence[str]],
           size: float) -> list[Any]:
    """Return what stands on a week's sheet, in order."""
    from reportlab.platypus import KeepTogether, Paragraph, Spacer

    form = forms()
    story: list[Any] = [Paragraph(safe(f"Week {week.number} of {len(course.weeks)}"), form["title"]),
                        Paragraph(safe(title_of(course)), form["text"]), Spacer(1, 2 * PT_PER_MM)]
    if week.new:
        story.append(Paragraph("New this week", form["head"]))
        for nth, (skill, drill) in enumerate(zip(week.new, drills, strict=True), 1):
            told = Paragraph(
                f"{nth}. <b>{safe(_capital(skill.name))}</b><br/>Drill: {safe(skill.drill)} {safe(_BOX * 3)}<br/>"
                f"Listen: {safe(skill.listen)}", form["text"])
            story.append(KeepTogether([told, *(flowable(svg, _WIDE_MM * PT_PER_MM, size) for svg in drill),
                                       Spacer(1, 2 * PT_PER_MM)]))
    else:
        story.append(Paragraph("Nothing new this week: come back to what has been learned.", form["text"]))
    for nth, (excerpt, engraved) in enumerate(zip(week.excerpts, music, strict=True)):
        block: list[Any] = [Paragraph(safe(f"{'ABCDEFGH'[nth % 8]}. {place_said(excerpt)}"), form["head"]),
                            Paragraph(safe(f"{_capital(excerpt.why)}."), form["text"])]
        if engraved.rewritten:
            block.append(Paragraph(f"Written here in {safe(clef_said(clef_of(course) or 'bass'))}; the score prints "
                                   "another.", form["small"]))
        if engraved.problem is not None:
            block.append(Paragraph(safe(f"{engraved.problem.what}. Play it from the score."), form["text"]))
        block += [flowable(svg, _WIDE_MM * PT_PER_MM, size) for svg in engraved.svgs]
        if engraved.ladder:
            steps = "   ".join(f"{number} {_BOX}" for number in engraved.ladder)
            told = " (the score gives no tempo; this one is supposed)" if engraved.assumed_tempo else ""
            block.append(Paragraph(safe(f"{_capital(engraved.beat)} = {steps}{told}"), form["text"]))
        story.append(KeepTogether([*block, Spacer(1, 3 * PT_PER_MM)]))
    story += [Spacer(1, 2 * PT_PER_MM),
              Paragraph("Tick a box when it was clean three times in a row. Not enough time this week? Tell your "
                        "teacher and keep the sheet: the next one can wait.", form["text"]),
              Paragraph(safe(" ".join(course_cautions(course.goal))), form["small"])]
    return story


def road_page(course: Course, paper: Paper) -> bytes:
    """Return the teacher's page: the whole road, where the order comes from, what is missing, what is left out."""
    from reportlab.platypus import Paragraph, Spacer, Table

    form = forms()
    rows: list[list[Any]] = [[Paragraph(f"<b>{head}</b>", form["cell"])
                              for head in ("Week", "New", "Again", "Excerpts")]]
    for week in course.weeks:
        rows.append([Paragraph(safe(text) if k != 3 else text, form["cell"]) for k, text in enumerate((
            str(week.number), "; ".join(f"{skill.id}: {skill.name}" for skill in week.new) or "–",
            "; ".join(skill.id for skill in week.again) or "–",
            "<br/>".join(safe(place_said(one)) for one in week.excerpts)))])
    wide = (210 if paper == "a4" else 216) - 2 * MARGIN_MM
    widths = [12.0, 62.0, 32.0, wide - 106.0]
    story: list[Any] = [
        Paragraph(safe(title_of(course)), form["title"]),
        Paragraph(safe(f"The whole road, for the teacher. {goal_said(course)}"), form["text"]),
        Paragraph(safe(DECIDES), form["text"]), Spacer(1, 3 * PT_PER_MM)]
    if course.weeks:
        story.append(Table(rows, colWidths=[width * PT_PER_MM for width in widths], style=grid(), repeatRows=1))
    if sheets := open_sheet_said(course):
        story += [Spacer(1, 3 * PT_PER_MM), Paragraph(safe(sheets), form["text"])]
    if course.missing:
        story += [Spacer(1, 3 * PT_PER_MM), Paragraph("Missing, and why", form["head"])]
        story += [Paragraph(safe(f"{skill.id}, {skill.name}: {why}."
                                 + ("" if skill.id in course.goal.barred
                                    else f" Until there is music for it, the drill alone: {skill.drill}")),
                            form["text"]) for skill, why in course.missing]
    if course.goal.done:
        story += [Spacer(1, 3 * PT_PER_MM), Paragraph("Left out, as the player file calls it learned or secure",
                                                    form["head"]),
                  Paragraph(safe("; ".join(skill.name for skill in course.goal.done)), form["text"])]
    story += [Spacer(1, 3 * PT_PER_MM), Paragraph("Where the order comes from", form["head"])]
    story += [Paragraph(safe(line), form["text"]) for line in _orders(course.goal.skills)]
    story += [Paragraph(
        "What was new comes back in later weeks. That is a habit of teachers, not a promise: studies found little gain "
        "from set gaps for young players. When a week was not enough, record what is secure with lowbrass progress and "
        "make the course again: what is secure is left out, the rest is spread anew.", form["text"]),
        Paragraph(safe(" ".join(course_cautions(course.goal))), form["small"])]
    return built(story, paper, title_of(course))


def _orders(skills: Sequence[RoadSkill]) -> list[str]:
    """Say for each source which skills stand in its order, and which are placed by us."""
    cited: dict[str, list[str]] = {}
    for skill in skills:
        if skill.cited:
            cited.setdefault(skill.source, []).append(skill.id)
    judged = [skill.id for skill in skills if not skill.cited]
    said = [f"{', '.join(ids)}: in the order of {source}." for source, ids in cited.items()]
    return said + ([f"{listed(judged)}: placed by judgement; common practice, no source for the order."]
                   if judged else [])


def course_calendar(course: Course, start: dt.date) -> bytes:
    """Return the weeks from `start` on as a calendar; equal input gives equal bytes.

    Raises
    ------
    ImportError
        If icalendar (extra `build`) is not installed.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//lowbrass//course//EN")
    calendar.add("version", "2.0")
    # The format wants the moment of making; there is no clock here, so the first day stands for it.
    stamp = dt.datetime(start.year, start.month, start.day, tzinfo=dt.UTC)
    for week in course.weeks:
        day = start + dt.timedelta(weeks=week.number - 1)
        event = Event()
        event.add("uid", f"{start:%Y%m%d}-week{week.number}-{course.goal.after.name}@lowbrass")
        event.add("dtstamp", stamp)
        event.add("dtstart", day)
        event.add("dtend", day + dt.timedelta(weeks=1))
        event.add("summary", f"{title_of(course)}: week {week.number}, {counted(len(week.new), 'new thing')}")
        event.add("description", "\n".join([*(f"New: {skill.name}" for skill in week.new),
                                            *(f"{place_said(one)}" for one in week.excerpts),
                                            *course_cautions(course.goal)]))
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]



"""What the page shows of a folder of scores: what is in it, music that suits, a course; in a process that tells."""

import datetime as dt
import io
import os
import zipfile
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from analyzer.course.course import Course, course_of
from analyzer.course.skills import goal_of, roads
from analyzer.course.stretches import CourseWanted, course_bytes
from analyzer.horns.horn import Horn
from analyzer.library.files import Contents, Entry, find_entries
from analyzer.library.limits import WorkerLimits
from analyzer.library.purchase import Case, purchase
from analyzer.library.run import Work, run_pool
from analyzer.library.search import Wanted, search_bytes, sorted_rows
from analyzer.library.survey import Options, Record, Survey, assemble, survey_bytes
from analyzer.paper_here import Paper
from analyzer.plan.player import Player
from analyzer.plan.practiced import Practiced
from analyzer.problem import Problem, unreadable
from analyzer.report.course.document import course_blocks, course_problems
from analyzer.report.page_blocks import page_blocks, said_plainly
from analyzer.report.paper import sheet
from analyzer.report.plain import plain_line
from analyzer.report.search import search_blocks
from analyzer.report.survey.document import summary
from analyzer.report.survey.table import survey_csv
from analyzer.report.survey.text import (
    bought_sentences,
    files_sentence,
    findings,
    lines_sentence,
    survey_blocks,
)
from analyzer.score.transposing import Reads
from analyzer.section.section import Section
from analyzer.web.shelf import Folder, Held
from analyzer.web.sweeps import Tell
from analyzer.writing.readers import Clef

MOST_SHOWN = 60
"""Pieces that a search shows at most; judged: whoever wants more asks for something narrower."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseAsked:
    """A course as it is asked for: the change, for whom, in how many weeks (None: as many as it wants)."""

    before: Horn
    after: Horn
    player: Player
    clef: Clef | None
    weeks: int | None
    open_sheets: bool
    practiced: tuple[Practiced, ...] = ()
    reads: Reads | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetsAsked:
    """What a course is printed with: paper, the first day where a calendar is wanted, pages for the phone."""

    paper: Paper
    start: dt.date | None
    phone: str | None


def _swept(tell: Tell, folder: Folder, options: Any, work: Work) -> tuple[list[Entry], Survey]:
    """Go through a folder as the commands do, and tell how far it is."""
    tell({"doing": "Looking through the folder", "done": 0, "of": None, "name": ""})

    def seen(files: int) -> None:
        if files % 200 == 0:
            tell({"doing": "Looking through the folder", "done": files, "of": None, "name": ""})

    entries = find_entries(folder.path, seen=seen)
    scores = [entry for entry in entries if entry.status == "score"]
    records: dict[str, Record] = {}
    jobs = min(os.cpu_count() or 1, len(scores) or 1)
    tell({"doing": "Reading and planning", "done": 0, "of": len(scores), "name": ""})
    with closing(run_pool(scores, options, jobs=jobs, limits=WorkerLimits(), work=work)) as steps:
        for number, (entry, record) in enumerate(steps, 1):
            records[entry.name] = record
            tell({"doing": "Reading and planning", "done": number, "of": len(scores), "name": entry.name[-60:]})
    return entries, assemble(folder.name, entries, records)


def survey_answer(tell: Tell, folder: Folder, options: Options, section: Section | None) -> tuple[dict[str, Any], Held]:
    """Return what is in a folder, and what one more horn or lesson would open to a section where one is given."""
    entries, survey = _swept(tell, folder, options, survey_bytes)
    bought = None
    if section is not None and survey.lines:
        tell({"doing": "Weighing what one more horn would open", "done": 0, "of": None, "name": ""})
        bought = purchase(survey, section)
    return ({"said": _first(survey, bought), "blocks": page_blocks(survey_blocks(survey, bought, every=True)),
             "lines": len(survey.lines)}, Held(kind="survey", found=(survey, bought), entries=entries))


def _first(survey: Survey, bought: Case | None) -> str:
    """Say what matters most of a survey: what one step would open, else what an attachment is needed for."""
    if not survey.lines:
        return said_plainly("No line for trombone, euphonium or baritone was found.")
    sums = summary(survey)
    best = bought_sentences(bought)[1:2] if bought else []
    return said_plainly(" ".join([*(best or findings(sums)[:1]), lines_sentence(sums), files_sentence(sums)]))


def survey_file(survey: Survey, bought: Case | None, ending: str, paper: Paper) -> bytes:
    """Return a survey as a page with pictures, a sheet to print, or its table."""
    if ending == ".csv":
        return "".join(survey_csv(survey)).encode()
    if ending == ".pdf":
        return sheet(survey_blocks(survey, bought, every=True), paper)
    from analyzer.report.survey.page import survey_page

    return survey_page(survey, bought).encode()


def search_answer(tell: Tell, folder: Folder, wanted: Wanted, most: int) -> tuple[dict[str, Any], Held]:
    """Return the pieces or lines that suit, best first, each with the file that it is in."""
    entries, survey = _swept(tell, folder, wanted, search_bytes)
    good = [row for row in sorted_rows(survey) if row["verdict"] != "does not suit"]
    return ({"blocks": page_blocks(search_blocks(survey, most)), "found": len(good), "looked_at": len(survey.lines),
             "files": [{"file": row["file"], "part": row.get("part_id", ""), "line": row.get("line") or 1,
                        "horn": row.get("horn", "")} for row in good[:most]]},
            Held(kind="search", found=survey, entries=entries))


def search_file(survey: Survey, most: int, paper: Paper) -> bytes:
    """Return a search as a sheet to print."""
    return sheet(search_blocks(survey, most), paper)


def course_answer(tell: Tell, folder: Folder | None, asked: CourseAsked) -> tuple[dict[str, Any], Held]:
    """Return a change of horn week by week from the scores of a folder.

    Raises
    ------
    Unreadable
        If the change brings nothing to learn.
    """
    if not roads(asked.before, asked.after, asked.player, asked.clef):
        raise unreadable("no-change", where="course", what="this change brings no valve, slide or clef to learn",
                         try_="Choose another new horn, or a clef to learn.")
    goal = goal_of(asked.before, asked.after, asked.player, asked.clef)
    wanted = CourseWanted(goal=goal, reads=asked.reads)
    entries, lines, problems = _music(tell, folder, wanted)
    sheets: Sequence[Entry] = ()
    if asked.open_sheets:
        from analyzer.course.open_sheets import open_sheets

        sheets, more = open_sheets(wanted)
        lines = [*lines, *more]
    tell({"doing": "Choosing what comes when", "done": 0, "of": None, "name": ""})
    course = course_of(goal, lines, weeks=asked.weeks, practiced=asked.practiced)
    return ({"blocks": page_blocks(course_blocks(course)), "weeks": len(course.weeks),
             "missing": len(course.missing), "problems": [plain_line(problem) for problem in problems]},
            Held(kind="course", found=(course, asked.reads), entries=[*entries, *sheets]))


def _music(tell: Tell, folder: Folder | None, wanted: CourseWanted,
           ) -> tuple[list[Entry], list[Record], tuple[Problem, ...]]:
    if folder is None:
        return [], [], ()
    entries, survey = _swept(tell, folder, wanted, course_bytes)
    return entries, list(survey.lines), course_problems(survey)


def course_sheets(tell: Tell, course: Course, entries: list[Entry], reads: Reads | None, how: SheetsAsked,
                  ) -> tuple[dict[str, Any], Held]:
    """Make every sheet of a course, as one archive."""
    from analyzer.report.course.sheets import course_files

    tell({"doing": "Making the sheets", "done": 0, "of": None, "name": f"{len(course.weeks)} weeks"})
    files, problems = course_files(course, entries, reads=reads, paper=how.paper, start=how.start, phone=how.phone)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(files.items()):
            # No time of day: the same course gives the same bytes.
            archive.writestr(zipfile.ZipInfo(f"course/{name}", (1980, 1, 1, 0, 0, 0)), content)
    return ({"files": sorted(files), "problems": [plain_line(problem) for problem in problems]},
            Held(kind="sheets", found=packed.getvalue()))


def score_bytes(entries: Sequence[Entry], name: object) -> tuple[bytes, str]:
    """Return a score of a folder that was looked through, and its name.

    Raises
    ------
    Unreadable
        If it is not among them, or has gone or changed since.
    """
    entry = next((entry for entry in entries if entry.name == name), None)
    if entry is None:
        raise unreadable("no-file", where="folder", what="this score was not among them",
                         try_="Look through the folder once more.")
    with closing(Contents()) as contents:
        return contents.read(entry), entry.name.rsplit("/", 1)[-1]

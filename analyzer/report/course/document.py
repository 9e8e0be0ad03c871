"""A course as data and as text."""

from collections.abc import Iterable, Sequence
from typing import Any

from analyzer import cautions
from analyzer.course.course import Course, Excerpt
from analyzer.course.skills import Goal, RoadSkill
from analyzer.library.survey import Survey
from analyzer.problem import Problem
from analyzer.report.blocks import Block, Cautions, Gap, Head, Said, Title, as_text
from analyzer.words import agreeing, counted, listed

SCHEMA = "lowbrass.course/1"
DECIDES = ("The teacher who is present decides what is new when, and whether a week was enough. The weeks are an "
           "offer: nothing here has been tried out on students.")


def course_document(course: Course, files: Sequence[str], problems: Iterable[Problem]) -> dict[str, Any]:
    """Return the JSON document."""
    goal = course.goal
    return {
        "schema": SCHEMA, "from": goal.before.name, "to": goal.after.name, "clef": goal.clef,
        "player": goal.player.name,
        "goal": [_skill_json(goal, skill) for skill in goal.skills],
        "done": [skill.id for skill in goal.done],
        "weeks": [{"week": week.number, "new": [_skill_json(goal, skill) for skill in week.new],
                   "again": [_skill_json(goal, skill) for skill in week.again],
                   "excerpts": [_excerpt_json(one) for one in week.excerpts]} for week in course.weeks],
        "missing": [{"skill": _skill_json(goal, skill), "why": why} for skill, why in course.missing],
        "exact": course.exact, "decides": DECIDES,
        "files": list(files),
        "problems": [problem.as_json() for problem in problems],
        "cautions": list(course_cautions(goal)),
    }


def _skill_json(goal: Goal, skill: RoadSkill) -> dict[str, Any]:
    return {"id": skill.id, "name": skill.name, "needs": list(goal.needs(skill)), "level": skill.level,
            "order": "cited" if skill.cited else "judged", "source": skill.source}


def _excerpt_json(one: Excerpt) -> dict[str, Any]:
    return {"score": one.score, "part": {"id": one.part_id, "name": one.part}, "line": one.line,
            "measures": [one.first, one.last], "why": one.why, "new": list(one.new),
            "again": list(one.again), "open_sheet": one.open_sheet}


def course_cautions(goal: Goal) -> tuple[str, ...]:
    """Return the cautions of a change, and that a reach from height is an estimate."""
    slide = goal.after.family == "slide"
    lines = cautions.for_changing(slide=slide, valves=not slide)
    if goal.player.reach_estimated and slide:
        lines = (*lines, "The reach is an estimate from body height, kept low; measure it with the horn in hand.")
    return lines


def course_problems(survey: Survey) -> tuple[Problem, ...]:
    """Return what stood in the way of reading the folder, a problem a file."""
    found = []
    for row in survey.files.having("unreadable"):
        told = row["problem"]
        if told:
            found.append(Problem(severity="warning", code=told["code"], where=told["where"], what=told["what"],
                                 try_=told["try"]))
    if not survey.lines:
        found.append(Problem(severity="warning", code="no-line", where=survey.folder,
                             what="no score of this folder has a trombone, euphonium or baritone line that can be read",
                             try_="Name a folder with MusicXML scores (.musicxml, .mxl)."))
    return tuple(found)


def left_over(folder: str, names: Sequence[str]) -> tuple[Problem, ...]:
    """Return the note that sheets of an earlier, longer course still lie in the folder; none without any."""
    if not names:
        return ()
    return (Problem(severity="note", code="earlier-sheets", where=folder,
                    what=f"{listed(names)} {agreeing(len(names), 'come')} from an earlier course and "
                         f"{'was' if len(names) == 1 else 'were'} left alone",
                    try_="Take them away if they are not wanted."),)


def place_said(one: Excerpt) -> str:
    """Return score, part and measures of an excerpt in words."""
    line = f" (player {one.line} of {one.of})" if one.of > 1 else ""
    where = f"m. {one.first}" if one.first == one.last else f"mm. {one.first}-{one.last}"
    sheet = " (open sheet)" if one.open_sheet else ""
    return f"{one.title}{sheet}, {one.part}{line}, {where}"


def open_sheet_said(course: Course) -> str:
    """Say what is learned from sheets that come along, and that own music may take their place; empty without any."""
    from_sheets = [skill.short for week in course.weeks for skill in week.new
                   if all(one.open_sheet for one in week.excerpts if skill.id in one.new)]
    if not from_sheets:
        return ""
    return (f"From open sheets, as no score here that this player can play has it: {'; '.join(from_sheets)}. The "
            "sheets were written for this; a piece of your own with the same notes may take their place.")


def course_text(course: Course, files: Sequence[str]) -> str:
    """Return the course in words: week by week, what is missing, what was written."""
    return as_text(course_blocks(course, files))


def course_blocks(course: Course, files: Sequence[str] = ()) -> list[Block]:
    """Return the parts of the course: week by week, what is missing, what was written, the cautions."""
    goal = course.goal
    out: list[Block] = [Gap(), Title(title_of(course)), Said(goal_said(course), indent=2), Gap(), Said(DECIDES)]
    for week in course.weeks:
        out += [Head(f"Week {week.number}"), *(Said(f"new: {skill.name}", indent=2) for skill in week.new)]
        if not week.new:
            out.append(Said("nothing new: this week comes back to the rest", indent=2))
        if week.again:
            out.append(Said(f"again: {'; '.join(skill.short for skill in week.again)}", indent=2))
        out += [Said(f"{place_said(one)}: {one.why}", indent=2) for one in week.excerpts]
    if goal.done:
        out += [Gap(), Said(f"Left out, as the player file has it: {'; '.join(skill.name for skill in goal.done)}")]
    if sheets := open_sheet_said(course):
        out += [Gap(), Said(sheets)]
    if course.missing:
        out += [Head("Missing"), *(Said(f"{skill.name}: {why}.", indent=2) for skill, why in course.missing)]
    if not course.exact:
        out += [Gap(), Said("So many ways were open that not all were looked at; another order may cost a little "
                            "less.")]
    if files:
        out += [Gap(), Said(f"Written: {', '.join(files)}")]
    return [*out, Cautions(course_cautions(goal))]


def title_of(course: Course) -> str:
    """Return the heading of a course."""
    goal = course.goal
    who = "A player" if goal.player.name == "player" else goal.player.name
    way = f"from {goal.before.name} to {goal.after.name}" if goal.before.name != goal.after.name else \
        f"on {goal.after.name}"
    clef = f", reading {clef_said(goal.clef)}" if goal.clef else ""
    return f"{who}: {way}{clef}"


def clef_said(clef: str) -> str:
    """Return a clef in words."""
    return "treble clef in B♭" if clef == "treble-b-flat" else f"{clef} clef"


def goal_said(course: Course) -> str:
    """Say how much is to learn and in how long."""
    learned = sum(len(week.new) for week in course.weeks)
    return (f"{counted(len(course.goal.skills), 'thing')} to learn; {learned} in {counted(len(course.weeks), 'week')}, "
            f"{len(course.missing)} missing.")

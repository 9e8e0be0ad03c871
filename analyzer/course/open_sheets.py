"""Sheets that come along, for what a school's own scores do not have: short pieces written for this, CC0.

Each brings the notes of one road in the order of its skills, four measures for each thing, at an unhurried tempo.
"""

from dataclasses import replace
from pathlib import Path

from analyzer.course.stretches import CourseWanted, course_bytes
from analyzer.library.files import Entry, find_entries
from analyzer.library.survey import Record

_FOLDER = Path(__file__).with_name("open_sheets")
_SHOWN = "open sheets"


def open_sheets(wanted: CourseWanted) -> tuple[list[Entry], list[Record]]:
    """Return the sheets as files, and the rows of their lines for a course, each with `open_sheet` set."""
    entries = [replace(one, name=f"{_SHOWN}/{one.name}") for one in find_entries(_FOLDER)]
    lines: list[Record] = []
    for entry in entries:
        record = course_bytes(entry.name, entry.path.read_bytes(), wanted)
        lines += [{"file": entry.name, "title": record["title"], "open_sheet": True, **line}
                  for line in record["lines"]]
    return entries, lines

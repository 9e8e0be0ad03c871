"""Pins of the page to a pins file and back: on the page a note is named by its place, in the file by its measure."""

from typing import Any

from analyzer.marking.pins import Pin as FilePin
from analyzer.marking.pins import PinnedPart, missing_line, part_of, pins_file, read_pins_file
from analyzer.problem import Unreadable, unreadable
from analyzer.score.document import Document
from analyzer.score.line import Line
from analyzer.score.parts import find_parts
from analyzer.selection import attack, part_lines
from analyzer.toml_file import parse_table
from analyzer.web.asked import Pin
from analyzer.web.work import nths


def pins_text(document: Document, pins: tuple[Pin, ...]) -> str:
    """Return the pins of the page as a pins file; those of notes that the score lacks are left out.

    Raises
    ------
    Unreadable
        If nothing is pinned.
    """
    parts = []
    for part in find_parts(document)[0]:
        mine = [pin for pin in pins if pin.part == part.id]
        if not mine:
            continue
        held = {(pin.line, pin.ref): pin.label for pin in mine}
        written = [FilePin(measure=note.measure, nth=nth, label=held[line.number, note.refs[0]],
                           line=line.number if line.of > 1 else None)
                   for line in part_lines(document, part)[0] for note, nth in zip(line.notes, nths(line), strict=True)
                   if (line.number, note.refs[0]) in held]
        parts.append(PinnedPart(id=part.id, name=part.full_name or part.name, pins=tuple(written)))
    if not parts:
        raise unreadable("no-pins", where=document.name, what="nothing is pinned yet",
                         try_="Click a note and choose how to play it.")
    return pins_file(parts)


def read_pins(document: Document, text: str, name: str) -> dict[str, Any]:
    """Return the pins of a pins file for the page, and a line for each that this score has no note for.

    Raises
    ------
    Unreadable
        If the file is none, or not one of its pins belongs here.
    """
    try:
        given = read_pins_file(parse_table(text, name))
    except RecursionError:
        raise unreadable("toml", where=name, what="its lists lie too deep in each other", try_="Check the file.") \
            from None
    parts = find_parts(document)[0]
    lines: dict[str, tuple[Line, ...]] = {}
    pins: list[dict[str, Any]] = []
    missed: list[str] = []
    for one in given:
        part = part_of(one, parts)
        if part is None:
            missed.append(f"{name}: this score has no part '{one.name or one.id}'.")
            continue
        if part.id not in lines:
            lines[part.id] = part_lines(document, part)[0]
        for pin in one.pins:
            try:
                pins.append({"part": part.id, **_placed(lines[part.id], one, pin, name)})
            except Unreadable as error:
                missed.append(error.problem.line())
    if not pins:
        raise unreadable("bad-pin", where=name, what="none of its pins belongs to this score",
                         try_="Open the score that they were made for first.")
    return {"pins": pins, "missed": missed}


def _placed(lines: tuple[Line, ...], part: PinnedPart, pin: FilePin, name: str) -> dict[str, Any]:
    number = pin.line or 1
    if not 1 <= number <= len(lines):
        raise missing_line(name, part, pin, len(lines))
    note = lines[number - 1].notes[attack(lines[number - 1], pin.measure, pin.nth)]
    return {"line": number, "ref": note.refs[0], "label": pin.label, "measure": pin.measure, "nth": pin.nth,
            "written": note.written.pretty}


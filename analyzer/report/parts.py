"""The parts of a score told: document, text, rows."""

from collections.abc import Iterable, Sequence
from typing import Any

from analyzer.pitch import Pitch
from analyzer.problem import Problem
from analyzer.score.document import Document
from analyzer.score.facts import NO_NOTES, PartFacts, part_facts
from analyzer.score.parts import PartInfo, find_parts
from analyzer.tables import csv_text

SCHEMA = "lowbrass.parts/1"
_COLUMNS = ("id", "name", "family", "low_brass", "clefs", "written_low", "written_high", "sounding_low",
            "sounding_high", "notes", "lines", "horn", "evidence")
_Found = Sequence[tuple[PartInfo, PartFacts]]


def parts_of(document: Document, *, every: bool = True) -> tuple[list[tuple[PartInfo, PartFacts]], tuple[Problem, ...]]:
    """Return every part with its facts, in score order, and what was found wrong.

    Without `every` only low brass is read: the other parts have the facts of no notes, and say as little of problems.
    """
    infos, found = find_parts(document)
    problems = list(found)
    result: list[tuple[PartInfo, PartFacts]] = []
    for info in infos:
        facts, more = part_facts(document, info) if every or info.low_brass else (NO_NOTES, ())
        result.append((info, facts))
        problems.extend(more)
    return result, tuple(problems)


def parts_document(document: Document, found: _Found, problems: Iterable[Problem]) -> dict[str, Any]:
    """Return the parts as the data contract has them."""
    return {
        "schema": SCHEMA,
        "score": {"file": document.name, "title": document.title},
        "parts": [_json(info, facts) for info, facts in found],
        "problems": [problem.as_json() for problem in problems],
    }


def _json(info: PartInfo, facts: PartFacts) -> dict[str, Any]:
    return {
        "id": info.id, "name": info.name, "full_name": info.full_name, "family": info.family,
        "low_brass": info.low_brass, "evidence": list(info.evidence), "clefs": list(facts.clefs),
        "written_low": _name(facts.written_low), "written_high": _name(facts.written_high),
        "sounding_low": _name(facts.sounding_low), "sounding_high": _name(facts.sounding_high),
        "notes": facts.notes, "lines": facts.lines, "horn": info.horn,
    }


def parts_csv(found: _Found) -> str:
    """Return one row per part; several texts in a cell are parted by semicolons."""
    return csv_text([_json(info, facts) for info, facts in found], _COLUMNS)


def parts_text(document: Document, found: _Found) -> str:
    """Return a table for the terminal: low-brass parts first with their evidence, the others in a line each."""
    title = f"{document.name}{f': {document.title}' if document.title else ''}"
    ours = [(info, facts) for info, facts in found if info.low_brass]
    others = [info for info, _ in found if not info.low_brass]
    lines = [title, ""]
    if not ours:
        lines += ["No trombone, euphonium or baritone part was recognized. If one is there under another name, plan it "
                  "with:", "  lowbrass map SCORE --part ID", ""]
    for info, facts in ours:
        sounding = f"sounding {_range(facts.sounding_low, facts.sounding_high)}"
        if facts.written_low != facts.sounding_low:
            sounding += f" (written {_range(facts.written_low, facts.written_high)})"
        count = "1 line" if facts.lines == 1 else f"{facts.lines} lines"
        lines += [f"{info.id}  {info.full_name}: {info.family}",
                  f"    {facts.notes} notes, {count}, {', '.join(facts.clefs) or 'no'} clef, {sounding}" if facts.notes
                  else "    no notes",
                  f"    planned for {info.horn} unless you say --horn",
                  f"    because of {'; '.join(info.evidence)}", ""]
    if others:
        lines += ["Other parts:", *(f"    {info.id}  {info.full_name}" for info in others)]
    return "\n".join(lines).rstrip()


def _range(low: Pitch | None, high: Pitch | None) -> str:
    return f"{low.pretty if low else '?'}–{high.pretty if high else '?'}"


def _name(pitch: Pitch | None) -> str | None:
    return None if pitch is None else pitch.name

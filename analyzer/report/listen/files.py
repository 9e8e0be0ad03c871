"""What was heard, written into files: the score with the findings as words, the part with a line of deviation."""

from collections.abc import Sequence
from pathlib import Path

from analyzer.analysis import Analysis, Planned
from analyzer.hearing.hear import Hearing
from analyzer.marking.annotate import annotated
from analyzer.marking.ossia import repitched
from analyzer.marking.which import marks
from analyzer.problem import unreadable
from analyzer.report.listen.document import Student
from analyzer.report.listen.text import short_finding
from analyzer.report.map.file import SCORES, in_form
from analyzer.score.document import Document, read_document


def listen_file(document: Document, analysis: Analysis, students: Sequence[Student], output: Path) -> bytes:
    """Return a file of what was heard: a score (of one recording) or a page (a section a student), by its ending.

    Raises
    ------
    Unreadable
        If nothing was heard, a score is asked for a whole class, or the music cannot be engraved.
    ValueError
        If the ending is another one.
    """
    hearings = [one.hearing for one in students if one.hearing is not None]
    if not hearings:
        raise unreadable("nothing-heard", where=document.name, what="no recording could be heard, so nothing was "
                         "written", try_="See what is said of each.")
    if output.suffix.lower() in SCORES:
        if len(students) > 1:
            raise unreadable("one-recording", where=document.name, what="a score holds the findings of one recording",
                             try_="Write a page (.html, .pdf) for a class, or name one recording.")
        return _score(document, hearings[0], output)
    from analyzer.report.listen.page import listen_page

    return listen_page(analysis, students, output.suffix.lower())


def _score(document: Document, hearing: Hearing, output: Path) -> bytes:
    """Return the score with the plan's marks, and the findings as words over their notes."""
    planned: Planned = hearing.planned
    words = {planned.plan.notes[note.index].note.refs[0]: said for note in hearing.notes
             if (said := short_finding(note))}
    told = repitched(document, {}, words={planned.part.id: words}) if words else (document.archive or document.xml)
    marked = annotated(read_document(told, document.name), marks([planned]))
    return in_form(marked, document, output)

"""Work that takes a while, done anew from a score's bytes by a worker process, as the command line does it."""

from collections.abc import Sequence
from typing import Any

from analyzer.analysis import Request, analyse
from analyzer.engrave.copy import engraving_copy
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.marking.ossia import repitched
from analyzer.marking.which import marks
from analyzer.paper_here import Paper
from analyzer.plain import json_text
from analyzer.problem import unreadable
from analyzer.report.compare import compare_blocks, compare_document
from analyzer.report.fit.page import section_page
from analyzer.report.map.document import map_document
from analyzer.report.page_answers import fit_answer
from analyzer.review.compare import compare
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import Refusal, ossia
from analyzer.score.document import OWN_FORM_ENDINGS, SCORE_ENDINGS, read_document, read_score
from analyzer.score.parts import find_parts
from analyzer.section.fit import fit
from analyzer.section.section import Section
from analyzer.selection import between, part_lines
from analyzer.web.engraver import engrave

ENDINGS = (*SCORE_ENDINGS, ".pdf", ".html", ".json")


def file_of(data: bytes, name: str, request: Request, ending: str, paper: Paper) -> bytes:
    """Read, plan and write one file anew, as the command line does.

    Raises
    ------
    Unreadable
        As for `analyse` and the writers.
    """
    if ending in OWN_FORM_ENDINGS:
        from analyzer.marking.source_file import annotated_source

        analysis = analyse(read_score(data, name), request)
        return annotated_source(analysis.document, marks(analysis.lines))
    analysis = analyse(read_document(data, name), request)
    if ending == ".json":
        return json_text(map_document(analysis)).encode()
    if ending in SCORE_ENDINGS:
        from analyzer.marking.annotate import annotated

        return annotated(analysis.document, marks(analysis.lines))
    from analyzer.report.map.pages import PageChoices, page_file

    return page_file(analysis, ending, PageChoices(paper=paper))


def comparison_of(data: bytes, name: str, horns: tuple[Horn, ...], request: Request) -> dict[str, Any]:
    """Read a score anew and plan it on several horns, as the command line does; return the JSON document.

    Raises
    ------
    Unreadable
        As for `compare`.
    """
    return compare_document(compare(read_document(data, name), horns, request))


def comparison_sheet(data: bytes, name: str, horns: tuple[Horn, ...], request: Request, paper: Paper) -> bytes:
    """Return the same comparison as a sheet to print. Raises as `comparison_of`."""
    from analyzer.report.paper import sheet

    comparison = compare(read_document(data, name), horns, request)
    return sheet(compare_blocks(comparison), paper, comparison.problems)


def fit_of(data: bytes, name: str, section: Section, measures: tuple[str, str] | None,
           tempo_bpm: float | None) -> dict[str, Any]:
    """Read a score anew and fit a section to it, as the command line does; return the answer.

    Raises
    ------
    Unreadable
        As for `fit`.
    """
    return fit_answer(fit(read_document(data, name), section, measures=measures, tempo_bpm=tempo_bpm))


def fit_page_of(data: bytes, name: str, section: Section, measures: tuple[str, str] | None,
                tempo_bpm: float | None) -> bytes:
    """Return the page of the same answer: one HTML file. Raises as `fit_of`."""
    return section_page(fit(read_document(data, name), section, measures=measures, tempo_bpm=tempo_bpm))


def playable_file(data: bytes, name: str, request: Request, refused: Sequence[Refusal] = ()) -> bytes:
    """Read a score anew and return it with other notes where its own cannot be played, as the command line does.

    Raises
    ------
    Unreadable
        If nothing can be changed, or as for `analyse`.
    """
    document = read_document(data, name)
    changed = ossia(review(analyse(document, request)), Harmony(document), refused)
    if not changed.changes:
        what = "none of the notes that cannot be played has another to take its place" if changed.left \
            else "there is nothing to change: every note can be played"
        raise unreadable("no-change", where=name, what=what, try_="Look at the findings of the review.")
    return repitched(document, changed.by_part(), changed.glides(), changed.marks())


def change_shown(data: bytes, name: str, request: Request, place: str, width_px: int) -> dict[str, str]:
    """Return pictures of the measure of one change, as written and as changed, each with its marks: before, after.

    Raises
    ------
    Unreadable
        If there is no such change, or as for `analyse`.
    """
    document = read_document(data, name)
    analysis = analyse(document, request)
    changed = ossia(review(analysis), Harmony(document))
    change = next((change for change in changed.changes if change.place == place), None)
    if change is None or change.finding.index is None:
        raise unreadable("no-change", where=name, what="there is no such change", try_="Look at the review again.")
    line = next(planned.plan.line for planned in analysis.lines
                if planned.part.id == change.finding.part_id and planned.plan.line.number == change.finding.line)
    index = line.notes[change.finding.index].measure_index
    after = read_document(repitched(document, changed.by_part(), changed.glides(), changed.marks()), name)
    return {when: engrave(engraving_copy(shown.document, change.finding.part_id, tuple(marks(shown.lines)),
                                         measures=(index, index)), width_px)[0]
            for when, shown in (("before", analysis), ("after", analyse(after, request)))}


def take_home_file(data: bytes, name: str, request: Request, line: int) -> bytes:
    """Read a score anew and return the page of one line that a student takes home. Raises as `take_home`."""
    from analyzer.report.take_home.page import take_home

    return take_home(read_document(data, name), request, line=line)[0]


def practice_file(data: bytes, name: str, request: Request, paper: Paper) -> bytes:
    """Read a score anew and return a practice sheet of the part's hard moves as PDF. Raises as `drills_for`."""
    from analyzer.practice.drills import drills_for
    from analyzer.report.drill.file import sheet_content

    return sheet_content(drills_for(read_document(data, name), request), (), ".pdf", paper)


def chart_of(horn: str, paper: Paper) -> bytes:
    """Return the wall chart of a horn as PDF."""
    from analyzer.report.chart.page import chart_file

    return chart_file(load_horn(horn), ".pdf", paper=paper)


def midi_file(
    data: bytes, name: str, part_id: str, measures: tuple[str, str] | None, tempo_bpm: float | None,
) -> bytes:
    """Read a score anew and return one part, or some measures of it, at sounding pitch as a MIDI file.

    `tempo_bpm` holds in place of the score's own tempi. [quarter notes a minute]

    Raises
    ------
    Unreadable
        If the measures are not there.
    ValueError
        If the part has no music.
    """
    from analyzer.engrave.engrave import midi_of

    document = read_document(data, name)
    span = None
    if measures:
        part = next(part for part in find_parts(document)[0] if part.id == part_id)
        cut = between(part_lines(document, part)[0][0], *measures, name=name).measures
        span = (cut[0].index, cut[-1].index)
    return midi_of(document, part_id, measures=span, tempo_bpm=tempo_bpm)

"""`lowbrass write`: a line written for its reader as a document, in words, and as the files that are asked for."""

from collections.abc import Iterable, Sequence
from typing import Any, Literal

from analyzer import cautions
from analyzer.analysis import Analysis, Request, analyse
from analyzer.engrave.options import PageOptions
from analyzer.pitch import pitch_of
from analyzer.problem import Problem, unreadable
from analyzer.review.findings import Finding, finding_at
from analyzer.review.line import review
from analyzer.score.archive import new_archive
from analyzer.score.lines import LineNote
from analyzer.stave import USUAL_STAVE, Stave
from analyzer.words import counted, first_few
from analyzer.writing.phrases import Phrase
from analyzer.writing.write import Written

SCHEMA = "lowbrass.write/1"
SCORES, PAGES = (".musicxml", ".xml", ".mxl"), (".pdf", ".svg", ".html")
_CLEFS = {"treble-b-flat": "treble clef in B flat"}


def planned(written: Written, request: Request) -> Analysis | None:
    """Plan the written line for the horn that will play it, None where the reader has neither slide nor valves."""
    if written.reader.horn is None:
        return None
    return analyse(written.document, Request(
        parts=("P1",), horns=(written.reader.horn.name,), player=request.player, tempo_bpm=request.tempo_bpm,
        weights=request.weights))


def write_document(written: Written, analysis: Analysis | None, files: tuple[str, ...],
                   problems: tuple[Problem, ...] = ()) -> dict[str, Any]:
    """Return the JSON document of a written part."""
    reader, line, part = written.reader, written.line, written.asked.part
    return {
        "schema": SCHEMA,
        "part": {"id": part.id, "name": part.name}, "line": line.number, "of": line.of,
        "reader": {
            "name": reader.name, "clef": reader.clef, "written_above_sounding": reader.written_above_sounding,
            "low": pitch_of(reader.low).name if reader.low is not None else None,
            "high": pitch_of(reader.high).name if reader.high is not None else None,
            "horn": reader.horn.name if reader.horn is not None else None},
        "phrases": phrases_json(written.phrases, line.notes),
        "outside": [{"index": index, "measure": line.notes[index].measure,
                     "sounding": pitch_of(_midi(written, index)).name} for index in written.outside],
        "files": list(files),
        "findings": [finding.as_json() for finding in findings(written, analysis)],
        "problems": [problem.as_json() for problem in (*problems, *(analysis.problems if analysis else ()))],
        "cautions": list(_cautions(analysis)),
    }


def phrases_json(phrases: Iterable[Phrase], notes: Sequence[LineNote]) -> list[dict[str, Any]]:
    """Return the phrases of a line with the octaves by which they moved, as data."""
    return [{"first": phrase.first, "last": phrase.last,
             "measures": [notes[phrase.first].measure, notes[phrase.last].measure],
             "octaves": phrase.octaves, "why": phrase.why} for phrase in phrases]


def findings(written: Written, analysis: Analysis | None) -> list[Finding]:
    """Return what a review finds in the written line; for another instrument, the notes outside its range."""
    if analysis is not None:
        return [finding for reviewed in review(analysis) for finding in reviewed.findings]
    reader = written.reader
    return [finding_at(written.line, index, "out-of-range", "stop",
                       f"{pitch_of(_midi(written, index)).pretty} is outside the range of the {reader.name}",
                       more=("Leave the note out, or give it to another player.",)) for index in written.outside]


def _midi(written: Written, index: int) -> int:
    return written.line.notes[index].midi + 12 * written.octaves.get(index, 0)


def _cautions(analysis: Analysis | None) -> tuple[str, ...]:
    return analysis.cautions if analysis is not None else (cautions.BREAKS, cautions.WHO)


def write_text(written: Written, analysis: Analysis | None) -> str:
    """Say what was written for whom, which phrases moved and why, and what stays outside."""
    part, line, reader = written.asked.part, written.line, written.reader
    whose = f", {line.whose}" if line.whose else ""
    clef = _CLEFS.get(reader.clef, f"{reader.clef} clef")
    above = f", written {interval_said(reader.written_above_sounding)} above the sound" \
        if reader.written_above_sounding else ""
    out = [f"{part.full_name or part.name or part.id}{whose}, for {_reader_said(written)}: {clef}{above}."]
    moved = [phrase for phrase in written.phrases if phrase.octaves]
    if not moved:
        out.append("No note moved to another octave.")
    for phrase in moved:
        out.append(f"  {_measures(written, phrase)}: {phrase.why}.")
    for phrase in written.phrases:
        if phrase.outside and not phrase.octaves:
            out.append(f"  {_measures(written, phrase)}: {phrase.why}.")
    if written.outside:
        places = list(dict.fromkeys(f"{pitch_of(_midi(written, index)).pretty} in m. {line.notes[index].measure}"
                                    for index in written.outside))
        count = len(written.outside)
        out.append(f"{counted(count, 'note')} cannot be played in any octave: {first_few(places, 8)}.")
    found = [finding for finding in findings(written, analysis) if finding.severity != "note"]
    if analysis is not None and found:
        out.append(f"{counted(len(found), 'place')} to check on this horn: run lowbrass "
                   "review on the written part.")
    return "\n".join([*out, *(f"Caution: {text}" for text in _cautions(analysis)[:1])])


def _reader_said(written: Written) -> str:
    reader = written.reader
    if (reader.low is None and reader.horn is None) or reader.name == reader.clef:
        return "a reader of another clef"
    return reader.name


def _measures(written: Written, phrase: Phrase) -> str:
    first, last = (written.line.notes[index].measure for index in (phrase.first, phrase.last))
    return f"m. {first}" if first == last else f"mm. {first}-{last}"


def interval_said(semitones: int) -> str:
    """Name the interval of a transposing part: how far the written note lies from the sound."""
    return {14: "a major ninth", 12: "an octave", 2: "a major second"}.get(semitones, f"{semitones} half steps")


def write_bytes(written: Written, analysis: Analysis | None, ending: str, *, marked: bool,
                paper: Literal["a4", "letter"] = "a4", large: bool = False, stave: Stave = USUAL_STAVE) -> bytes:
    """Return a file of the written part: a score or a page, by its ending.

    A page without marks has the sizes of `stave`, one with marks those of the analysis' player.

    Raises
    ------
    Unreadable
        If the music cannot be engraved.
    ValueError
        If the ending is another one.
    """
    marked = marked and analysis is not None
    if ending in SCORES:
        score = written.document.xml
        if marked and analysis is not None:
            from analyzer.marking.annotate import annotated
            from analyzer.marking.which import marks

            score = annotated(written.document, marks(analysis.lines))
        return new_archive(score) if ending == ".mxl" else score
    if ending not in PAGES:
        raise ValueError(f"a part is written as {', '.join((*SCORES, *PAGES))}, not {ending!r}")
    if marked and analysis is not None:
        from analyzer.report.map.pages import PageChoices, page_file

        return page_file(analysis, ending, PageChoices(paper=paper, large=large))
    return _bare_page(written, ending, PageOptions(
        paper=paper if ending == ".pdf" else "screen", large_print=large, stave=stave))


def _bare_page(written: Written, ending: str, options: PageOptions) -> bytes:
    """Engrave a part without marks."""
    where = f"{written.document.name}"
    if ending == ".html":
        raise unreadable("no-page", where=where, what="a page has marks and pictures, and this part has none",
                         try_="Write it as .pdf, .svg or .musicxml.")
    try:
        from analyzer.engrave.engrave import engraved_pages, engraving_copy
        from analyzer.engrave.pdf import pdf_of

        copy = engraving_copy(written.document, "P1", title=written.document.title,
                              subtitle=f"{written.document.root.findtext('part-list/score-part/part-name')} · "
                                       f"{_reader_said(written)}")
        pages = engraved_pages(copy, options)
        return pdf_of(pages, options, title=written.document.title) if ending == ".pdf" else pages[0].encode()
    except ModuleNotFoundError as error:
        raise unreadable("missing-extra", where=where, what=f"a page with music needs {error.name}, which is not "
                         "installed", try_="Install the extra: pip install 'lowbrass[engrave]'") from error
    except ValueError as error:
        raise unreadable("cannot-engrave", where=where, what=f"the music cannot be engraved: {error}",
                         try_="Write a .musicxml and print that from your editor.") from error

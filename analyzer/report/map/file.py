"""What `map` writes: a marked score, or a page, as the ending of the file says."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Literal

from analyzer.analysis import Analysis, Planned, with_notes
from analyzer.marking.which import Pictures, Which, WriteAs, marks
from analyzer.problem import unreadable
from analyzer.score.archive import new_archive
from analyzer.score.document import OWN_FORM_ENDINGS, Document, read_document

_PAGES = (".svg", ".pdf", ".html")
BRAILLE = ".brf"
SCORES = (".musicxml", ".xml", ".mxl")
ENDINGS = (*SCORES, *OWN_FORM_ENDINGS, *_PAGES, BRAILLE)
"""Of the files that a map writes."""


def map_file(analysis: Analysis, output: Path, *, paper: Literal["a4", "letter"] = "a4", large: bool = False,
             which: Which = "all", write_as: WriteAs = "fingering", pictures: Pictures = "hard",
             each: Callable[[Iterable[Planned]], Iterable[Planned]] = iter) -> bytes:
    """Return what is written to `output`, whose ending is one of `ENDINGS`: a marked score, or a page."""
    ending = output.suffix.lower()
    analysis = with_notes(analysis)
    if ending in OWN_FORM_ENDINGS:
        from analyzer.marking.source_file import annotated_source

        _check_form(analysis.document, output)
        if write_as != "fingering":
            raise unreadable("other-form", where=output.name, what="--write-as lyric is for MusicXML alone",
                             try_="Leave it out, or name a .musicxml file.")
        return annotated_source(analysis.document, marks(analysis.lines, which))
    if ending in SCORES:
        from analyzer.marking.annotate import annotated

        marked = annotated(analysis.document, marks(analysis.lines, which), write_as)
        return in_form(marked, analysis.document, output)
    if ending == BRAILLE:
        from analyzer.report.braille.braille import braille_file

        return braille_file(analysis)
    from analyzer.report.map.pages import PageChoices, page_file

    return page_file(analysis, ending, PageChoices(paper=paper, large=large, which=which,
                                                    pictures=pictures), each=each)


def cleared_file(document: Document, output: Path) -> bytes:
    """Return the score without our marks, as the ending of `output` wants it."""
    if output.suffix.lower() in OWN_FORM_ENDINGS:
        from analyzer.marking.source_file import cleared_source

        _check_form(document, output)
        return cleared_source(document)
    from analyzer.marking.annotate import cleared

    return in_form(cleared(document), document, output)


def _check_form(document: Document, output: Path) -> None:
    """Refuse to change one form into another: what our reading leaves out would be lost."""
    ending = document.source.ending if document.source else document.ending
    if ending != output.suffix.lower():
        names = dict.fromkeys((f"{output.stem}{ending}", f"{output.stem}.musicxml"))
        raise unreadable("other-form", where=output.name, what=f"'{document.name}' cannot be written in this form; its "
                         "marks go into a copy of its own form, or into MusicXML",
                         try_=f"Name the output {' or '.join(names)}.")


def in_form(score: bytes, document: Document, output: Path) -> bytes:
    """Return a score as the ending of `output` wants it: plain or compressed, whatever the input was."""
    packed = document.archive is not None
    wanted = output.suffix.lower() == ".mxl"
    if packed == wanted:
        return score
    return new_archive(score) if wanted else read_document(score, output.name).xml

"""What `map` writes: a marked score, or a page, as the ending of the file says."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Literal

from analyzer.analysis import Analysis, Planned, with_notes
from analyzer.marking.which import Which, WriteAs, marks
from analyzer.score.archive import new_archive
from analyzer.score.document import Document, read_document

_PAGES = (".svg", ".pdf", ".html")
SCORES = (".musicxml", ".xml", ".mxl")
ENDINGS = (*SCORES, *_PAGES)
"""Of the files that a map writes."""


def map_file(analysis: Analysis, output: Path, *, paper: Literal["a4", "letter"] = "a4", large: bool = False,
             which: Which = "all", write_as: WriteAs = "fingering",
             each: Callable[[Iterable[Planned]], Iterable[Planned]] = iter) -> bytes:
    """Return what is written to `output`, whose ending is one of `ENDINGS`: a marked score, or a page."""
    ending = output.suffix.lower()
    analysis = with_notes(analysis)
    if ending in SCORES:
        from analyzer.marking.annotate import annotated

        marked = annotated(analysis.document, marks(analysis.lines, which), write_as)
        return in_form(marked, analysis.document, output)
    from analyzer.report.map.pages import PageChoices, page_file

    return page_file(analysis, ending, PageChoices(paper=paper, large=large, which=which), each=each)


def in_form(score: bytes, document: Document, output: Path) -> bytes:
    """Return a score as the ending of `output` wants it: plain or compressed, whatever the input was."""
    packed = document.archive is not None
    wanted = output.suffix.lower() == ".mxl"
    if packed == wanted:
        return score
    return new_archive(score) if wanted else read_document(score, output.name).xml

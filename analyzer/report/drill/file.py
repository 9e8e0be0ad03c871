"""A practice sheet as the file that its ending names."""

from collections.abc import Sequence
from typing import Literal

from analyzer.practice.drills import Drills
from analyzer.practice.weeks import Day
from analyzer.report.drill.sheet import sheet_musicxml

_SCORES = (".musicxml", ".xml")
PAGES = (".pdf", ".svg", ".html")
ENDINGS = (*_SCORES, *PAGES)
"""Of a practice sheet."""


def sheet_content(drills: Drills, days: Sequence[Day], ending: str, paper: Literal["a4", "letter"]) -> bytes:
    """Return a practice sheet as a file of this ending, one of `ENDINGS`."""
    if ending in _SCORES:
        return sheet_musicxml(drills, days)
    from analyzer.report.drill.page import sheet_file

    return sheet_file(drills, ending, days, paper=paper)

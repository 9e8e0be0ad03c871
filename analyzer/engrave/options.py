"""The form of engraved pages: paper, size of print, ids and fonts."""

from dataclasses import dataclass
from typing import Literal

from analyzer.stave import USUAL_MM, USUAL_STAVE, Stave

Paper = Literal["a4", "a3", "letter", "screen"]

PAPER_MM: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "a3": (297.0, 420.0), "letter": (215.9, 279.4)}
"""Width and height; A4 and A3 of ISO 216, letter of ANSI/ASME Y14.1 (8.5 by 11 inches). [mm]"""

LARGE_PRINT = 1.5
"""How much larger everything is in large print: a staff of 10.8 mm instead of 7.2 mm.

Judged: at 1.3 a mark is still below 12 points, at 1.7 fewer than three measures of sixteenths fit a line.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOptions:
    """Form of the pages.

    `paper` ``screen`` gives one page as long as the music, `width_px` wide. `large_print` enlarges everything by
    `LARGE_PRINT`. `id_prefix` goes before the ids of notes (``n12``) and measures (``m3``), for pages that show several
    pictures. Where a page shows the same music in a second form, for narrow screens, that is engraved with `again`: its
    marks have the class token ``mark-again``, so that ``mark`` stays one a note. Without `embed_fonts` a picture is
    smaller and relies on fonts with the widths of Times. `squeeze` sets all a little smaller, and `breaks` are measure
    indices at which a system begins, and whether a page does: both are chosen by the engraving itself. `stave` has the
    sizes that a player wants; a height of staff told there goes before `large_print`.
    """

    paper: Paper = "a4"
    large_print: bool = False
    width_px: int = 900
    id_prefix: str = ""
    embed_fonts: bool = True
    again: bool = False
    squeeze: float = 1.0
    breaks: tuple[tuple[int, bool], ...] = ()
    stave: Stave = USUAL_STAVE

    def __post_init__(self) -> None:
        """Refuse sizes that no music fits on."""
        if self.paper not in ("a4", "a3", "letter", "screen"):
            raise ValueError(f"paper is a4, a3, letter or screen, not {self.paper!r}")
        if not 200 <= self.width_px <= 10000:
            raise ValueError(f"width_px is {self.width_px}; it goes from 200 to 10000")

    @property
    def scale(self) -> float:
        """Enlargement against the usual size."""
        told = self.stave.staff_mm / USUAL_MM
        return (LARGE_PRINT if self.large_print and told == 1 else told) * self.squeeze

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the sheet. [mm] A screen page counts as A4."""
        return PAPER_MM["a4" if self.paper == "screen" else self.paper]

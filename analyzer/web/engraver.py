"""Pictures of the music and their faces, as worker processes draw them."""

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from analyzer.engrave.copy import Copy
from analyzer.engrave.options import PageOptions
from analyzer.problem import Unreadable, unreadable

if TYPE_CHECKING:
    from analyzer.engrave.layout import Engraving

ID_PREFIX = "music-"
_WIDEST_PX = 6000
"""Wider pictures are not tried, to hold long music in one: at twice a laptop's width it is too small to read."""


def engrave(copy: Copy, width_px: int) -> "tuple[str, Engraving]":
    """Return one long picture of an engraving copy, and where its notes stand, for `new_layers`.

    The picture is without fonts (they come once, by `font_sheet`). A worker remembers the last engravings: the same
    music with other marks is drawn at once.
    """
    from analyzer.engrave.engrave import pages_with, places_of

    engraving = _in_one_picture(copy, width_px)
    return pages_with(engraving, copy)[0], places_of(engraving)


def _in_one_picture(copy: Copy, width_px: int) -> "Engraving":
    """Engrave for a screen; music longer than the engraver's longest page is set wider, so that it looks smaller."""
    from analyzer.engrave.engrave import engraved

    while True:
        options = PageOptions(paper="screen", width_px=width_px, id_prefix=ID_PREFIX, embed_fonts=False)
        engraving = engraved(copy, options, lay_out=_remembered)
        if len(engraving.sheets) == 1 or width_px > _WIDEST_PX:
            return engraving
        width_px = width_px * 3 // 2


def _remembered(copy: Copy, options: PageOptions, rows: int, step: int) -> "Engraving":
    """Engrave music as `laid_out`, or return what was made of it before; the marks play no part."""
    return _laid_out(replace(copy, marks=()), options, rows, step)


@lru_cache(maxsize=4)
def _laid_out(copy: Copy, options: PageOptions, rows: int, step: int) -> "Engraving":
    from analyzer.engrave.layout import laid_out

    return laid_out(copy, options, rows, step)


def font_sheet() -> str:
    """Return the style sheet with the faces that pictures ask for."""
    from analyzer.engrave.fonts import style_sheet

    text = "".join(map(chr, (*range(0x20, 0x180), *range(0x2010, 0x2045), 0x2190, 0x2192, 0x2212)))
    signs = "♭♮♯" + "".join(map(chr, range(0xE000, 0xF400)))
    return style_sheet({"regular": text, "bold": text, "italic": text, "bold-italic": text, "music": signs,
                        "mark": text, "mark-bold": text})


def no_picture(error: Exception, name: str) -> Unreadable:
    """Return the problem of a score that cannot be engraved."""
    if isinstance(error, ModuleNotFoundError):
        return unreadable("missing-extra", where=name, what=f"the picture needs {error.name}, which is not installed",
                          try_="Install the extra: pip install 'lowbrass[engrave]'.")
    return unreadable("cannot-engrave", where=name, what=f"the music cannot be engraved: {error}",
                      try_="The choices are listed as text all the same.")

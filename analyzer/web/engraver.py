"""Pictures of the music and their faces, as worker processes draw them."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from analyzer.engrave.copy import Copy
from analyzer.engrave.options import PageOptions
from analyzer.problem import Unreadable, unreadable

if TYPE_CHECKING:
    from analyzer.engrave.layout import Engraving

ID_PREFIX = "music-"
MOST_REMEMBERED = 40
"""Engravings that a worker remembers; one of a length takes about a third of a MiB."""
_WIDEST_PX = 6000
"""Wider pictures are not tried, to hold long music in one: at twice a laptop's width it is too small to read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """What is engraved at once of a part: the copy, from which measure on it stands, and what follows.

    `following` is the measure after the copy's last, None at the end; `cut` are the measures into which something
    reaches from the one before. The ids of its picture begin with `prefix`.
    """

    copy: Copy
    prefix: str = ID_PREFIX
    following: int | None = None
    cut: frozenset[int] = frozenset()


def engrave_length(length: Length, width_px: int) -> "tuple[str, Engraving, int, int | None]":
    """Return the picture of a length, where its notes stand, how many systems of it to show, and what follows them.

    As `engrave`; what follows is the measure with which the next length begins, None at the end.
    """
    from analyzer.engrave.engrave import pages_with, places_of
    from analyzer.engrave.lengths import shown_of

    engraving = _in_one_picture(length.copy, width_px, length.prefix)
    return (pages_with(engraving, length.copy)[0], places_of(engraving),
            *shown_of(engraving, length.following, length.cut))


def engrave(copy: Copy, width_px: int) -> "tuple[str, Engraving]":
    """Return one long picture of an engraving copy, and where its notes stand, for `new_layers`.

    The picture is without fonts (they come once, by `font_sheet`). A worker remembers the last engravings: the same
    music with other marks is drawn at once.
    """
    found, places, _, _ = engrave_length(Length(copy=copy), width_px)
    return found, places


def _in_one_picture(copy: Copy, width_px: int, prefix: str) -> "Engraving":
    """Engrave for a screen; music longer than the engraver's longest page is set wider, so that it looks smaller."""
    from analyzer.engrave.engrave import engraved

    while True:
        options = PageOptions(paper="screen", width_px=width_px, id_prefix=prefix, embed_fonts=False)
        engraving = engraved(copy, options, lay_out=_remembered)
        if len(engraving.sheets) == 1 or width_px > _WIDEST_PX:
            return engraving
        width_px = width_px * 3 // 2


def _remembered(copy: Copy, options: PageOptions, rows: int, step: int) -> "Engraving":
    """Engrave music as `laid_out`, or return what was made of it before; the marks play no part."""
    return _laid_out(replace(copy, marks=()), options, rows, step)


@lru_cache(maxsize=MOST_REMEMBERED)
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

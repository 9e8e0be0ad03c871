"""Notation set for one reader's eyes: dynamics above the staff, words larger than their staff would have them."""

import re

from lxml import etree

from analyzer.engrave.geometry import MAKES_WAY, straight_lines
from analyzer.engrave.style import numbers
from analyzer.engrave.svg import SVG, classes

_DIRECTION = re.compile(r"<direction(\s[^>]*)?>(?=(?:(?!</direction>).)*<(?:dynamics|wedge)\b)", re.DOTALL)
_PLACE = re.compile(r'\s(?:placement|default-y|relative-y)="[^"]*"')
_RISE = 0.72
"""Height of a capital in the text face. [em]"""


def dynamics_above(musicxml: str) -> str:
    """Return music whose dynamics and hairpins stand above the staff.

    Examples
    --------
    >>> dynamics_above('<direction placement="below"><direction-type><dynamics><f/></dynamics></direction-type>')
    '<direction placement="above"><direction-type><dynamics><f/></dynamics></direction-type>'
    """
    return _DIRECTION.sub(lambda found: f'<direction placement="above"{_PLACE.sub("", found[1] or "")}>', musicxml)


def exact_lines(page: etree._Element, width: float) -> None:
    """Give staff lines a width that the engraver, which counts in whole units, only comes near to."""
    for staff in (group for group in page.iter(f"{{{SVG}}}g") if "staff" in classes(group)):
        for path in staff.iterchildren(f"{{{SVG}}}path"):
            path.set("stroke-width", f"{width:g}")


def grow_words(page: etree._Element, times: float) -> None:
    """Set words of the music (directions, tempo, rehearsal marks, lyrics) larger or smaller, with their frames.

    What stands above a staff goes as many times farther from it, so that words over words stay apart; words below it go
    down by what they grow.
    """
    for system in (group for group in page.iter(f"{{{SVG}}}g") if "system" in classes(group)):
        lines = [line[1] for staff in system.iter(f"{{{SVG}}}g") if "staff" in classes(staff)
                 for path in staff.iterchildren(f"{{{SVG}}}path") for line in straight_lines(path)]
        if not lines:
            continue
        for group in system.iter(f"{{{SVG}}}g"):
            kinds = classes(group)
            if "verse" in kinds or not MAKES_WAY.isdisjoint(kinds):
                _grow(group, times, min(lines), max(lines))


def _grow(group: etree._Element, times: float, highest: float, lowest: float) -> None:
    at: tuple[float, float] | None = None                # where the words begin, before they grow
    for text in group.iter(f"{{{SVG}}}text"):
        sizes = []
        for span in (text, *text.iter(f"{{{SVG}}}tspan")):
            found = numbers(span.get("font-size", ""))
            if found and found[0]:
                sizes.append(found[0])
                span.set("font-size", f"{found[0] * times:g}px")
        if text.get("y") is None or not sizes:
            continue
        x, y = float(text.get("x") or 0), float(text.get("y") or 0)
        at = at or (x, y)
        moved = y
        if y < highest:
            moved = highest - (highest - y) * times
        elif y > lowest:
            moved = y + max(0.0, times - 1) * _RISE * max(sizes)
        text.set("y", f"{moved:.0f}")
    for frame in group.iter(f"{{{SVG}}}rect"):
        if at is not None and float(frame.get("y") or 0) < highest:
            for name, middle in (("x", at[0]), ("y", highest)):
                frame.set(name, f"{middle - (middle - float(frame.get(name) or 0)) * times:.0f}")
            for name in ("width", "height"):
                frame.set(name, f"{float(frame.get(name) or 0) * times:.0f}")

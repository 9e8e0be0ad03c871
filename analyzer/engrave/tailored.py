"""Notation set for one reader's eyes: dynamics above the staff."""

import re

from lxml import etree

from analyzer.engrave.svg import SVG, classes

_DIRECTION = re.compile(r"<direction(\s[^>]*)?>(?=(?:(?!</direction>).)*<(?:dynamics|wedge)\b)", re.DOTALL)
_PLACE = re.compile(r'\s(?:placement|default-y|relative-y)="[^"]*"')


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

"""Repeats and endings that stand in one part only, written into the parts that lack them.

They belong to every part: MusicXML 4.0 lets an ending be "present but not printed, as is often the case for many parts
in a full score" (ending, print-object). Some programs leave them out of all parts but the first instead; read as it
stands, such a part would play straight on where its neighbours go back.
"""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from lxml import etree

from analyzer.score.own_marks import parts_of

_KINDS = ("repeat", "ending")
_AHEAD = frozenset({"print", "bookmark", "link"})     # may stand before a bar line at the left (barline, location)


def share_bars(root: etree._Element, xml: bytes) -> Mapping[str, str]:
    """Write the repeats of the first part that has any into the parts that have none; its endings likewise.

    Only between parts of as many measures, and only signs at the edge of a measure: inside one nothing tells where
    they lie among another part's notes.

    Parameters
    ----------
    root : etree._Element
        The parsed score; bar lines are added to it.
    xml : bytes
        What it was parsed from: a look for the words is much faster than one for the elements.

    Returns
    -------
    Mapping[str, str]
        For the id of each part that was given signs, the id of the part they come from.
    """
    if b"<repeat" not in xml and b"<ending" not in xml:
        return {}
    bars = _bars(root)
    owners = [{_owner(bar) for bar in bars if bar.find(kind) is not None} for kind in _KINDS]
    many = len({part.get("id", "") for part in root.iterfind("part" if root.tag == "score-partwise" else "*/part")})
    if all(len(held) in (0, many) for held in owners):
        return {}
    parts = parts_of(root)
    given: dict[str, str] = {}
    for kind, held in zip(_KINDS, owners, strict=True):
        owner = next((part_id for part_id in parts if part_id in held), None)
        if owner is None:
            continue
        signs = [(index, bar) for index, measure in enumerate(parts[owner]) for bar in measure.iterchildren("barline")
                 if bar.find(kind) is not None]
        if any(bar.get("location") == "middle" for _, bar in signs):
            continue
        for part_id, music in parts.items():
            if part_id not in held and len(music) == len(parts[owner]):
                given.setdefault(part_id, owner)
                for index, bar in signs:
                    _add(music[index], bar, kind)
    return given


# Of partwise and timewise scores alike; in the library ten times faster than a walk of ours.
_bars: Any = etree.XPath("*/*/barline[repeat or ending]")


def _owner(bar: etree._Element) -> str:
    """Return the id of the part that a bar line stands in."""
    return next((part.get("id", "") for part in bar.iterancestors("part")), "")


def _add(measure: etree._Element, source: etree._Element, kind: str) -> None:
    """Write a sign of a bar line into the measure of another part, with the look of the line."""
    location = source.get("location", "right")
    bar = next((one for one in measure.iterchildren("barline") if one.get("location", "right") == location), None)
    if bar is None:
        bar = etree.Element("barline", location=location)
        ahead = next((place for place, child in enumerate(measure) if child.tag not in _AHEAD), len(measure))
        measure.insert(ahead if location == "left" else len(measure), bar)
    style = source.find("bar-style")
    if style is not None and bar.find("bar-style") is None:
        bar.insert(0, deepcopy(style))
    repeat = bar.find("repeat")
    for sign in source.iterchildren(kind):
        if repeat is not None:
            repeat.addprevious(deepcopy(sign))        # an ending stands before the repeat of its line
        else:
            bar.append(deepcopy(sign))

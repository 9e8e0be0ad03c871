"""The elements of MEI: their names, children and labels, and which reading of an editorial variant is taken."""

import re
from collections.abc import Iterator

from lxml import etree

from analyzer.score.mei_signs import words_of
from analyzer.score.vocabulary import one_line

ID = "{http://www.w3.org/XML/1998/namespace}id"
_DROPPED = frozenset(("del", "sic", "orig", "abbr"))
_LOCAL: dict[object, str] = {}


def tag_of(element: etree._Element) -> str:
    """Return the name without its namespace; nothing for comments."""
    tag: object = element.tag
    found = _LOCAL.get(tag)
    if found is None:
        found = tag.rpartition("}")[2] if isinstance(tag, str) else ""
        if len(_LOCAL) < 1000:         # a hostile file may make up names without end
            _LOCAL[tag] = found
    return found


def child_of(element: etree._Element, tag: str) -> etree._Element | None:
    """Return the first child of a name; None if there is none."""
    return next((one for one in element if tag_of(one) == tag), None)


def reading_of(element: etree._Element) -> etree._Element | None:
    """Return the reading of an editorial element that is taken."""
    children = list(element.iterchildren(etree.Element))
    for wanted in (("lem", "corr", "reg", "expan", "add"), ("rdg", "sic", "orig", "abbr")):
        found = next((one for one in children if tag_of(one) in wanted), None)
        if found is not None:
            return found
    return None


def label_of(element: etree._Element) -> str:
    """Return the name that a definition or group bears; nothing where it bears none."""
    found = child_of(element, "label")
    return one_line(words_of(found) if found is not None else element.get("label"))


def short_label_of(element: etree._Element) -> str:
    """Return the abbreviated name, in the same way."""
    found = child_of(element, "labelAbbr")
    return one_line(words_of(found) if found is not None else element.get("label.abbr"))


def whole_number(text: str | None, default: int) -> int:
    """Return the whole number that an attribute tells, of six digits at most; else the default."""
    text = (text or "").strip()
    return int(text) if re.fullmatch(r"[+-]?\d{1,6}", text) else default


def escaped(text: str) -> str:
    """Return text as the content of an element."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def readings(element: etree._Element) -> Iterator[etree._Element]:
    """Yield the children, editorial markup resolved."""
    for child in element.iterchildren(etree.Element):
        tag = tag_of(child)
        if tag in ("app", "choice", "subst"):
            chosen = reading_of(child)
            if chosen is not None:
                yield from readings(chosen)
        elif tag in ("supplied", "unclear", "add", "restore", "damage", "corr", "reg", "expan", "lem"):
            yield from readings(child)
        elif tag not in _DROPPED:
            yield child

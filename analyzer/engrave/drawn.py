"""What was drawn against what was planned: a page that would show fewer marks is no page."""

from collections import Counter
from collections.abc import Iterable, Sequence

from lxml import etree

from analyzer.engrave.svg import classes
from analyzer.marking.mark import Mark
from analyzer.problem import Unreadable, unreadable

_SHOWN = frozenset(("mark", "mark-again", "unplayable"))


def drawn_refs(layers: Iterable[str]) -> Counter[int]:
    """Return how often each note is marked in groups of marks, by its ordinal."""
    found: Counter[int] = Counter()
    for layer in layers:
        for group in etree.fromstring(layer.encode()).iter(etree.Element):
            if not _SHOWN.isdisjoint(classes(group)):
                found[int(group.get("data-ref", "-1"))] += 1
    return found


def all_drawn(layers: Iterable[str], marks: Sequence[Mark]) -> None:
    """Do nothing if every mark stands in the groups of marks once.

    Raises
    ------
    Unreadable
        With the code ``marks-lost``, if one does not: the engraver shows no note where the mark belongs.
    """
    planned, found = Counter(mark.ref for mark in marks), drawn_refs(layers)
    if found != planned:
        lost = planned - found
        raise marks_lost(f"part {marks[0].part_id}" if marks else "the part", planned.total(), lost.total(),
                         f", the first for note {min(lost) + 1} of the part" if lost else "")


def marks_lost(where: str, planned: int, lost: int, which: str = "") -> Unreadable:
    """Return (not raise) the problem of a page that would not show all marks."""
    return unreadable(
        "marks-lost", where=where, what=f"{lost} of {planned} marks cannot be drawn on the page{which}",
        try_="Write an annotated .musicxml with -o and print that from your notation program.")


def tokens(page: bytes, *, html: bool = False) -> int:
    """Return how many elements of a finished page, SVG or HTML, have the class token ``mark``."""
    parser: etree.XMLParser | etree.HTMLParser = (
        etree.HTMLParser(huge_tree=True, encoding="utf-8") if html
        else etree.XMLParser(huge_tree=True, resolve_entities=False))
    return sum("mark" in classes(element) for element in etree.fromstring(page, parser).iter(etree.Element))

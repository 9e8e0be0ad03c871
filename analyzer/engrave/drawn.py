"""What was drawn against what was planned: a page that would show fewer marks is no page."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence

from analyzer.marking.mark import Mark
from analyzer.problem import Unreadable, unreadable

# Looked for in the text: to read a page as a tree again takes as long as to write it. What a score says cannot be
# taken for an element, as no text has a bare "<".
_SHOWN = re.compile(r'<g [^<>]*?class="(?:[^"]* )?(?:mark|mark-again|unplayable)[ "][^<>]*?data-ref="(\d+)"')
_TOKEN = re.compile(rb'<g class="mark[ "]')


def drawn_refs(layers: Iterable[str]) -> Counter[int]:
    """Return how often each note is marked in groups of marks, by its ordinal."""
    return Counter(int(ref) for layer in layers for ref in _SHOWN.findall(layer))


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


def tokens(page: bytes) -> int:
    """Return how many marks stand in a finished page, SVG or HTML."""
    return len(_TOKEN.findall(page))

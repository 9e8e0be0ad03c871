"""A long part in lengths: some systems at a time, each engraved on its own, so that the first stand at once.

A length is engraved a little too far: its last system ends where the length does, not where the line is full. That
system is not shown, the next length begins with it. So every line is full, and a tie or slur is cut only where several
lines after one another end in the middle of one.
"""

from collections.abc import Collection

from analyzer.engrave.layout import Engraving
from analyzer.score.document import Document

MOST_NOTES = 320
"""Printed notes of a length; judged: they fill a laptop's window, and take an eighth of a second to engrave."""
_LAST_SHARE = 0.4
"""A last length of less than this share of the others is engraved with the one before."""
_MOST_BACK = 3
"""So many systems are given up at most to end where nothing is cut."""
_SPANS = ("tied", "slur", "wedge", "octave-shift", "dashes", "bracket", "ending", "glissando", "slide", "pedal")
_STARTS = frozenset({"start", "crescendo", "diminuendo", "up", "down"})
_ENDS = frozenset({"stop", "discontinue"})


def end_of_length(document: Document, part_id: str, first: int, last: int) -> int:
    """Return the index of the measure up to which to engrave from measure `first` on, at most `last`.

    Empty measures after it belong to it, so that a long rest is not cut.
    """
    counts = [sum(note.find("pitch") is not None or note.find("unpitched") is not None
                  for note in music.iterchildren("note"))
              for music in document.part_measures(part_id)[first:last + 1]]
    total = sum(counts)
    if total <= MOST_NOTES * (1 + _LAST_SHARE):
        return last
    found = place = 0
    while found < MOST_NOTES:
        found += counts[place]
        place += 1
    while place < len(counts) and not counts[place]:
        place += 1
    return last if total - found < MOST_NOTES * _LAST_SHARE else first + place - 1


def spanned(document: Document, part_id: str) -> frozenset[int]:
    """Return the indices of measures into which something reaches from the one before: a tie, slur, hairpin, ending."""
    found = set()
    going: dict[tuple[str, str], int] = {}
    for index, music in enumerate(document.part_measures(part_id)):
        if going:
            found.add(index)
        for element in music.iter(*_SPANS):
            key = (str(element.tag), element.get("number", "1"))
            kind = element.get("type", "")
            if kind in _STARTS:
                going[key] = going.get(key, 0) + 1
            elif kind in _ENDS and key in going:
                going[key] -= 1
                if not going[key]:
                    del going[key]
    return frozenset(found)


def shown_of(engraving: Engraving, following: int | None, cut: Collection[int]) -> tuple[int, int | None]:
    """Return how many systems of an engraved length to show, and the measure with which the next length begins.

    Parameters
    ----------
    engraving : Engraving
        Of the length, a little too far; on one sheet.
    following : int or None
        The measure after what was engraved, None at the end of the part: all is shown there.
    cut : collection of int
        `spanned` of the part.
    """
    systems = engraving.sheets[0].systems
    if following is None or len(systems) == 1:
        return len(systems), following
    starts = [system.indices[0] for system in systems]
    most = len(systems) - 1
    found = next((count for count in range(most, max(0, most - 1 - _MOST_BACK), -1) if starts[count] not in cut), most)
    return found, starts[found]

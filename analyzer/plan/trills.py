"""Trills: two notes a step apart that alternate quickly; the fingers make them, the lip stays on one partial.

Where the usual choices of the two notes share no partial, but two others do, those are at home in a trill: so players
are taught to find trill fingerings (common practice, no source).
"""

from collections.abc import Sequence

from analyzer.horns.candidate import Candidate
from analyzer.plan.timing import NoteTime
from analyzer.score.lines import LineNote

QUICK_S = 0.15
"""Longest note of a trill. Judged: seven notes a second is a slow trill. [s]"""
TURNS = 4
"""Fewest notes that make a trill; judged."""


def trilled(notes: Sequence[LineNote], times: Sequence[NoteTime]) -> list[bool]:
    """Tell for each move whether it lies within a trill (one entry fewer than notes)."""
    count = len(notes)
    found = [False] * max(count - 1, 0)
    start = 0
    while start + TURNS <= count:
        end = start
        while (end + 1 < count and times[end].next_s <= QUICK_S
               and 0 < abs(notes[end + 1].midi - notes[end].midi) <= 2
               and (end == start or notes[end + 1].midi == notes[end - 1].midi)):
            end += 1
        if end - start + 1 >= TURNS:
            found[start:end] = [True] * (end - start)
        start = max(end, start + 1)
    return found


def trill_fingerings(one: Sequence[Candidate], other: Sequence[Candidate], usual: Candidate | None,
                     other_usual: Candidate | None) -> tuple[Candidate, ...]:
    """Return the choices of `one` that a trill with `other` makes at home, beside the usual one.

    None where the usual choices share a partial already, or no choices do; else those on the lowest shared partial.
    """
    if usual is None or other_usual is None or usual.partial == other_usual.partial:
        return ()
    shared = {a.partial for a in one} & {b.partial for b in other}
    if not shared:
        return ()
    return tuple(a for a in one if a.partial == min(shared))

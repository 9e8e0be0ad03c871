"""Parts inside a score of the .mscx form: the same music again, for one player; here note is matched to note.

To version 3 an excerpt is a ``<Score>`` inside the ``<Score>``, from version 4 on a file of its own in the archive
(``Excerpts/NAME/NAME.mscx``), whose staves may tell by ``<linkedTo>`` which staff they are. Notes are the same that
stand at the same place of the same measure with the same pitch. A part that was changed by hand is no twin.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree

from analyzer.score.composing import Bar
from analyzer.score.mscx_values import lengths_of, measures_of, said, whole
from analyzer.score.mscx_walk import GRACE, Walk
from analyzer.score.vocabulary import one_line

_ALIKE = 0.9
"""Share of notes that a twin has in common with its staff. Judged: a part with a cue of its own has more, another's
line of the same chords far less."""

_Key = tuple[int, int, int, int]
_Places = dict[_Key, list[tuple[int, etree._Element]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """One part inside: its name, and which of its notes are which of the score's (by ordinal among all notes of each
    file). `alike` tells whether its music is that of the score.
    """

    name: str
    alike: bool
    notes: dict[int, int]


def excerpts(root: etree._Element, other: etree._Element | None = None) -> Iterator[Excerpt]:
    """Yield the parts inside of a score, or those of a file `other` of the same archive."""
    score = _score(root)
    ordinals = _ordinals(root)
    whole_score = _Staves(root, score)
    for inner in score.findall("Score") if other is None else [_score(other)]:
        own = _Staves(root if other is None else other, inner)
        inside = ordinals if other is None else _ordinals(other)
        alike, notes = True, {}
        for name, linked, staff in own.staves():
            found = whole_score.twin(name, linked, own.places(staff))
            alike = alike and found is not None
            for mine, theirs in found or ():
                notes[ordinals[mine]] = inside[theirs]
        names = [name for name, _, _ in own.staves()]
        yield Excerpt(name=one_line(inner.findtext("name")) or (names[0] if names else ""), alike=alike, notes=notes)


class _Staves:
    """The staves of one score, and where their notes stand."""

    def __init__(self, root: etree._Element, score: etree._Element) -> None:
        match = re.match(r"\d+", root.get("version") or "")
        self.version = int(match[0]) if match else 0
        self.score = score
        self.division = max(1, whole(score.findtext("Division"), 480))
        self.music = score.findall("Staff")
        self.lengths = lengths_of(measures_of(self.music[0])) if self.music else []
        self.known: dict[etree._Element, _Places] = {}

    def staves(self) -> Iterator[tuple[str, str, etree._Element]]:
        """Yield name of the part, the staff of the score that it is linked to (by its id), and the music."""
        place = 0
        for part in self.score.findall("Part"):
            name = one_line(said(part.find("Instrument/longName")) or part.findtext("trackName"))
            for told in part.findall("Staff"):
                if place < len(self.music):
                    yield name, (told.findtext("linkedTo") or "").strip(), self.music[place]
                place += 1

    def places(self, staff: etree._Element) -> _Places:
        """Return the notes of a staff by measure, onset, grace notes before and pitch, each with its voice."""
        if staff not in self.known:
            found: _Places = {}
            walk = Walk(self.version, self.division, [Bar(number="", length=length) for length in self.lengths])
            for index, measure in enumerate(measures_of(staff)[:len(self.lengths)]):
                graces: dict[int, int] = {}
                for at, voice, child, _ in walk.events(index, measure):
                    if child.tag == "Chord":
                        before = graces[voice] = graces.get(voice, 0) + 1
                        if not any(one.tag in GRACE for one in child):
                            before = graces[voice] = 0
                        for note in child.iterchildren("Note"):
                            key = index, round(at * 96), before, whole(note.findtext("pitch") or note.get("pitch"), -1)
                            found.setdefault(key, []).append((voice, note))
            self.known[staff] = found
        return self.known[staff]

    def twin(self, name: str, linked: str, own: _Places) -> list[tuple[etree._Element, etree._Element]] | None:
        """Return the pairs of notes (here, there) of the staff that is most alike; None if none is alike enough."""
        best: tuple[tuple[bool, bool, float], etree._Element] | None = None
        for other, _, staff in self.staves():
            share = len(own.keys() & self.places(staff).keys()) / max(1, len(own))
            if share >= _ALIKE and own:
                rank = (bool(linked) and staff.get("id") == linked, other == name, share)
                best = max(best, (rank, staff), key=lambda one: one[0]) if best is not None else (rank, staff)
        if best is None:
            return None if own else []
        pairs = []
        here = self.places(best[1])
        for key, there in own.items():
            left = list(here.get(key, ()))
            for voice, note in there:
                found = next((one for one in left if one[0] == voice), left[0] if left else None)
                if found is not None:
                    left.remove(found)
                    pairs.append((found[1], note))
        return pairs


def _score(root: etree._Element) -> etree._Element:
    score = root.find("Score")
    return root if score is None else score


def _ordinals(root: etree._Element) -> dict[etree._Element, int]:
    return {note: place for place, note in enumerate(root.iter("Note"))}



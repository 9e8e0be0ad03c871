"""Whether a line's notes are heard in other parts too, so that the line, or a note of it, could be spared."""

from collections.abc import Collection
from dataclasses import dataclass

from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.parts import find_parts
from analyzer.score.sounding import Moment, Sounding, moment, moment_of

ENOUGH = 0.8
"""A line is spared where one other part has this share of its notes, in any octave. Judged; from 0.7 to 0.9 the same
lines of the samples are meant."""

Attacks = dict[Moment, frozenset[int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Double:
    """Another part that has a line's notes: `share` of them in any octave [0 to 1]."""

    part_name: str
    share: float


class Covered:
    """Attacks of every part of a score; parts that cannot be read are left out. Read once, when first asked."""

    def __init__(self, document: Document) -> None:
        """Take the score."""
        self._document = document
        self._parts: dict[str, tuple[str, Attacks]] | None = None

    def _read(self) -> dict[str, tuple[str, Attacks]]:
        if self._parts is None:
            self._parts = {}
            names = {info.id: info.full_name or info.name or info.id for info in find_parts(self._document)[0]}
            for part_id, part in Sounding(self._document).parts().items():
                attacks: dict[Moment, set[int]] = {}
                for note in part.notes:
                    if not note.grace and not note.tie_stop:
                        at = moment(part.measures, note.measure, note.onset)
                        attacks.setdefault(at, set()).add(note.sounding.midi)
                self._parts[part_id] = (names[part_id], {at: frozenset(found) for at, found in attacks.items()})
        return self._parts

    def best_double(self, line: Line, but: Collection[str] = ()) -> Double | None:
        """Return the other part that has most of a line's notes, begun together, in any octave; None where none has.

        Neither the line's own part counts nor those whose ids are in `but`: parts that may lack a player themselves.
        """
        notes = [(moment_of(line, k), note.midi) for k, note in enumerate(line.notes) if not note.grace]
        best: Double | None = None
        for part_id, (name, attacks) in self._read().items():
            if part_id == line.part_id or part_id in but or not notes:
                continue
            hits = sum(any((other - midi) % 12 == 0 for other in attacks.get(at, ())) for at, midi in notes)
            if hits and (best is None or hits / len(notes) > best.share):
                best = Double(part_name=name, share=hits / len(notes))
        return best

    def at(self, line: Line, index: int) -> str | None:
        """Say which other part begins the same note with it, at pitch or in another octave; None where none does."""
        midi, begin = line.notes[index].midi, moment_of(line, index)
        octave = None
        for part_id, (name, attacks) in self._read().items():
            if part_id != line.part_id:
                others = attacks.get(begin, frozenset())
                if midi in others:
                    return f"{name} has it"
                if octave is None and any((other - midi) % 12 == 0 for other in others):
                    octave = f"{name} has it in another octave"
        return octave

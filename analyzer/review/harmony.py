"""What sounds in a score at a moment; the other parts are read only when somebody asks."""

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction

from analyzer.pitch import Pitch
from analyzer.problem import Unreadable
from analyzer.score.document import Document
from analyzer.score.reader import read_part
from analyzer.score.timeline import Note


class Harmony:
    """Sounding pitches of every part of a score.

    Parts that cannot be read are left out: the harmony of the rest still holds.
    """

    def __init__(self, document: Document) -> None:
        self._document = document
        self._beats: dict[int, list[tuple[str, Note]]] | None = None

    def _read(self) -> dict[int, list[tuple[str, Note]]]:
        if self._beats is None:
            beats: dict[int, list[tuple[str, Note]]] = defaultdict(list)
            for part_id in self._document.part_ids:
                try:
                    part, _ = read_part(self._document, part_id)
                except Unreadable:
                    continue
                for note in part.notes:
                    if not note.grace and not note.optional:
                        for beat in range(int(note.onset), int(note.onset + note.duration) + 1):
                            beats[beat].append((part_id, note))
            self._beats = dict(beats)
        return self._beats

    def sounding(self, onset: Fraction, *, but: tuple[str, Sequence[int]]) -> tuple[Pitch, ...]:
        """Return the pitches that sound `onset` quarter notes from the start, low to high, each name once.

        `but` is a part's id and the refs of notes in it that do not count: the note in question.
        """
        own, refs = but
        found = {
            note.sounding for part_id, note in self._read().get(int(onset), [])
            if note.onset <= onset < note.onset + note.duration and not (part_id == own and note.ref in refs)
        }
        return tuple(sorted(found, key=lambda pitch: (pitch.midi, pitch.name)))

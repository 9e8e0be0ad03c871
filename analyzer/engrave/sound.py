"""The sound of a part, and when each of its notes starts."""

from dataclasses import dataclass

from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.layout import load
from analyzer.score.document import Document


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTime:
    """When the note with ordinal `ref` starts in the sound of `midi_of`. [s]"""

    ref: int
    onset_s: float


def midi_of(document: Document, part_id: str, *, measures: tuple[int, int] | None = None) -> bytes:
    """Return one part, or some measures of it, as a Standard MIDI File, without our marks."""
    import base64

    copy = engraving_copy(document, part_id, measures=measures, fold=False)
    return base64.b64decode(load(copy.musicxml, {"breaks": "none"}).renderToMIDI())


def note_times(document: Document, part_id: str, *, measures: tuple[int, int] | None = None) -> tuple[NoteTime, ...]:
    """Return when each note of `midi_of` starts, by time; a note that a repeat brings again comes again."""
    copy = engraving_copy(document, part_id, measures=measures, fold=False)
    times = []
    for event in load(copy.musicxml, {"breaks": "none"}).renderToTimemap():
        for name in event.get("on", ()):
            # A repeated note has the id with a suffix.
            plain = str(name).split("-rend")[0]
            if plain[:1] == "n" and plain[1:].isdigit():
                times.append(NoteTime(ref=int(plain[1:]), onset_s=float(event["tstamp"]) / 1000))
    return tuple(times)

"""What stands on one player's own sheet: the part where nobody else reads it, else the line taken out of it."""

from dataclasses import dataclass

from analyzer.score.document import Document, read_document
from analyzer.score.lines import Line
from analyzer.score.reader import read_part
from analyzer.writing.alone import finished, line_alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Own:
    """A score in which the part `part_id` has the notes of one line only.

    `refs` leads from the ordinals of its notes in the source to those in this score.
    """

    document: Document
    part_id: str
    refs: dict[int, int]


def own_sheet(document: Document, line: Line) -> Own:
    """Return what the player of a line reads; the measures keep their places.

    Where every printed note of the part is the line's, on one staff and in one voice, that is the source as it is.
    """
    refs = [ref for note in line.notes for ref in note.refs]
    if not _shared(document, line, set(refs)):
        return Own(document=document, part_id=line.part_id, refs={ref: ref for ref in refs})
    # Only lengths and places are asked of the part here, which how it is read does not change.
    part, _ = read_part(document, line.part_id)
    root = line_alone(document, part, line)
    named = {note.get("id"): ordinal for ordinal, note in enumerate(root.iter("note"))}
    return Own(document=read_document(finished(root), f"{document.name.rsplit('.', 1)[0]}.musicxml"), part_id="P1",
               refs={ref: named[f"r{ref}"] for ref in refs})


def _shared(document: Document, line: Line, own: set[int]) -> bool:
    """Whether the part prints more than the line in its measures: other notes, voices or staves."""
    if line.of > 1 or line.player is not None:
        return True
    voices: set[str] = set()
    ordinal = 0
    wanted = {measure.index for measure in line.measures}
    for index, measure in enumerate(document.part_measures(line.part_id)):
        for note in measure.iterchildren("note"):
            if index in wanted and note.get("print-object") != "no" and note.find("cue") is None:
                voices.add(f"{note.findtext('staff', '1').strip()}/{note.findtext('voice', '1').strip()}")
                if note.find("pitch") is not None and ordinal not in own:
                    return True
            ordinal += 1
    return len(voices) > 1

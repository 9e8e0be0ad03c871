"""Each player's sheet holds that player's notes alone: against the notes of the line as they were read."""

from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.score.document import open_document
from analyzer.writing.sheet import own_sheet

SAMPLES = sorted((Path(__file__).parents[2] / "sample_scores").glob("*.m*l"))
SEMITONE = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_a_sheet_has_the_notes_of_its_line_and_no_other(path: Path) -> None:
    for one in analyse(open_document(path), Request()).lines:
        own = own_sheet(open_document(path), one.plan.line)
        elements = list(own.document.notes(own.part_id))
        printed = [ordinal for ordinal, element in enumerate(elements) if element.find("pitch") is not None]
        assert printed == sorted(own.refs[ref] for note in one.plan.notes for ref in note.note.refs)
        for note in one.plan.notes:
            pitch = elements[own.refs[note.note.refs[0]]].find("pitch")
            midi = (12 * (int(pitch.findtext("octave")) + 1) + SEMITONE[pitch.findtext("step")]
                    + int(float(pitch.findtext("alter", "0"))))
            assert midi == note.note.written.midi


def test_players_who_share_a_staff_get_different_sheets() -> None:
    path = Path(__file__).parents[2] / "sample_scores" / "harbour-march-trio.musicxml"
    document = open_document(path)
    lines = [one.plan.line for one in analyse(document, Request()).lines if one.plan.line.of > 1]
    assert len(lines) > 1
    for line in lines:
        own = own_sheet(document, line)
        assert own.part_id == "P1"
        # The staff of both has more: 136 heads for 84 notes was what stood on each sheet before.
        heads = sum(element.find("pitch") is not None for element in own.document.notes("P1"))
        assert heads < sum(element.find("pitch") is not None for element in document.notes(line.part_id))

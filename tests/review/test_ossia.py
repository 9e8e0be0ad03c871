"""A part written so that it can be played: only the changed notes differ, and they are notated rightly."""

import re
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.pitch import parse_pitch
from analyzer.report.ossia import repitched
from analyzer.review.bass import review
from analyzer.review.ossia import ossia
from analyzer.score.document import open_document, read_document
from analyzer.score.reader import read_part
from tests.review.scores import SAMPLES, note, part, score


@pytest.mark.parametrize("name", ["deep-water-bass-trombone.musicxml", "harbour-march-trio.musicxml",
                                  "quiet-chorale-trombones.mxl", "brass-band-hymn.musicxml"])
def test_the_written_part_passes(name: str) -> None:
    document = open_document(SAMPLES / name)
    request = Request(horns=("tenor",))
    changed = ossia(review(analyse(document, request)))
    assert changed.changes
    again = read_document(repitched(document, changed.by_part()), name)
    left = {(one.code, one.part_id, one.line, one.index) for one in changed.left}
    for one in review(analyse(again, request)):
        for finding in one.findings:
            if finding.severity == "stop":
                assert (finding.code, finding.part_id, finding.line, finding.index) in left
    # Every note that was not to change is as it was.
    wanted = changed.by_part()
    for part_id in document.part_ids:
        before, after = read_part(document, part_id)[0].notes, read_part(again, part_id)[0].notes
        assert len(before) == len(after)
        for old, new in zip(before, after, strict=True):
            pitch = wanted.get(part_id, {}).get(old.ref)
            assert new.written == (pitch or old.written)
            assert (new.onset, new.duration, new.staff, new.slur_after) == (
                old.onset, old.duration, old.staff, old.slur_after)


def test_no_change_is_no_change() -> None:
    for path in sorted(SAMPLES.glob("*.m*x*l")):
        document = open_document(path)
        assert repitched(document, {}) == path.read_bytes()


def written(measure: str, changes: dict[int, str], fifths: int) -> list[str]:
    """Change notes of a measure; return each note as pitch and printed accidental."""
    data = score({"Trombone": part("P1", measure, fifths=fifths)})
    document = read_document(data, "x.musicxml")
    out = repitched(document, {"P1": {ref: parse_pitch(name) for ref, name in changes.items()}})
    pitches = [one.written.name for one in read_part(read_document(out, "y"), "P1")[0].notes]
    signs = [match[1] if (match := re.search(r"<accidental>(.*?)</accidental>", text)) else ""
             for text in out.decode().split("</note>")[:-1]]
    return [f"{pitch} {sign}".strip() for pitch, sign in zip(pitches, signs, strict=True)]


SHARP = "\n        <accidental>sharp</accidental>"
NATURAL = "\n        <accidental>natural</accidental>"


@pytest.mark.parametrize(("notes", "changes", "fifths", "want"), [
    # E flat of the key needs no sign; E natural does.
    (note("C", 2), {0: "Eb2"}, -3, ["Eb2"]),
    (note("C", 2), {0: "E2"}, -3, ["E2 natural"]),
    # The sign of the old pitch goes.
    (note("F", 2, 1, more=SHARP), {0: "G2"}, 0, ["G2"]),
    # A sign holds to the bar line, so a second one is not printed, and its removal shows on the next note.
    (note("C", 2, quarters=2) + note("D", 2, quarters=2), {0: "F#2", 1: "F#2"}, 0, ["F#2 sharp", "F#2"]),
    (note("F", 2, 1, 2, SHARP) + note("F", 2, 1, 2), {0: "G2"}, 0, ["G2", "F#2 sharp"]),
    # A sign that a changed note brings must not spoil a later note.
    (note("C", 2, quarters=2) + note("F", 2, quarters=2), {0: "F#2"}, 0, ["F#2 sharp", "F2 natural"]),
    # Another octave is another note.
    (note("C", 2, quarters=2) + note("F", 3, quarters=2), {0: "F#2"}, 0, ["F#2 sharp", "F3"]),
    (note("B", 2, 0, 2, NATURAL) + note("B", 2, 0, 2), {0: "B3"}, -2, ["B3 natural", "B2 natural"]),
])
def test_accidentals(notes: str, changes: dict[int, str], fifths: int, want: list[str]) -> None:
    # The rule: a sign holds for its line or space to the bar line, and the key for all octaves (common practice).
    assert written(notes, changes, fifths) == want


def test_layout_of_the_file_is_kept() -> None:
    data = score({"Trombone": part("P1", note("E", 2, -1) + note("C", 3), fifths=0)})
    out = repitched(read_document(data, "x"), {"P1": {0: parse_pitch("G2")}})
    assert out == data.replace(b"<step>E</step>\n          <alter>-1</alter>", b"<step>G</step>", 1)
    back = repitched(read_document(out, "x"), {"P1": {0: parse_pitch("Ab2")}})
    assert b"<step>A</step>\n          <alter>-1</alter>\n          <octave>2</octave>" in back
    assert b"<accidental>flat</accidental>" in back


def test_a_wrong_place_is_refused() -> None:
    document = read_document(score({"Trombone": part("P1", note("C", 3))}), "x")
    with pytest.raises(ValueError, match="no pitched note 7"):
        repitched(document, {"P1": {7: parse_pitch("C3")}})


def test_tied_notes_change_together(tmp_path: Path) -> None:
    start, stop = '\n        <tie type="start"/>', '\n        <tie type="stop"/>'
    first = note("E", 2, -1).replace("<duration>4</duration>", f"<duration>4</duration>{start}")
    last = note("E", 2, -1).replace("<duration>4</duration>", f"<duration>4</duration>{stop}")
    document = read_document(score({"Trombone": part("P1", note("B", 2, -1), first, last, fifths=0)}), "x")
    changed = ossia(review(analyse(document, Request(horns=("tenor",)))))
    assert changed.by_part() == {"P1": {1: parse_pitch("Eb3"), 2: parse_pitch("Eb3")}}
    out = repitched(document, changed.by_part()).decode()
    assert out.count("<accidental>flat</accidental>") == 1       # a tie carries the sign over the bar line

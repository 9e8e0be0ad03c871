"""The slide's move for a chord beside the printed mark, in every form, and out of the file again."""

import json
import re

import pytest

from analyzer.analysis import Request, analyse
from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.mark import Mark
from analyzer.marking.which import marks
from analyzer.plan.plan import HEARD_MM
from analyzer.plan.player import Player
from analyzer.practice.drills import drills_for
from analyzer.report.drill.sheet import sheet_score
from analyzer.score.document import open_document, read_document
from tests.commands.test_map import SAMPLES, run

CHORALE = SAMPLES / "quiet-chorale-trombones.mxl"
_JUST = ("--intonation", "just", "--part", "Trombone 2")


@pytest.fixture(scope="module")
def shifts() -> list[float]:
    """The moves of the slide that the map tells, one a note."""
    data = json.loads(run("map", CHORALE, *_JUST, "--format", "json").stdout)
    return [note["shift_mm"] for line in data["lines"] for note in line["notes"]]


def aims(shifts: list[float]) -> list[str]:
    """What is to be printed: in or out by whole mm, from the least move that counts."""
    return [f"{'out' if shift > 0 else 'in'} {abs(shift):.0f}" for shift in shifts if abs(shift) >= HEARD_MM]


def test_every_move_that_is_heard_stands_on_the_page(shifts: list[float], tmp_path) -> None:  # type: ignore[no-untyped-def]
    pytest.importorskip("verovio")
    assert len(aims(shifts)) >= 4
    page = tmp_path / "part.svg"
    assert run("map", CHORALE, *_JUST, "-o", page).returncode == 0
    text = page.read_text(encoding="utf-8")
    found = [re.sub("<[^>]*>", "", inner) for inner in re.findall(r'<text class="aim"[^>]*>(.*?)</text>', text)]
    assert found == aims(shifts)
    assert "in mm" in text, "the key says what the figures are"
    plain = tmp_path / "plain.svg"
    run("map", CHORALE, "--part", "Trombone 2", "-o", plain)
    assert 'class="aim"' not in plain.read_text(encoding="utf-8")


def test_moves_stand_in_the_score_and_go_again(shifts: list[float]) -> None:
    document = open_document(CHORALE)
    analysis = analyse(document, Request(parts=("Trombone 2",), intonation="just"))
    marked = read_document(annotated(document, marks(analysis.lines)), CHORALE.name)
    texts = [(element.text or "").strip() for element in marked.root.iter("fingering")]
    assert [text.partition(" ")[2] for text in texts if " " in text] == aims(shifts)
    assert cleared(marked) == cleared(document)
    # Another program keeps neither instructions nor blanks at the ends: the record in the file still knows them.
    bare = re.sub(rb"<\?lowbrass[^?]*\?>", b"", annotated_xml(marked))
    again = read_document(bare, "again.musicxml")
    assert b"out 12" in bare
    assert not list(read_document(cleared(again), "again.musicxml").root.iter("fingering"))


def annotated_xml(document) -> bytes:  # type: ignore[no-untyped-def]
    from lxml import etree

    return etree.tostring(document.root.getroottree(), encoding="utf-8", xml_declaration=True)


def test_a_practice_sheet_moves_the_slide_where_its_music_does() -> None:
    """The marks of the passage as written are those of the map; a move out of its chord is told no place in one."""
    document = open_document(CHORALE)
    for intonation, moved in (("equal", False), ("just", True)):
        request = Request(parts=("P3",), intonation=intonation)
        drills = drills_for(document, request)
        planned = {(mark.text, mark.aim) for mark in marks(analyse(document, request).lines) if mark.aim}
        _, printed = sheet_score(drills)
        aims = {(mark.text, mark.aim) for mark in printed if mark.aim}
        assert bool(aims) == moved
        assert aims <= planned
        passage = [one for one in drills.exercises if one.kind == "passage"]
        assert all(("for the chord" in one.task) == moved for one in passage)
        inside = sum(one.choice is not None for exercise in passage for row in exercise.measures for one in row)
        assert sum(bool(mark.aim) for mark in printed) <= inside


def test_a_mark_with_a_move_is_one_line_of_text() -> None:
    assert Mark(part_id="P1", ref=0, line=1, text="4", aim="out 8").written == "4 out 8"
    assert Mark(part_id="P1", ref=0, line=1, text="T2").written == "T2"


def test_reasons_say_the_chord_and_who_gives_way() -> None:
    """B flat as third of G minor is 16 cents high, which no slide in first can do (6:5 is 15.6 cents above)."""
    analysis = analyse(open_document(CHORALE), Request(parts=("Trombone 2",), intonation="just"))
    (line,) = analysis.lines
    told = {note.note.measure: note.why[-1] for note in line.plan.notes if "Third of G minor" in " ".join(note.why)}
    assert told["13"] == ("Third of G minor: belongs 16 cents above equal temperament; it stays 16 cents below that "
                          "(the slide is all the way in), so take 5 if it is known (right there), or the others come "
                          "down to it.")
    equal = analyse(open_document(CHORALE), Request(parts=("Trombone 2",), player=Player()))
    assert not any("belongs" in " ".join(note.why) for note in equal.lines[0].plan.notes)


def test_pins_keep_the_reasons_of_the_others() -> None:
    (line,) = analyse(open_document(CHORALE), Request(parts=("Trombone 2",), intonation="just")).lines
    fresh = line.planner.plan({3: "T6"} if any(one.label == "T6" for one in line.planner.choices[3]) else {3: "4"})
    for before, after in zip(line.plan.notes, fresh.notes, strict=True):
        assert ("belongs" in after.why[-1]) == ("belongs" in before.why[-1])


def test_the_printed_part_has_the_moves_too(shifts: list[float], tmp_path) -> None:  # type: ignore[no-untyped-def]
    pytest.importorskip("verovio")
    pypdf = pytest.importorskip("pypdf")
    page = tmp_path / "part.pdf"
    assert run("map", CHORALE, *_JUST, "--pictures", "none", "-o", page).returncode == 0
    text = "\n".join(sheet.extract_text() for sheet in pypdf.PdfReader(page).pages)
    assert sorted(re.findall(r"\b(?:out|in) \d+", text)) == sorted(aims(shifts))
    assert "for the chord, in mm" in text

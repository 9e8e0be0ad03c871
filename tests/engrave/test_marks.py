"""Marks drawn into an engraving: other marks need no other engraving, rows keep apart, single systems are whole."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree

from analyzer.engrave.copy import Copy, engraving_copy
from analyzer.engrave.engrave import (
    PageOptions,
    engraved,
    engraved_pages,
    faces_of,
    mark_layers,
    pages_with,
    suits,
    systems_with,
)
from analyzer.engrave.fonts import style_sheet
from analyzer.engrave.geometry import Head, Staff, System
from analyzer.engrave.geometry import system_of as measured_system
from analyzer.engrave.marks import MARK_SIZE, MarkRow, Placed, spread
from analyzer.marking.mark import Mark
from tests.engrave.scores import ACCENT, START, busy, marks, note, part, score
from tests.engrave.test_engrave import hard_music, measured

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")

SVG = "{http://www.w3.org/2000/svg}"
SCREEN = PageOptions(paper="screen", width_px=900, id_prefix="p-")


def other(copy: Copy) -> Copy:
    """The same music, a few marks other ones."""
    return replace(copy, marks=tuple(
        replace(mark, text="T2", changed=True, playable=True) if mark.ref % 19 == 0 else mark for mark in copy.marks))


def test_new_marks_in_the_old_picture_are_the_picture_engraved_anew() -> None:
    before = engraving_copy(busy(), "P1", marks(busy()))
    after = other(before)
    engraving = engraved(before, SCREEN)
    assert suits(engraving, after.marks)
    page = etree.fromstring(pages_with(engraving, before)[0].encode())
    for layer in mark_layers(engraving, after.marks):
        group = etree.fromstring(layer.replace("<g ", '<g xmlns="http://www.w3.org/2000/svg" ', 1))
        old = next(found for found in page.iter(f"{SVG}g") if found.get("id") == group.get("id"))
        assert old.get("class") == "marks"
        old.getparent().replace(old, group)

    def drawn(root: etree._Element) -> list[str]:
        # The faces differ where other characters are shown.
        return ["".join(group.itertext()) + str(group.attrib) + str([sorted(shape.attrib.items()) for shape in group])
                for group in root.iter(f"{SVG}g")]

    assert drawn(page) == drawn(etree.fromstring(engraved_pages(after, SCREEN)[0].encode()))


def test_an_engraving_may_be_remembered() -> None:
    asked: list[tuple[int, int]] = []
    copy = engraving_copy(busy(), "P1", marks(busy()))
    known = engraved(copy, SCREEN)

    def remembered(music: Copy, options: PageOptions, rows: int, step: int) -> object:
        asked.append((rows, step))
        assert music.musicxml == copy.musicxml
        return known

    assert pages_with(engraved(other(copy), SCREEN, lay_out=remembered), other(copy))
    assert asked == [(1, 0)]


def test_more_rows_than_there_is_room_for_do_not_suit() -> None:
    copy = engraving_copy(busy(), "P1", marks(busy()))
    engraving = engraved(copy, SCREEN)
    assert suits(engraving, copy.marks)
    assert not suits(engraving, (*copy.marks, replace(copy.marks[0], line=2)))


def test_systems_one_by_one_hold_the_same_marks_and_nothing_is_cut(tmp_path: Path) -> None:
    copy = hard_music()
    engraving = engraved(copy, SCREEN)
    systems = systems_with(engraving, copy)
    assert len(systems) == sum(len(sheet.systems) for sheet in engraving.sheets) > 3
    ids = [found for system in systems for found in etree.fromstring(system).xpath("//@id")]
    assert len(ids) == len(set(ids))
    faces = f'<svg width="0" height="0"><style>{style_sheet(faces_of(engraving, copy))}</style></svg>'
    found = measured([faces, *systems], tmp_path)
    assert found["marks"] == len(copy.marks)
    assert (found["touching"], found["cut"]) == ([], [])


def test_each_of_two_staves_has_its_own_rows(tmp_path: Path) -> None:
    """Trombones on two staves of one part: marks of the upper staff stand between the staves."""
    start = START.replace("<divisions>4</divisions><key><fifths>-2</fifths></key>",
                          "<divisions>4</divisions><key><fifths>-2</fifths></key>").replace(
        "<clef>", "<staves>2</staves><clef number='1'>").replace(
        "</clef>", "</clef><clef number='2'><sign>F</sign><line>4</line></clef>")

    def on(staff: int, pitches: str) -> str:
        return "".join(note(pitch, 4, "quarter", more=f"<staff>{staff}</staff>" + ACCENT).replace(
            "<voice>1", f"<voice>{staff}") for pitch in pitches.split())

    both = [on(1, "Bb3 F3 D3 E2") + "<backup><duration>16</duration></backup>" + on(2, "Bb2 F2 C2 E2")] * 6
    document = score(part([start + both[0], *both[1:]]))
    copy = engraving_copy(document, "P1", marks(document))
    engraving = engraved(copy, SCREEN)
    assert all(len(system.staves) == 2 for sheet in engraving.sheets for system in sheet.systems)
    page = pages_with(engraving, copy)[0]
    for group in (found for found in etree.fromstring(page.encode()).iter(f"{SVG}g") if found.get("class") == "marks"):
        heights = {float(text.get("y")) for text in group.iter(f"{SVG}text")}
        assert len(heights) == 2
    found = measured(list(engraved_pages(copy, replace(SCREEN, embed_fonts=True))), tmp_path)
    assert found["marks"] == len(copy.marks) == 48
    assert (found["touching"], found["cut"]) == ([], [])


def test_rows_may_have_names() -> None:
    copy = replace(engraving_copy(busy(), "P1", marks(busy())), row_names=("play",))
    texts = ["".join(text.itertext()) for text in etree.fromstring(engraved_pages(copy)[0]).iter(f"{SVG}text")]
    assert texts.count("play") == texts.count("play") > 0
    assert "1st" not in texts


def row(*centres: float, half: float = 100.0, right: float = 10000.0, indent: float = 0.0) -> MarkRow:
    staff = Staff(top=0, bottom=720, left=0, right=right, ink=800)
    mark = Mark(part_id="P1", ref=0, line=1, text="1")
    return MarkRow(staff=staff, nth=0, indent=indent,
                   placed=tuple(Placed(mark=mark, head=Head(x=x, y=0, half=100), half=half, room=half)
                                for x in centres))


@pytest.mark.parametrize("centres", [(200, 1000, 3000), (1500, 1510, 1520, 1530), (900, 920, 5000, 5001), (1000,)])
def test_labels_keep_apart_and_move_no_more_than_needed(centres: tuple[float, ...]) -> None:
    found = spread(row(*centres))
    least = 200 + 0.25 * MARK_SIZE
    assert all(b - a >= least for a, b in pairwise(found))
    # What stands apart already does not move; a crowd keeps its middle.
    assert sum(found) == pytest.approx(sum(centres))
    if all(b - a >= 400 for a, b in pairwise(centres)):
        assert found == pytest.approx(list(centres))


def test_labels_stay_within_the_staff() -> None:
    found = spread(row(100, 120, 9900, 9950, right=10000, indent=200))
    assert found[0] - 100 >= 200 - 1e-6
    assert found[-1] + 100 <= 10000 + 1e-6


def test_ink_below_the_staff_is_found_whatever_draws_it() -> None:
    lines = "".join(f'<path d="M0 {y} L900 {y}" stroke-width="13"/>' for y in (100, 280, 460, 640, 820))
    head = ('<g class="note" color="#000000" id="n7"><g fill="#123456" class="notehead x"><use '
            'transform="translate(300, 910) scale(0.72, 0.72)" xlink:href="#E0A4"/></g></g>')
    plain = f'<g class="staff" color="#000000">{lines}</g>'

    def system_of(shapes: str) -> System:
        return measured_system(etree.fromstring(
            '<g xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" class="system">'
            f"{shapes}</g>"))

    assert system_of(plain).staves[0].ink == 880                   # a third of a space below the lowest line
    found = system_of(plain + head)
    # Leipzig's black head is 314 wide and reaches 133 below its middle, in thousandths of an em (its metadata).
    assert found.heads[7].x == pytest.approx(300 + 0.72 * 314 / 2)
    assert found.staves[0].ink == pytest.approx(910 + 0.72 * 133)
    for shape, lowest in (
            ('<polygon points="0,900 10,1000 20,950"/>', 1000), ('<ellipse cx="5" cy="990" rx="9" ry="20"/>', 1010),
            ('<rect fill-opacity="0" x="5" y="900" height="150" width="9"/>', 1050),
            ('<path d="M5 700 L5 1100" stroke-width="18"/>', 1100),
            ('<text x="5" y="1000" font-size="0px"><tspan font-size="400px">g</tspan></text>', 1088)):
        assert system_of(plain + shape).staves[0].ink == lowest, shape
    bow = '<path d="M0,900 C100,1300 200,1300 300,900 C200,1280 100,1280 0,900" stroke-width="9"/>'
    # Half-way the outer curve is at 900 + 3/4 of 400.
    assert system_of(plain + bow).staves[0].ink == pytest.approx(1200, abs=15)

"""Every attribute that the standard allows where a mark is drawn: no mark may be lost by it.

Attributes and values are those of the MusicXML 4.0 schema (W3C) for note, notehead, staff-details, measure, notations,
clef, key and time.
"""

import pytest
from lxml import etree

from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.drawn import all_drawn, drawn_refs
from analyzer.engrave.engrave import PageOptions, engraved, engraved_pages, mark_layers
from analyzer.marking.annotate import annotated
from analyzer.marking.mark import Mark
from analyzer.problem import Unreadable
from analyzer.score.document import Document, read_document
from tests.engrave.scores import START, note, part, score

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")

SCREEN = PageOptions(paper="screen", width_px=900, embed_fonts=False)
MARKS = tuple(Mark(part_id="P1", ref=ref, line=1, text=str(ref + 1)) for ref in range(4))
MUSIC = score(part([
    START + note("C3", 4, "quarter")
    + note("D3", 4, "quarter", more="<notehead>normal</notehead><notations><slur type='start'/></notations>")
    + note("E3", 8, "half"),
    note("E3", 16, "whole", more="<notehead>x</notehead>")]))
ATTRIBUTES: dict[str, dict[str, str]] = {
    "note": {
        "print-leger": "no", "dynamics": "80", "end-dynamics": "70", "attack": "1", "release": "1", "time-only": "1",
        "pizzicato": "yes", "default-x": "12", "default-y": "3", "relative-x": "3", "relative-y": "3",
        "font-family": "Times", "font-style": "italic", "font-size": "12", "font-weight": "bold", "color": "#FF0000",
        "print-object": "no", "print-dot": "no", "print-spacing": "no", "print-lyric": "no", "id": "n1"},
    "notehead": {"filled": "no", "parentheses": "yes", "font-family": "x", "font-size": "12", "color": "#00FF00",
                 "smufl": "noteheadBlack"},
    "measure": {"text": "a", "implicit": "yes", "non-controlling": "yes", "width": "200", "id": "m1"},
    "notations": {"print-object": "no", "id": "n2"},
    "key": {"print-object": "no", "color": "#FF0000"},
    "clef": {"print-object": "no", "size": "cue", "color": "#FF0000", "after-barline": "yes"},
    "time": {"print-object": "no", "symbol": "cut", "separator": "none"},
}
HEADS = ("slash", "triangle", "diamond", "square", "cross", "x", "circle-x", "inverted-triangle", "arrow down",
         "arrow up", "circled", "slashed", "back slashed", "normal", "cluster", "circle dot", "left triangle",
         "rectangle", "none", "do", "re", "mi", "fa", "fa up", "so", "la", "ti", "other")


def shown(document: Document) -> tuple[int, int]:
    """Return how many marks the page and the score show."""
    copy = engraving_copy(document, "P1", MARKS)
    page = etree.fromstring(engraved_pages(copy, SCREEN)[0].encode())
    seen = [element for notations in etree.fromstring(annotated(document, MARKS)).iter("notations")
            if notations.get("print-object") != "no" for element in notations.iter("fingering")]
    return sum("mark" in (element.get("class") or "").split() for element in page.iter(etree.Element)), len(seen)


def changed(tag: str, attributes: dict[str, str]) -> Document:
    root = etree.fromstring(MUSIC.xml)
    for element in root.iter(tag):
        for name, value in attributes.items():
            element.set(name, value)
    return read_document(etree.tostring(root), "a.musicxml")


@pytest.mark.parametrize("tag", ATTRIBUTES)
def test_no_attribute_costs_a_mark(tag: str) -> None:
    for name, value in ATTRIBUTES[tag].items():
        assert shown(changed(tag, {name: value})) == (4, 4), name
    together = {name: value for name, value in ATTRIBUTES[tag].items() if name != "id"}
    assert shown(changed(tag, together)) == (4, 4)


@pytest.mark.parametrize("kind", ["quarter", "whole"])
def test_no_shape_of_head_costs_a_mark(kind: str) -> None:
    for head in HEADS:
        root = etree.fromstring(MUSIC.xml)
        for element in root.iter("note"):
            for old in element.findall("notehead"):
                element.remove(old)
            written = element.find("type")
            assert written is not None
            written.text = kind
            shape = etree.Element("notehead")
            shape.text = head
            written.addnext(shape)
        assert shown(read_document(etree.tostring(root), "a.musicxml")) == (4, 4), head


@pytest.mark.parametrize("inside", [
    "<staff-details><staff-lines>0</staff-lines></staff-details>",
    "<staff-details><staff-lines>1</staff-lines></staff-details>",
    "<staff-details print-object='no'/>", "<staff-details show-frets='letters' number='1' print-spacing='yes'/>",
    "<measure-style><measure-repeat type='start'>1</measure-repeat></measure-style>",
    "<measure-style><slash type='start'/></measure-style>",
    "<measure-style><beat-repeat type='start'/></measure-style>",
    "<measure-style><multiple-rest>2</multiple-rest></measure-style>"])
def test_no_staff_and_no_style_of_measure_costs_a_mark(inside: str) -> None:
    root = etree.fromstring(MUSIC.xml)
    for measure in root.iter("measure"):
        measure.insert(0, etree.fromstring(f"<attributes>{inside}</attributes>"))
    assert shown(read_document(etree.tostring(root), "a.musicxml")) == (4, 4)


def test_beams_at_every_note_of_a_chord_cost_no_mark() -> None:
    """As musicscore writes chords that change the staff: the engraver lost them and what followed."""
    beamed = [(state, staff) for state in ("begin", "continue", "continue", "end") for staff in (1, 2)]
    eighths = "".join(
        note("C3" if staff == 1 else "E3", 2, "eighth", chord=staff == 2,
             more=f"<staff>{1 + (staff + nth // 2) % 2}</staff><beam number='1'>{state}</beam>")
        for nth, (state, staff) in enumerate(beamed))
    staves = START.replace("<clef>", "<staves>2</staves><clef number='1'>").replace(
        "</attributes>", "<clef number='2'><sign>F</sign><line>4</line></clef></attributes>")
    document = score(part([staves + eighths + note("C3", 8, "half", more="<staff>1</staff>")]))
    marks = tuple(Mark(part_id="P1", ref=ref, line=1, text="1") for ref in range(9))
    page = engraved_pages(engraving_copy(document, "P1", marks), SCREEN)[0]
    assert drawn_refs([page]) == dict.fromkeys(range(9), 1)


def test_a_page_that_cannot_show_a_mark_is_refused() -> None:
    copy = engraving_copy(MUSIC, "P1", MARKS)
    engraving = engraved(copy, SCREEN)
    layers = mark_layers(engraving, MARKS)
    assert drawn_refs(layers) == {0: 1, 1: 1, 2: 1, 3: 1}
    with pytest.raises(Unreadable) as caught:
        mark_layers(engraving, (*MARKS, Mark(part_id="P1", ref=17, line=1, text="5")))
    assert caught.value.problem.code == "marks-lost"
    with pytest.raises(Unreadable):
        all_drawn(layers[:-1], MARKS)

"""Rests as published parts print them: cases of a librarian's list, the outcome told by hand."""

import pytest
from lxml import etree

from analyzer.engrave.copy import engraving_copy
from tests.engrave.scores import EMPTY, START, direction, note, part, score

PLAYED = note("C3", 16, "whole")
HALVES = "<note><rest/><duration>8</duration><voice>1</voice><type>half</type></note>" * 2


def rests(measures: list[str]) -> list[tuple[str, int]]:
    """First measure and length of every rest of whole measures, as they stand in the part."""
    copy = etree.fromstring(engraving_copy(score(part(measures)), "P1").musicxml)
    found = []
    for measure in copy.iter("measure"):
        for element in measure.iter("note"):
            name = element.get("id", "")
            if name.startswith("rest-"):
                assert element.find("rest").get("measure") == "yes"
                found.append((measure.get("number"), int(name.rsplit("-", 1)[1])))
    return found


@pytest.mark.parametrize(("measures", "wanted"), [
    # Ten measures with another player's word in the second: one rest, not 1 + 9.
    ([START + PLAYED, EMPTY, direction("<words>espress.</words>") + EMPTY, *[EMPTY] * 8, PLAYED], [("2", 10)]),
    # A rehearsal mark, a new tempo, a key, a word for this player: each begins a rest of its own.
    ([START + PLAYED, EMPTY, EMPTY, direction("<rehearsal>B</rehearsal>") + EMPTY, EMPTY], [("2", 2), ("4", 2)]),
    ([START + PLAYED, EMPTY, EMPTY, direction("<words>Più mosso</words>", "<sound tempo='120'/>") + EMPTY, EMPTY],
     [("2", 2), ("4", 2)]),
    ([START + PLAYED, EMPTY, EMPTY, "<attributes><key><fifths>1</fifths></key></attributes>" + EMPTY, EMPTY],
     [("2", 2), ("4", 2)]),
    ([START + PLAYED, EMPTY, EMPTY, direction("<words>con sord.</words>") + EMPTY, EMPTY], [("2", 2), ("4", 2)]),
    # A repeat, a double bar, a fermata.
    ([START + PLAYED, EMPTY, "<barline location='left'><repeat direction='forward'/></barline>" + EMPTY, EMPTY],
     [("2", 1), ("3", 2)]),
    ([START + PLAYED, EMPTY, EMPTY + "<barline location='right'><bar-style>light-light</bar-style></barline>", EMPTY],
     [("2", 2), ("4", 1)]),
    ([START + PLAYED, EMPTY, EMPTY.replace("</voice>", "</voice><notations><fermata/></notations>"), EMPTY],
     [("2", 1), ("3", 1), ("4", 1)]),
    # Half rests strung together are a whole-measure rest.
    ([START + PLAYED, HALVES, PLAYED], [("2", 1)]),
    ([START + PLAYED, HALVES, EMPTY, PLAYED], [("2", 2)]),
])
def test_a_rest_goes_on_until_its_reader_has_something_to_see(
        measures: list[str], wanted: list[tuple[str, int]]) -> None:
    assert rests(measures) == wanted


def test_rests_add_up_and_numbers_go_on() -> None:
    measures = [START + PLAYED, *[EMPTY] * 7, direction("<rehearsal>C</rehearsal>") + EMPTY, *[EMPTY] * 11, PLAYED]
    copy = engraving_copy(score(part(measures)), "P1")
    assert copy.ranges == (("rest-1-7", "2–8"), ("rest-8-12", "9–20"))
    assert [found.get("number") for found in etree.fromstring(copy.musicxml).iter("measure")] == ["1", "2", "9", "21"]


def test_a_word_inside_a_rest_stands_above_it_with_its_measure() -> None:
    measures = [START + PLAYED, EMPTY, direction("<words>rit.</words>") + EMPTY, EMPTY, PLAYED]
    copy = etree.fromstring(engraving_copy(score(part(measures)), "P1").musicxml)
    assert [words.text for words in copy.iter("words")] == ["rit. (m. 3)"]


def test_the_dynamic_of_a_rest_waits_for_the_entry_and_hairpins_of_others_go() -> None:
    measures = [START + PLAYED, EMPTY, direction("<wedge type='crescendo'/>") + EMPTY,
                direction("<wedge type='stop'/>") + direction("<dynamics><ff/></dynamics>") + EMPTY, PLAYED]
    copy = etree.fromstring(engraving_copy(score(part(measures)), "P1").musicxml)
    assert list(copy.iter("wedge")) == []
    assert copy.find("part/measure[@number='5']/direction/direction-type/dynamics/ff") is not None


def test_a_hairpin_that_ends_in_a_rest_ends_with_the_last_note() -> None:
    measures = [START + direction("<wedge type='diminuendo'/>") + PLAYED, direction("<wedge type='stop'/>") + EMPTY,
                EMPTY, PLAYED]
    copy = etree.fromstring(engraving_copy(score(part(measures)), "P1").musicxml)
    assert [wedge.get("type") for wedge in copy.find("part/measure[@number='1']").iter("wedge")] == [
        "diminuendo", "stop"]


def test_what_stands_at_the_start_of_a_long_rest_is_drawn() -> None:
    """The engraver (verovio 6.4) loses directions and left barlines of <multiple-rest>; here they are on the page."""
    pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
    from analyzer.engrave.engrave import engraved_excerpt

    measures = [START + PLAYED, direction("<rehearsal>Q</rehearsal>") + direction("<words>Solo</words>") + EMPTY,
                EMPTY, "<barline location='left'><repeat direction='forward'/></barline>" + EMPTY, EMPTY, PLAYED]
    svg = engraved_excerpt(engraving_copy(score(part(measures)), "P1"))
    texts = ["".join(text.itertext()).strip() for text in etree.fromstring(svg.encode()).iter(
        "{http://www.w3.org/2000/svg}text")]
    assert {"Q", "Solo", "2–3", "4–5"} <= set(texts)
    assert svg.count('class="multiRest"') == 2
    assert svg.count("#E044") == 2             # the dots of the repeat: U+E044 repeatDot of SMuFL

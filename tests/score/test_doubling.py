"""A player who changes horns inside a part.

What names an instrument follows MusicXML 4.0: `instrument` ("there should be an instrument element for each note in the
part") and `instrument-change` ("a change to the virtual instrument sound"). The words are those of printed parts
(common practice, no source).
"""

import pytest

from analyzer.analysis import Request, analyse
from analyzer.score.document import read_document
from analyzer.score.doubling import horn_word
from analyzer.score.lines import Line
from analyzer.score.parts import find_parts
from analyzer.selection import part_lines
from tests.score.build import note, score, words

TWO = ('<score-instrument id="I1"><instrument-name>Trombone</instrument-name></score-instrument>'
       '<score-instrument id="I2"><instrument-name>{}</instrument-name></score-instrument>')
CHANGE = ('<direction><direction-type><words>x</words></direction-type><sound><instrument-change id="P1-I1">'
          "<instrument-sound>{}</instrument-sound></instrument-change></sound></direction>")


def played(data: bytes) -> tuple[list[Line], list[tuple[str, str]]]:
    """Return the lines of the first part, and the code and place of what was said."""
    document = read_document(data, "a.xml")
    lines, problems = part_lines(document, find_parts(document)[0][0])
    return list(lines), [(one.code, one.where.rpartition(", ")[2]) for one in problems]


def told(data: bytes) -> list[tuple[str, list[str]]]:
    return [(line.family, [one.written.name for one in line.notes]) for line in played(data)[0]]


def by(instrument: str, pitch: str) -> str:
    return note(pitch, 16, inner=f'<instrument id="{instrument}"/>')


BOTH = [("trombone", ["C3", "E3"]), ("euphonium", ["D3"])]


@pytest.mark.parametrize("data", [
    score(by("I1", "C3"), by("I2", "D3"), by("I1", "E3"), entry=TWO.format("Euphonium")),
    score(note("C3", 16), CHANGE.format("brass.euphonium") + note("D3", 16), CHANGE.format("brass.trombone")
          + note("E3", 16)),
    score(note("C3", 16) + words("to Euph."), note("D3", 16) + words("to Tbn."), note("E3", 16)),
    score(note("C3", 16), words("Take Euphonium") + note("D3", 16), words("Change to Trombone") + note("E3", 16)),
], ids=["instrument of each note", "instrument change", "words before the rest", "words at the note"])
def test_each_horn_has_its_line(data: bytes) -> None:
    assert told(data) == BOTH
    lines, said = played(data)
    assert [(line.number, line.of, line.whose) for line in lines] == [(1, 2, "on trombone"), (2, 2, "on euphonium")]
    assert said == [("horn-change", "measure 2")]


def test_a_bass_trombone_part_goes_back_to_its_own_horn() -> None:
    data = score(note("C3", 16), words("to Euph.") + note("D3", 16), words("to Trombone") + note("E3", 16),
                 name="Bass Trombone")
    assert told(data) == [("bass trombone", ["C3", "E3"]), ("euphonium", ["D3"])]


def test_another_name_of_the_same_horn_is_no_change() -> None:
    data = score(by("I1", "C3"), by("I2", "D3"), entry=TWO.format("Trombone, muted"))
    assert told(data) == [("trombone", ["C3", "D3"])]
    assert played(data)[1] == []
    assert told(score(by("I1", "C3"), by("I2", "D3"), entry=TWO.format("Brass"))) == [("trombone", ["C3", "D3"])]


def test_a_name_alone_may_be_that_of_a_cue() -> None:
    assert told(score(note("C3", 16), words("Euphonium") + note("D3", 16))) == [("trombone", ["C3", "D3"])]


def test_what_is_for_no_low_brass_is_left_out_and_said() -> None:
    data = score(note("C3", 16), words("to Tuba") + note("D2", 16), words("to Tbn.") + note("E3", 16))
    assert told(data) == [("trombone", ["C3", "E3"])]
    assert played(data)[1] == [("other-instrument", "measure 2")]


def test_two_players_of_whom_both_change() -> None:
    pair = note("C3", 16) + note("E3", 16, before="<chord/>")
    lines, _ = played(score(pair, words("to Euph.") + pair))
    assert [line.whose for line in lines] == ["player 1 of 2, on trombone", "player 1 of 2, on euphonium",
                                             "player 2 of 2, on trombone", "player 2 of 2, on euphonium"]
    assert [line.number for line in lines] == [1, 2, 3, 4]


def test_a_repeat_over_a_change_ties_no_notes_of_different_horns() -> None:
    back = '<barline><repeat direction="backward"/></barline>'
    lines, _ = played(score(note("C3", 16), words("to Euph.") + note("D3", 16) + back, note("E3", 16)))
    assert [line.jumps for line in lines] == [(), ()]
    lines, _ = played(score(note("C3", 8) + note("D3", 8) + back, words("to Euph.") + note("E3", 16)))
    assert [line.jumps for line in lines] == [((1, 0),), ()]


def test_each_line_is_planned_on_the_horn_of_its_family() -> None:
    document = read_document(score(note("C3", 16), words("to Euph.") + note("D3", 16)), "a.xml")
    found = analyse(document, Request())
    assert [one.plan.horn.name for one in found.lines] == ["tenor-f", "euphonium-4-compensating"]
    assert all(one.assumed for one in found.lines)
    found = analyse(document, Request(horns=("tenor", "euphonium-3")))
    assert [one.plan.horn.name for one in found.lines] == ["tenor", "euphonium-3"]
    found = analyse(document, Request(horns=("tenor",)))
    assert [(one.plan.horn.name, one.assumed) for one in found.lines] == [
        ("tenor", False), ("euphonium-4-compensating", True)]


@pytest.mark.parametrize(("text", "family"), [
    ("to Baritone Horn", "baritone"), ("Muta in Eufonio", "euphonium"), ("Euphonium nehmen", "euphonium"),
    ("prenez le Trombone basse", "bass trombone"), ("To Bass Trbn.", "bass trombone"), ("to coda", None),
    ("to the front", None), ("Euph. cue", None), ("with Trombones", None), (None, None),
    ("to " + "Euphonium " * 9, None),
])
def test_words_of_changing(text: str | None, family: str | None) -> None:
    assert horn_word(text) == family

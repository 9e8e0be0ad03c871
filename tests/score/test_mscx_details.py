"""The .mscx form in its corners, each written by hand after a file of the form's own program and what that program,
version 3.2.3 (Debian), exported of it as MusicXML.
"""

import io
import zipfile
from typing import Any

import pytest

from analyzer.score.document import read_score
from analyzer.score.parts import find_parts
from analyzer.score.reader import read_part

PART = """<Part><Staff><type>0</type>{lists}</Staff><name><html-data>Trombone</html-data></name>
<Instrument><trackName>Trombone</trackName></Instrument></Part>"""
OLD = """<museScore version="1.14"><Division>480</Division>{before}{part}{lines}<Staff id="1">{measures}</Staff>
</museScore>"""
NEW = """<museScore version="3.01"><Score><Division>480</Division>{part}<Staff id="1">{measures}</Staff>{more}</Score>
</museScore>"""
TROMBONE = """<Part>{staves}<trackName>Trombone</trackName>
<Instrument><longName>Trombone</longName></Instrument></Part>"""


def note(pitch: int, tpc: int, kind: str = "quarter", inside: str = "", before: str = "") -> str:
    return (f"<Chord>{before}<durationType>{kind}</durationType>{inside}<Note><pitch>{pitch}</pitch><tpc>{tpc}</tpc>"
            "</Note></Chord>")


BAR = note(48, 14, "half")


def part_of(text: str, part_id: str = "P1") -> Any:
    return read_part(read_score(text.encode(), "hand.mscx"), part_id)[0]


def old(measures: str, *, lists: str = "", lines: str = "", before: str = "") -> Any:
    return part_of(OLD.format(part=PART.format(lists=lists), lines=lines, before=before, measures=measures))


def new(measures: str, *, staves: str = '<Staff id="1"/>', more: str = "") -> Any:
    return part_of(NEW.format(part=TROMBONE.format(staves=staves), measures=measures, more=more))


def test_version_1_keeps_clef_key_metre_and_tempo_in_lists() -> None:
    part = old("<Measure>" + BAR + "</Measure><Measure>" + BAR + "</Measure>",
               lists='<cleflist><clef tick="0" idx="4"/><clef tick="960" idx="12"/></cleflist>'
                     '<keylist><key tick="0" idx="-2"/></keylist>',
               before='<siglist><sig tick="0"><nom>2</nom><denom>4</denom></sig></siglist>'
                      '<tempolist fix="2"><tempo tick="0">1.5</tempo></tempolist>')
    assert [one.duration for one in part.measures] == [2, 2]
    assert [str(one.clef) for one in part.notes] == ["bass", "tenor"]
    assert [one.bpm for one in part.tempi] == [90]
    score = read_score(OLD.format(part=PART.format(lists='<keylist><key tick="0" idx="-2"/></keylist>'), lines="",
                                  before="", measures="<Measure>" + BAR * 2 + "</Measure>").encode(), "hand.mscx")
    assert score.root.findtext("part/measure/attributes/key/fifths") == "-2"


def test_what_a_measure_of_version_1_tells_counts_before_the_list() -> None:
    part = old("<Measure><Clef><subtype>12</subtype></Clef>" + BAR * 2 + "</Measure>",
               lists='<cleflist><clef tick="0" idx="4"/></cleflist>')
    assert {str(one.clef) for one in part.notes} == {"tenor"}


def test_version_1_keeps_endings_and_ottavas_beside_the_staves() -> None:
    volta = "<Volta><tick>{}</tick><tick2>{}</tick2><endings>{}</endings></Volta>"
    part = old(f"<Measure>{BAR * 2}</Measure><Measure><endRepeat>2</endRepeat>{BAR * 2}</Measure><Measure>{BAR * 2}"
               "</Measure>", lines=volta.format(1920, 3840, 1) + volta.format(3840, 5760, 2)
               + "<Ottava><tick2>1920</tick2></Ottava>")
    assert [(jump.from_measure, jump.to_measure) for jump in part.jumps] == [(0, 2), (1, 0)]
    assert [one.sounding.midi for one in part.notes] == [60, 60, 48, 48, 48, 48]


def test_a_tremolo_on_two_chords_of_version_1_shares_its_length() -> None:
    second = note(52, 18, "whole", before="<tick>960</tick>", inside="<Tremolo><subtype>4</subtype></Tremolo>")
    part = old(f"<Measure>{note(48, 14, 'whole')}{second}</Measure>")
    assert [(one.onset, one.duration) for one in part.notes] == [(0, 2), (2, 2)]


@pytest.mark.parametrize("version", ["1.24", "2.00"])
def test_slurs_between_chords_hold_from_the_next_chord_to_the_next_chord(version: str) -> None:
    text = OLD.format(part=PART.format(lists=""), lines="", before="", measures="<Measure>" + note(48, 14)
                      + '<Slur id="2"/>' + note(50, 16) + note(52, 18) + '<endSpanner id="2"/>' + note(53, 13)
                      + "</Measure>").replace("1.14", version)
    assert [one.slur_after for one in part_of(text).notes] == [False, True, True, False]


def test_a_slur_may_end_in_a_voice_that_the_file_wrote_before() -> None:
    def of(voice: int, pitch: int, slur: str = "") -> str:
        return note(pitch, 14, "half", inside=slur, before=f"<track>{voice}</track>" if voice else "")

    part = old("<Measure>" + of(0, 48) + of(0, 60, '<Slur type="stop" number="1"/>') + "<tick>0</tick>"
               + of(1, 36, '<Slur type="start" number="1"/>') + of(1, 36) + "</Measure><Measure>" + BAR * 2
               + "</Measure>")
    assert not any(one.slur_after for one in part.notes if one.measure == 1), "nothing is left open"


SLUR = '<Spanner type="Slur">{}<{end}><location>{}</location></{end}></Spanner>'


def starts(location: str) -> str:
    return SLUR.format("<Slur/>", location, end="next")


def stops(location: str) -> str:
    return SLUR.format("", location, end="prev")


def test_two_slurs_from_one_note_end_where_they_say() -> None:
    quarter, half = "<fractions>{}1/4</fractions>", "<fractions>{}1/2</fractions>"
    part = new("<Measure><voice>" + note(48, 14, inside=starts(half.format("")) + starts(quarter.format("")))
               + note(50, 16, inside=stops(quarter.format("-"))) + note(52, 18, inside=stops(half.format("-")))
               + note(53, 13) + "</voice></Measure>")
    assert [one.slur_after for one in part.notes] == [True, True, False, False]


def test_a_slur_that_ends_at_a_rest_reaches_to_the_note_before() -> None:
    rest = ("<Rest><durationType>quarter</durationType>" + stops("<fractions>-1/2</fractions>") + "</Rest>")
    part = new("<Measure><voice>" + note(48, 14, inside=starts("<fractions>1/2</fractions>")) + note(50, 16) + rest
               + note(53, 13) + "</voice></Measure>")
    assert [one.slur_after for one in part.notes] == [True, False, False]


def test_half_a_slur_ties_nothing() -> None:
    part = new("<Measure><voice>" + note(48, 14, inside=starts("<staves>1</staves><fractions>1/4</fractions>"))
               + note(50, 16) * 3 + "</voice></Measure>")
    assert not any(one.slur_after for one in part.notes)


def test_ottavas_that_overlap_do_not_add_up() -> None:
    line = ('<Spanner type="Ottava"><Ottava><subtype>8va</subtype></Ottava><next><location><measures>1</measures>'
            "</location></next></Spanner>")
    part = new("<Measure><voice>" + line + note(48, 14) + line + note(48, 14) * 3 + "</voice></Measure>"
               "<Measure><voice>" + note(48, 14) * 4 + "</voice></Measure>")
    assert [one.sounding.midi for one in part.notes[:4]] == [60] * 4
    assert part.notes[-1].sounding.midi == 48


def test_a_chord_moved_to_the_other_staff_is_read_in_its_clef() -> None:
    part = new("<Measure><voice>" + note(60, 14) + note(48, 14, before="<move>1</move>") + note(60, 14) * 2
               + "</voice></Measure>", staves='<Staff id="1"/><Staff id="2"><defaultClef>F</defaultClef></Staff>',
               more='<Staff id="2"><Measure><voice><Rest><durationType>measure</durationType></Rest></voice></Measure>'
                    "</Staff>")
    assert [str(one.clef) for one in part.notes] == ["treble", "bass", "treble", "treble"]


def test_a_small_chord_is_a_cue_and_a_small_head_is_not() -> None:
    """As the program imports ``<cue/>`` (chord) and ``<type size="cue">`` (note): importmxmlpass2.cpp of 3.2.3."""
    small = "<small>1</small>"
    head = f"<Chord><durationType>quarter</durationType><Note>{small}<pitch>50</pitch><tpc>16</tpc></Note></Chord>"
    part = new("<Measure><voice>" + note(48, 14, before=small) + head + note(52, 18) * 2 + "</voice></Measure>")
    assert [one.sounding.midi for one in part.notes] == [50, 52, 52]


def test_ticks_rounded_in_a_tuplet_of_version_2_are_no_places_of_their_own() -> None:
    notes = "".join(note(48, 14, "eighth", before="<Tuplet>1</Tuplet>") + f"<tick>{tick}</tick>"
                    for tick in (137, 274, 411, 549, 686, 823, 960))
    text = OLD.format(part=PART.format(lists=""), lines="", before="", measures="<Measure><Tuplet id='1'>"
                      "<normalNotes>4</normalNotes><actualNotes>7</actualNotes></Tuplet>" + notes + BAR
                      + "</Measure>").replace("1.14", "2.06")
    assert [str(one.onset) for one in part_of(text).notes] == ["0", "2/7", "4/7", "6/7", "8/7", "10/7", "12/7", "2"]


def test_in_concert_pitch_the_clef_is_the_one_seen_unless_the_part_transposes() -> None:
    clef = "<Clef><concertClefType>F</concertClefType><transposingClefType>G</transposingClefType></Clef>"
    text = NEW.format(part=TROMBONE.format(staves='<Staff id="1"/>'), more="", measures="<Measure><voice>" + clef
                      + BAR * 2 + "</voice></Measure>").replace("<Division>", "<Style><concertPitch>1</concertPitch>"
                                                               "</Style><Division>", 1)
    assert {str(one.clef) for one in part_of(text).notes} == {"bass"}
    moved = text.replace("</longName>", "</longName><transposeDiatonic>-8</transposeDiatonic><transposeChromatic>-14"
                                        "</transposeChromatic>")
    assert {(str(one.clef), one.written.name) for one in part_of(moved).notes} == {("treble", "D4")}


class _Unflagged(zipfile.ZipInfo):
    """A member whose name is UTF-8 though its flags do not say so."""

    def _encodeFilenameFlags(self) -> tuple[bytes, int]:
        return self.filename.encode(), self.flag_bits & ~0x800


def test_names_in_an_archive_may_be_utf_8_without_saying_so() -> None:
    """As the program zipped "Reprises supportées 1.mscz" of its own tests: bit 11 of the flags is not set."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("META-INF/container.xml", '<container><rootfiles><rootfile full-path="é.mscx"/></rootfiles>'
                         "</container>")
        archive.writestr(_Unflagged("é.mscx"), NEW.format(
            part=TROMBONE.format(staves='<Staff id="1"/>'), more="", measures=f"<Measure><voice>{BAR * 2}</voice>"
            "</Measure>"))
    assert zipfile.ZipFile(io.BytesIO(out.getvalue())).namelist()[1] != "é.mscx"
    assert [one.family for one in find_parts(read_score(out.getvalue(), "e.mscz"))[0]] == ["trombone"]

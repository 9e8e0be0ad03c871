"""Marks in the file and out of it again; nothing else may change."""

import io
import re
import zipfile
from importlib.util import find_spec
from pathlib import Path

import pytest
from lxml import etree

from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.mark import Mark
from analyzer.score.document import read_document
from analyzer.score.reader import read_part
from tests.score.build import attributes, backup, chord, note, score

ODD = f"""<?xml version='1.0' encoding="UTF-8" standalone="no"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.0 Partwise//EN"
  "http://www.musicxml.org/dtds/partwise.dtd">
<!-- before <note> --><?page <part id="x"> ?>
<score-partwise version = '3.0' ><part-list>
<score-part id='P1'><part-name>Trombón &#9837; &amp; co</part-name></score-part>
<score-part id="P2"><part-name><![CDATA[<note> <part id="P2">]]></part-name></score-part></part-list>
<part id='P1'
><measure number="1">{attributes()}<!-- <note><pitch/></note> <?lowbrass?> -->\r
  <note default-x="1>2"><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration>
    <notations ><slur type="start" number="1"/></notations>
    <notations><articulations><staccato/></articulations></notations>
    <lyric><text>la</text></lyric></note ><?keep me?>
  <note><pitch><step>D</step><octave>3</octave></pitch><duration>4</duration><notations/><play/></note>
  <note><pitch><step>E</step><octave>3</octave></pitch><duration>4</duration><notations></notations></note>
  <note><pitch><step>F</step><octave>3</octave></pitch><duration>4</duration><notations><technical><fingering>3</fingering
    ></technical></notations></note>
  <note><rest/><duration>4</duration></note>
  <note><pitch><step>G</step><octave>3</octave></pitch><duration>4</duration><lyric><text>li</text></lyric></note>
</measure></part>
<part id="P2"><measure number="1">{attributes()}{note("C3", 4)}{note("D3", 12)}</measure></part>
</score-partwise>
<!-- after -->
""".encode()


def mark(ref: int, text: str = "2♯", line: int = 1, part_id: str = "P1") -> Mark:
    return Mark(part_id=part_id, ref=ref, line=line, text=text)


ALL = [mark(0), mark(1, "T2"), mark(2, "1-3"), mark(3), mark(5, "×"), mark(1, "4", part_id="P2")]


def fingerings(data: bytes) -> list[list[str]]:
    """Return the texts of the fingerings under each note of the file."""
    return [[each.text or "" for each in element.iter("fingering")] for element in etree.fromstring(data).iter("note")]


def without_marks(data: bytes) -> bytes:
    """Return the canonical form with our fingerings taken out in the tree, and what is left empty by that."""
    root = etree.fromstring(data)
    for fingering in list(root.iter("fingering")):
        if not any(getattr(child, "target", "") == "lowbrass" for child in fingering):
            continue
        alone = b"alone" in etree.tostring(fingering)
        technical = fingering.getparent()
        assert technical is not None
        technical.remove(fingering)
        if len(technical) == 0:
            notations = technical.getparent()
            assert notations is not None
            notations.remove(technical)
            if alone and len(notations) == 0:
                parent = notations.getparent()
                assert parent is not None
                parent.remove(notations)
    for field in root.findall("identification/miscellaneous/miscellaneous-field[@name='lowbrass']"):
        for holder in (field, root.find("identification/miscellaneous"), root.find("identification")):
            parent = holder.getparent() if holder is not None else None
            if parent is not None and (holder is field or len(holder) == 0):
                parent.remove(holder)
    return etree.tostring(root.getroottree(), method="c14n")


def test_marks_are_added_and_nothing_else_changes() -> None:
    document = read_document(ODD, "odd.xml")
    result = annotated(document, ALL)
    assert fingerings(result) == [["2♯"], ["T2"], ["1-3"], ["3", "2♯"], [], ["×"], [], ["4"]]
    assert without_marks(result) == etree.tostring(etree.fromstring(ODD).getroottree(), method="c14n")
    assert document.xml == ODD
    for element in etree.fromstring(result).iter("fingering"):
        assert element.get("placement") == "below" or element.text == "3"


def test_clearing_gives_back_every_byte_and_mapping_twice_is_mapping_once() -> None:
    once = annotated(read_document(ODD, "a.xml"), ALL)
    again = read_document(once, "a.xml")
    assert annotated(again, ALL) == once
    assert cleared(again) == ODD
    assert cleared(read_document(ODD, "a.xml")) == ODD
    assert annotated(again, []) == ODD
    assert annotated(again, [mark(0, "6")]) == annotated(read_document(ODD, "a.xml"), [mark(0, "6")])


def test_our_marks_are_no_fingering_of_the_user() -> None:
    told, _ = read_part(read_document(annotated(read_document(ODD, "a.xml"), ALL), "a.xml"), "P1")
    assert [each.given for each in told.notes] == [None, None, None, "3", None]


def test_mark_stands_in_the_first_notations_before_words() -> None:
    result = annotated(read_document(ODD, "a.xml"), ALL).decode()
    assert re.search(r'<slur type="start" number="1"/><technical><fingering placement="below">2♯<\?lowbrass\?>'
                     r"</fingering></technical></notations>", result)
    assert "</notations><lyric><text>li" in result
    assert "</notations><notations/><play/>" in result


def test_file_printed_anew_by_another_program_is_cleared_too() -> None:
    plain = score(note("C3", 8) + note("D3", 8))
    result = annotated(read_document(plain, "a.xml"), [mark(0), mark(1)])
    root = etree.fromstring(result)
    etree.indent(root)
    pretty = etree.tostring(root, encoding="UTF-8").replace(b'placement="below"', b"placement='below' default-y='-70'")
    left = cleared(read_document(pretty, "a.xml"))
    assert b"fingering" not in left
    assert b"notations" not in left
    assert b"technical" not in left


def test_what_a_user_adds_beside_our_mark_stays() -> None:
    result = annotated(read_document(score(note("C3", 16)), "a.xml"), [mark(0)])
    edited = result.replace(b"</technical>", b"</technical><fermata/>")
    assert b"<notations><fermata/></notations>" in cleared(read_document(edited, "a.xml"))
    within = result.replace(b"</fingering>", b"</fingering><fingering>7</fingering>")
    assert b"<notations><technical><fingering>7</fingering></technical></notations>" in cleared(
        read_document(within, "a.xml"))


def test_two_lines_on_one_note() -> None:
    plain = read_document(score(chord("C3", "E3", ticks=8) + note("F3", 8)), "a.xml")
    result = annotated(plain, [mark(2, "1", line=2), mark(2, "3", line=1), mark(0, "6"), mark(1, "2", line=2)])
    assert fingerings(result) == [["6"], ["2"], ["3", "1"]]
    assert fingerings(annotated(plain, [mark(2, "1", line=2), mark(2, "1", line=1)])) == [[], [], ["1"]]


@pytest.mark.parametrize("encoding", ["UTF-16", "UTF-16LE", "ISO-8859-1", "windows-1252", "Shift_JIS", "US-ASCII"])
def test_encodings_stay(encoding: str) -> None:
    text = score(note("C3", 16), name="Trombone").decode().replace("UTF-8", encoding)
    data = text.encode(encoding)
    document = read_document(data, "a.xml")
    result = annotated(document, [mark(0, "1-2")])
    assert fingerings(result) == [["1-2"]]
    assert cleared(read_document(result, "a.xml")) == data
    if encoding in {"ISO-8859-1", "windows-1252", "US-ASCII"}:
        assert fingerings(annotated(document, [mark(0, "2♯")])) == [["2♯"]]


def test_timewise() -> None:
    data = (b'<score-timewise><part-list><score-part id="P1"><part-name>T</part-name></score-part><score-part id="P2">'
            b"<part-name>U</part-name></score-part></part-list>" + b"".join(
                b'<measure number="%d"><part id="P2">%s</part><part id="P1">%s</part></measure>'
                % (n, note("C4", 8).encode(), (note("C3", 4) + note("D3", 4)).encode()) for n in (1, 2))
            + b"</score-timewise>")
    result = annotated(read_document(data, "a.xml"), [mark(1, "4"), mark(2, "6"), mark(1, "1", part_id="P2")])
    assert fingerings(result) == [[], [], ["4"], ["1"], ["6"], []]
    assert cleared(read_document(result, "a.xml")) == data


def test_archive_keeps_its_other_members() -> None:
    out = io.BytesIO()
    xml = score(note("C3", 16))
    with zipfile.ZipFile(out, "w") as file:
        file.writestr(zipfile.ZipInfo("mimetype", (2020, 2, 3, 4, 5, 6)), "application/vnd.recordare.musicxml")
        file.writestr("META-INF/container.xml",
                      '<container><rootfiles><rootfile full-path="s.musicxml"/></rootfiles></container>')
        file.writestr(zipfile.ZipInfo("s.musicxml", (2021, 1, 1, 0, 0, 0)), xml, zipfile.ZIP_DEFLATED)
        file.writestr("pictures/cover.png", b"\x89PNG...")
    data = out.getvalue()
    document = read_document(data, "a.mxl")
    result = annotated(document, [mark(0)])
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(io.BytesIO(result)) as new:
        assert new.testzip() is None
        for before, after in zip(old.infolist(), new.infolist(), strict=True):
            assert (before.filename, before.date_time, before.compress_type) == (
                after.filename, after.date_time, after.compress_type)
            if before.filename != "s.musicxml":
                assert old.read(before) == new.read(after)
        assert fingerings(new.read("s.musicxml")) == [["2♯"]]
    again = read_document(result, "a.mxl")
    assert annotated(again, [mark(0)]) == result
    assert read_document(cleared(again), "a.mxl").xml == xml
    assert cleared(document) == data


def test_mark_for_a_note_that_is_not_there_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match="no note 9"):
        annotated(read_document(score(note("C3", 16)), "a.xml"), [mark(9)])
    with pytest.raises(ValueError, match="'P5'"):
        annotated(read_document(score(note("C3", 16)), "a.xml"), [mark(0, part_id="P5")])


class _Local(etree.Resolver):
    """Gives the two schemas that the MusicXML schema imports by address, cut down to what it uses of them."""

    def resolve(self, url: str | None, pubid: str | None, context: object) -> object:
        space = ("http://www.w3.org/1999/xlink" if "xlink" in (url or "") else
                 "http://www.w3.org/XML/1998/namespace")
        names = ("href", "type", "role", "title", "show", "actuate", "lang", "space")
        body = "".join(f'<xs:attribute name="{name}" type="xs:string"/>' for name in names)
        return self.resolve_string(  # type: ignore[attr-defined]
            f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{space}">{body}</xs:schema>',
            context)


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    """The MusicXML 4.0 schema (W3C), as the package `musicxml` carries it."""
    package = find_spec("musicxml")          # not imported: the file in it is all that is wanted
    if package is None or package.origin is None:
        pytest.skip("the package that carries the MusicXML 4.0 schema is not installed")
    parser = etree.XMLParser()
    parser.resolvers.add(_Local())
    found = Path(package.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    return etree.XMLSchema(etree.fromstring(found.read_bytes(), parser))


def test_result_is_valid_musicxml(schema: etree.XMLSchema) -> None:
    full = note("C3", 4, after="<type>quarter</type><stem>up</stem><notations><slur type='start'/></notations>"
                '<lyric><text>la</text></lyric><play/>')
    data = score(full + note("D3", 4, after="<lyric><text>la</text></lyric>") + note("E3", 4)
                 + note("F3", 4, after="<listen><assess type='yes'/></listen>") + backup(16)
                 + note("A2", 16, voice="2"))
    assert schema.validate(etree.fromstring(data)), schema.error_log
    result = annotated(read_document(data, "a.xml"), [mark(ref) for ref in range(5)] + [mark(2, "4", line=2)])
    assert schema.validate(etree.fromstring(result)), schema.error_log
    assert len(fingerings(result)) == 5
    assert not schema.validate(etree.fromstring(result.replace(b"<technical>", b"<technic>").replace(
        b"</technical>", b"</technic>")))


@pytest.mark.parametrize("inside", ["<notehead>x</notehead>", "<notehead parentheses=\"yes\">normal</notehead >"])
def test_a_note_head_is_not_the_end_of_its_note(inside: str) -> None:
    """MusicXML 4.0, the note element: notehead is text only, notations stands after it."""
    xml = score(attributes() + note("F", 3).replace("</note>", f"{inside}</note>"))
    document = read_document(xml if isinstance(xml, bytes) else xml.encode(), "a.musicxml")
    mark = Mark(part_id=document.part_ids[0], ref=0, line=1, text="1")
    out = read_document(annotated(document, [mark]), "a.musicxml")
    one = out.root.find(".//note")
    assert one is not None
    assert len(one.find("notehead")) == 0
    assert one.findtext("notations/technical/fingering") == "1"


def without_instructions(data: bytes) -> bytes:
    """Return a score as a program saves it that keeps neither comments nor processing instructions, indented anew."""
    root = etree.fromstring(data)
    etree.strip_tags(root, etree.Comment, etree.ProcessingInstruction)
    etree.indent(root)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


OWN = score(
    note("C3", 4) + note("D3", 4, after="<notations><technical><fingering>4</fingering></technical></notations>")
    + note("E3", 4, after="<notations><technical><fingering>2</fingering></technical></notations>") + note("F3", 4))


def test_marks_are_known_after_a_program_dropped_the_instructions() -> None:
    document = read_document(OWN, "a.xml")
    marked = annotated(document, [mark(0, "6"), mark(1, "4"), mark(2, "T2"), mark(3, "1")])
    saved = read_document(without_instructions(marked), "a.xml")
    assert cleared(saved) == without_instructions(OWN)
    # None of ours is taken for the user's own, and mapping again does not double them.
    assert [each.given for each in read_part(saved, "P1")[0].notes] == [None, "4", "2", None]
    again = annotated(saved, [mark(0, "6"), mark(1, "4"), mark(2, "T2"), mark(3, "1")])
    assert fingerings(again) == [["6"], ["4", "4"], ["2", "T2"], ["1"]]


def test_what_a_teacher_wrote_is_never_taken_for_ours() -> None:
    """Of equal texts the user's own stay; a mark that a teacher changed after us is the teacher's."""
    marked = annotated(read_document(OWN, "a.xml"), [mark(ref, text) for ref, text in enumerate(("6", "4", "2", "1"))])
    root = etree.fromstring(without_instructions(marked))
    notes = list(root.iter("note"))
    notes[0].find(".//fingering").text = "T1"                        # our 6, changed
    second = notes[1].findall(".//fingering")
    second[1].getparent().remove(second[1])                          # ours dropped, the user's 4 is there
    left = cleared(read_document(etree.tostring(root), "a.xml"))
    assert fingerings(left) == [["T1"], ["4"], ["2"], []]
    # No record, no instruction: whoever wrote them, they stay.
    told = etree.fromstring(without_instructions(marked))
    told.remove(told.find("identification"))
    assert fingerings(cleared(read_document(etree.tostring(told), "a.xml"))) == [["6"], ["4", "4"], ["2", "2"], ["1"]]


FIRST_VERSION = score(
    note("C3", 8, after='<notations print-object="no"><technical><fingering placement="below">6<?lowbrass?></fingering>'
         "</technical></notations>")
    + note("D3", 8, after='<notations><technical><fingering placement="below">4<?lowbrass alone?></fingering>'
           "</technical></notations>"))


def test_marks_of_the_first_version_are_known() -> None:
    """The bytes are as version 1 wrote them, also into notations that are not shown."""
    plain = score(note("C3", 8, after='<notations print-object="no"></notations>') + note("D3", 8))
    assert cleared(read_document(FIRST_VERSION, "a.xml")) == plain
    assert fingerings(annotated(read_document(FIRST_VERSION, "a.xml"), [mark(0, "1"), mark(1, "3")])) == [["1"], ["3"]]


def test_marks_go_into_notations_that_are_shown() -> None:
    """MusicXML 4.0, notations: print-object "no" hides all of its content."""
    for hidden in ('<notations print-object="no"><tied type="start"/></notations>', "<notations print-object = 'no'/>"):
        for seen in ("", "<notations><fermata/></notations>"):
            plain = score(note("C3", 16, after=hidden + seen))
            result = annotated(read_document(plain, "a.xml"), [mark(0)])
            shown = [each for each in etree.fromstring(result).iter("notations") if each.get("print-object") != "no"]
            assert [each.findtext("technical/fingering") for each in shown] == ["2♯"]
            assert cleared(read_document(result, "a.xml")) == plain


def test_our_mark_stands_on_the_other_side_of_one_below() -> None:
    below = "<notations><technical><fingering placement='below'>3</fingering></technical></notations>"
    result = etree.fromstring(annotated(read_document(score(note("C3", 16, after=below)), "a.xml"), [mark(0)]))
    assert [each.get("placement") for each in result.iter("fingering")] == ["below", "above"]


@pytest.mark.parametrize("header", [
    "", "<identification/>", "<identification><miscellaneous /></identification>",
    "<identification><creator>A</creator></identification>",
    "<identification><miscellaneous><miscellaneous-field name='a'>b</miscellaneous-field></miscellaneous>"
    "</identification>"])
def test_the_record_leaves_a_header_as_it_was(header: str, schema: etree.XMLSchema) -> None:
    plain = OWN.replace(b"<part-list>", header.encode() + b"<part-list>")
    result = annotated(read_document(plain, "a.xml"), [mark(0)])
    assert schema.validate(etree.fromstring(result)), schema.error_log
    field = "identification/miscellaneous/miscellaneous-field[@name='lowbrass']"
    assert etree.fromstring(result).find(field) is not None
    assert cleared(read_document(result, "a.xml")) == plain


def test_lyrics_take_a_row_of_their_own_and_go_again(schema: etree.XMLSchema) -> None:
    sung = '<lyric number="1"><syllabic>single</syllabic><text>la</text></lyric>'
    plain = score(note("C3", 4, after=sung) + chord("C3", "E3", ticks=4) + note("F3", 8, after="<play/>"))
    wanted = [mark(0, "6"), mark(1, "6"), mark(2, "2", line=2), mark(3, "T1")]
    result = annotated(read_document(plain, "a.xml"), wanted, "lyric")
    assert schema.validate(etree.fromstring(result)), schema.error_log
    rows = [[(each.get("number"), each.findtext("text")) for each in element.iter("lyric")]
            for element in etree.fromstring(result).iter("note")]
    assert rows == [[("1", "la"), ("2", "6")], [("2", "6"), ("3", "2")], [], [("2", "T1")]]
    assert cleared(read_document(result, "a.xml")) == plain
    assert cleared(read_document(without_instructions(result), "a.xml")) == without_instructions(plain)
    nameless = etree.fromstring(without_instructions(result))
    for each in nameless.iter("lyric"):
        each.attrib.pop("name", "")
    left = etree.fromstring(cleared(read_document(etree.tostring(nameless), "a.xml")))
    assert [each.findtext("text") for each in left.iter("lyric")] == ["la"]
    assert annotated(read_document(result, "a.xml"), wanted) == annotated(read_document(plain, "a.xml"), wanted)

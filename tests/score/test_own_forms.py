"""Scores in .mscz, .mscx and MEI: note for note what their twins in MusicXML hold, and marked in their own form.

The twins: our own sample scores, imported and saved by other programs. ``tests/score/forms/*-2.mscz`` by version
2.3.2 and ``*-3.mscz`` by version 3.2.3 of the form's own program (Debian), ``*-4.mscz`` by its library (npm, 1.2.1).
MEI is written by verovio when the test runs. Version 1 has no program left: its example is written by hand after the
files of version 1.14 in the source of version 3.2.3.
"""

import contextlib
import copy
import io
import random
import zipfile
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.marking.annotate import annotated
from analyzer.marking.source_file import parts_left_out
from analyzer.marking.which import marks
from analyzer.problem import Unreadable
from analyzer.report.map.file import cleared_file, map_file
from analyzer.score.document import Document, open_document, read_score
from analyzer.score.own_marks import is_ours
from analyzer.score.parts import find_parts
from analyzer.score.reader import read_part

SAMPLES = Path(__file__).parents[2] / "sample_scores"
FORMS = Path(__file__).parent / "forms"
ZIPPED = sorted(path for path in FORMS.glob("*.mscz") if "-parts-" not in path.name)


def twin_of(path: Path) -> Path:
    return SAMPLES / f"{path.stem.rpartition('-')[0]}.musicxml"


def timeline(document: Document) -> list[tuple[str, Any]]:
    """What is printed in every part, in an order that no file decides."""
    found = []
    for info in find_parts(document)[0]:
        part, _ = read_part(document, info.id)
        notes = Counter((note.measure, note.onset, note.duration, note.written.name, note.sounding.name, note.grace,
                         note.tie_start, note.tie_stop, note.clef, note.staccato, note.tenuto, note.fermata)
                        for note in part.notes)
        found.append((info.family, (notes, [(one.number, one.onset, one.duration) for one in part.measures],
                                    part.jumps, [(tempo.onset, round(tempo.bpm)) for tempo in part.tempi])))
    return found


def slurred(document: Document) -> int:
    return sum(note.slur_after for info in find_parts(document)[0] for note in read_part(document, info.id)[0].notes)


@pytest.mark.parametrize("path", ZIPPED, ids=lambda path: path.name)
def test_a_zipped_score_is_note_for_note_its_twin(path: Path) -> None:
    ours, twin = open_document(path), open_document(twin_of(path))
    assert [one.name for one in find_parts(ours)[0]] == [one.name for one in find_parts(twin)[0]]
    for (family, mine), (expected, theirs) in zip(timeline(ours), timeline(twin), strict=True):
        assert mine == theirs
        assert family == expected or path.stem.startswith("harbour")     # its groups have no place in that form


@pytest.fixture(scope="module")
def mei_of() -> Any:
    verovio = pytest.importorskip("verovio", reason="needs verovio (extra pages)")
    verovio.enableLog(verovio.LOG_OFF)

    def made(path: Path) -> bytes:
        toolkit = verovio.toolkit()
        toolkit.setInputFrom("musicxml")
        assert toolkit.loadData(path.read_text(encoding="utf-8"))
        return str(toolkit.getMEI({"scoreBased": True, "pageNo": 0})).encode()

    return made


@pytest.mark.parametrize("name", ["attachment-etude", "brass-band-hymn", "deep-water-bass-trombone",
                                  "evening-song-euphonium", "harbour-march-trio"])
def test_mei_is_note_for_note_its_twin(name: str, mei_of: Any) -> None:
    path = SAMPLES / f"{name}.musicxml"
    ours, twin = read_score(mei_of(path), f"{name}.mei"), open_document(path)
    parts, expected = find_parts(ours)[0], find_parts(twin)[0]
    assert [(one.full_name, one.family) for one in parts] == [(one.full_name, one.family) for one in expected]
    for (_, mine), (_, theirs) in zip(timeline(ours), timeline(twin), strict=True):
        assert mine[0] == theirs[0]
        assert mine[2] == theirs[2]


def _marked(document: Document, ending: str) -> tuple[bytes, int]:
    analysis = analyse(document, Request())
    labels = sum(1 for mark in {(mark.part_id, mark.ref, mark.text) for mark in marks(analysis.lines)})
    return map_file(analysis, Path(f"out{ending}")), labels


def _ours(document: Document) -> Counter[tuple[str, str]]:
    return Counter((part_id, " ".join((one.text or "").split())) for part_id in document.part_ids
                   for note in document.notes(part_id) for one in note.iterfind("notations/technical/fingering")
                   if is_ours(one))


@pytest.mark.parametrize("path", ZIPPED, ids=lambda path: path.name)
def test_marks_go_in_and_out_of_a_zipped_score_by_the_byte(path: Path) -> None:
    before = open_document(path)
    data, labels = _marked(before, ".mscz")
    after = read_score(data, path.name)
    assert sum(_ours(after).values()) == labels > 40
    twin = annotated(before, marks(analyse(before, Request()).lines))
    assert _ours(after) == _ours(read_score(twin, "twin.musicxml")), "the same marks as in MusicXML"
    assert timeline(after) == timeline(before)
    assert _members(cleared_file(after, Path("x.mscz"))) == _members(path.read_bytes())
    assert _marked(after, ".mscz")[0] == data, "mapping twice is mapping once"


def _members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_only_marks_are_new_in_the_tree(mei_of: Any) -> None:
    path = FORMS / "brass-band-hymn-3.mscz"
    document = open_document(path)
    data, labels = _marked(document, ".mscz")
    old, new = (_members(one) for one in (path.read_bytes(), data))
    assert {name for name in old if old[name] != new[name]} == {"brass-band-hymn.mscx"}
    tree = etree.fromstring(new["brass-band-hymn.mscx"])
    ours = [one for one in tree.iter("Fingering") if one.find("text") is not None and len(one) == 2]
    assert len(ours) == labels
    for one in [*ours, *tree.iterfind(".//metaTag[@name='lowbrass']")]:
        parent = one.getparent()
        assert parent is not None
        parent.remove(one)                # lxml takes the blanks behind it along, as they are its tail
    assert etree.tostring(tree, method="c14n") == etree.tostring(etree.fromstring(old["brass-band-hymn.mscx"]),
                                                                 method="c14n")
    mei = mei_of(SAMPLES / "brass-band-hymn.musicxml")
    read = read_score(mei, "a.mei")
    marked, count = _marked(read, ".mei")
    assert cleared_file(read_score(marked, "a.mei"), Path("a.mei")) == mei
    assert sum(_ours(read_score(marked, "a.mei")).values()) == count == marked.count(b"<fing ")
    verovio = pytest.importorskip("verovio")
    toolkit = verovio.toolkit()
    assert toolkit.loadData(marked.decode())
    drawn = sum(toolkit.renderToSVG(page + 1).count('class="fing') for page in range(toolkit.getPageCount()))
    assert drawn == count, "another program draws every mark"


def test_marks_are_known_after_another_program_saved_the_score() -> None:
    document = open_document(FORMS / "evening-song-euphonium-3.mscz")
    data, labels = _marked(document, ".mscz")
    [xml] = [body for name, body in _members(data).items() if name.endswith(".mscx")]
    saved = read_score(xml.replace(b"<!--lowbrass-->", b"\n                "), "saved.mscx")     # comments go
    assert sum(_ours(saved).values()) == labels
    cleared = cleared_file(saved, Path("saved.mscx"))
    assert b"Fingering" not in cleared
    assert b"lowbrass" not in cleared.replace(b"lowbrass project", b"")


def test_a_teachers_fingering_stays() -> None:
    [xml] = [body for name, body in _members((FORMS / "evening-song-euphonium-3.mscz").read_bytes()).items()
             if name.endswith(".mscx")]
    own = xml.replace(b"<pitch>", b"<Fingering><text>1</text></Fingering><pitch>", 1)
    document = read_score(own, "own.mscx")
    data, labels = _marked(document, ".mscx")
    after = read_score(data, "own.mscx")
    assert sum(_ours(after).values()) == labels
    assert cleared_file(after, Path("own.mscx")) == own
    assert [note.given for note in read_part(after, "P1")[0].notes if note.given] == ["1"]


def test_one_form_is_never_written_as_another() -> None:
    analysis = analyse(open_document(SAMPLES / "attachment-etude.musicxml"), Request())
    with pytest.raises(Unreadable, match="cannot be written in this form"):
        map_file(analysis, Path("a.mscz"))


OLD = """<?xml version="1.0" encoding="UTF-8"?>
<museScore version="1.14"><Division>480</Division><Style><concertPitch>0</concertPitch></Style>
<Part><Staff><type>0</type></Staff><name><html-data>Euphonium</html-data></name><Instrument>
<transposeDiatonic>-8</transposeDiatonic><transposeChromatic>-14</transposeChromatic><trackName>Euphonium</trackName>
<Channel><program value="58"/></Channel></Instrument></Part>
<Staff id="1"><Measure number="1"><Clef><subtype>0</subtype></Clef><KeySig><accidental>2</accidental></KeySig>
<TimeSig><den>4</den><nom1>3</nom1></TimeSig>
<Tuplet id="1"><normalNotes>2</normalNotes><actualNotes>3</actualNotes><baseNote>eighth</baseNote></Tuplet>
<Chord><Tuplet>1</Tuplet><durationType>eighth</durationType><Note><pitch>72</pitch><tpc>14</tpc></Note></Chord>
<Chord><Tuplet>1</Tuplet><durationType>quarter</durationType><Note><Tie/><pitch>78</pitch><tpc>20</tpc></Note></Chord>
<Chord><durationType>half</durationType><Note><pitch>78</pitch><tpc>20</tpc></Note></Chord>
<tick>0</tick><Rest><track>1</track><durationType>measure</durationType></Rest></Measure>
<Measure number="2"><endRepeat>2</endRepeat><Chord><acciaccatura/><durationType>eighth</durationType>
<Note><pitch>70</pitch><tpc>12</tpc></Note></Chord><Chord><durationType>half</durationType><dots>1</dots>
<Note><pitch>72</pitch><tpc>14</tpc></Note></Chord></Measure></Staff></museScore>
"""


OLD_LISTS = OLD.replace("<Part>", """<siglist><sig tick="0"><nom>3</nom><denom>4</denom></sig></siglist>
<tempolist fix="2"><tempo tick="0">1.5</tempo></tempolist><Part>""").replace("<type>0</type>", """<type>0</type>
<cleflist><clef tick="0" idx="4"/><clef tick="1440" idx="12"/></cleflist>
<keylist><key tick="0" idx="-2"/></keylist>""").replace(
    '<Staff id="1">', """<Volta><tick>1440</tick><tick2>2880</tick2><endings>1</endings></Volta><Ottava><tick>0</tick>
<tick2>960</tick2></Ottava><Staff id="1">""")


def test_version_1_is_read() -> None:
    document = read_score(OLD.encode(), "old.mscx")
    part, _ = read_part(document, "P1")
    assert [(str(note.onset), str(note.duration), note.written.name, note.sounding.name, note.grace, note.tie_start,
             note.tie_stop) for note in part.notes] == [
        ("0", "1/3", "C5", "Bb3", False, False, False), ("1/3", "2/3", "F#5", "E4", False, True, False),
        ("1", "2", "F#5", "E4", False, False, True), ("3", "0", "Bb4", "Ab3", True, False, False),
        ("3", "3", "C5", "Bb3", False, False, False)]
    assert find_parts(document)[0][0].family == "euphonium"
    assert [(jump.from_measure, jump.to_measure) for jump in part.jumps] == [(1, 0)]


def _zip(*members: tuple[str, str | bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in members:
            archive.writestr(name, body)
    return out.getvalue()


BOMB = "<museScore version='3.01'><Score>" + " " * (40 * 2**20)
MEI_HEAD = '<mei xmlns="http://www.music-encoding.org/ns/mei">'


@pytest.mark.parametrize(("name", "data", "code"), [
    ("bomb.mscz", _zip(("a.mscx", BOMB)), "refused-archive"),
    ("up.mscz", _zip(("../a.mscx", OLD)), "refused-archive"),
    ("cut.mscz", (FORMS / "brass-band-hymn-3.mscz").read_bytes()[:9000], "damaged-archive"),
    ("points.mscz", _zip(("META-INF/container.xml", "<container><rootfiles><rootfile full-path='no.mscx'/></rootfiles>"
                          "</container>"), ("a.mscx", OLD)), "wrong-container"),
    ("cut.mscx", OLD[:900].encode(), "cut-off"),
    ("entity.mscx", OLD.replace("<museScore", "<!DOCTYPE x [<!ENTITY a 'b'>]><museScore", 1).encode(), "refused-xml"),
    ("file.mscx", OLD.replace("<museScore", "<!DOCTYPE x [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><museScore", 1)
     .replace("Euphonium", "&a;", 1).encode(), "refused-xml"),
    ("empty.mscz", _zip(("a.mscx", "")), "empty-file"),
    ("words.mscz", _zip(("META-INF/container.xml", "no XML"), ("a.mscx", OLD)), "wrong-container"),
    ("none.mscz", _zip(("a.mscx.txt", OLD)), "no-container"),
    ("part.mscz", _zip(("a.mscx", OLD), ("Excerpts/1/1.mscx", BOMB)), "refused-archive"),
    ("future.mscx", OLD.replace("1.14", "9.00").encode(), "form-version"),
    ("ancient.mscx", OLD.replace("1.14", "0.9").encode(), "form-version"),
    ("untold.mscx", OLD.replace(' version="1.14"', "").encode(), "form-version"),
    ("empty.mscx", b"<museScore version='3.01'><Score/></museScore>", "no-music"),
    ("other.mscz", _zip(("a.mscx", "<score/>")), "not-musicxml"),
    ("cut.mei", (MEI_HEAD + "<music><body><mdiv><score>").encode(), "cut-off"),
    ("empty.mei", (MEI_HEAD + "<music/></mei>").encode(), "no-music"),
    ("entity.mei", ("<!DOCTYPE mei [<!ENTITY a 'b'>]>" + MEI_HEAD + "&a;</mei>").encode(), "refused-xml"),
])
def test_hostile_and_broken_files_get_one_line(name: str, data: bytes, code: str) -> None:
    with pytest.raises(Unreadable) as caught:
        read_score(data, name)
    assert caught.value.problem.code == code
    assert "\n" not in caught.value.problem.line()


def test_a_damaged_part_inside_is_one_line_and_nothing_is_written() -> None:
    data = bytearray(WITH_PARTS.read_bytes())
    with zipfile.ZipFile(WITH_PARTS) as archive:
        info = archive.getinfo("Excerpts/Bass Trombone/Bass Trombone.mscx")
    for place in range(info.header_offset + 200, info.header_offset + 240):
        data[place] ^= 0xFF
    document = read_score(bytes(data), "damaged.mscz")          # the score itself is whole
    with pytest.raises(Unreadable) as caught:
        map_file(analyse(document, Request()), Path("out.mscz"))
    assert caught.value.problem.code == "damaged-archive"
    assert caught.value.problem.where == "damaged.mscz"


@pytest.mark.parametrize("seed", range(48))
def test_damaged_scores_are_read_or_refused(seed: int) -> None:
    """Elements gone, doubled, renamed, with other texts: a document or one line, never a trace of our insides."""
    chance = random.Random(seed)
    if seed >= 40:
        root = etree.fromstring(OLD_LISTS.encode())
    elif seed % 4:
        path = ZIPPED[seed % len(ZIPPED)]
        [data] = [body for name, body in _members(path.read_bytes()).items() if name.endswith(".mscx")]
        root = etree.fromstring(data.replace(b"1 & 2", b"1 and 2"))
    else:
        root = etree.fromstring(MEI)
    elements = list(root.iter(etree.Element))
    for _ in range(chance.choice((3, 20, 100))):
        one, kind = chance.choice(elements), chance.random()
        parent = one.getparent()
        if kind < 0.4 and not len(one):
            one.text = chance.choice(_STRANGE)
        elif kind < 0.6 and one.attrib:
            one.set(chance.choice(list(one.attrib)), chance.choice(_STRANGE))
        elif kind < 0.8 and parent is not None:
            parent.remove(one)
        elif kind < 0.9 and parent is not None:
            parent.append(copy.deepcopy(one))
        else:
            one.tag = chance.choice(elements).tag
    with contextlib.suppress(Unreadable):
        document = read_score(etree.tostring(root), "damaged.mscx" if seed >= 40 or seed % 4 else "damaged.mei")
        for info in find_parts(document)[0]:
            read_part(document, info.id)


_STRANGE = ("", "0", "-1", "-99", "999999999", "1/0", "-5/3", "abc", "1e9", "\u0660", "9" * 30, "NaN", "16")


MEI = MEI_HEAD + """<meiHead><fileDesc><titleStmt><title>Low</title></titleStmt></fileDesc></meiHead>
<music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4" keysig="2f"><staffGrp symbol="bracket" label="Trombones">
<staffDef n="1" label="1" lines="5" clef.shape="F" clef.line="4"/>
<staffDef n="2" lines="5" clef.shape="F" clef.line="4"><label>Bass</label></staffDef></staffGrp></scoreDef>
<section><measure n="1" right="rptend">
<staff n="1"><layer n="1"><beam><note xml:id="a" pname="b" oct="2" dur="8"/>
<note pname="e" oct="3" dur="8" accid="n"/></beam><note pname="e" oct="3" dur="4"/>
<tuplet num="3" numbase="2"><note pname="c" oct="3" dur="4" tie="i"/><note pname="c" oct="3" dur="4" tie="t"/>
<rest dur="4"/></tuplet></layer></staff>
<staff n="2"><layer n="1"><chord dur="2" dots="1"><note pname="b" oct="1"/><note pname="f" oct="2"/></chord>
<app><lem><note pname="d" oct="2" dur="4"/></lem><rdg><note pname="a" oct="2" dur="4"/></rdg></app></layer></staff>
<tempo tstamp="1" staff="1" mm="72" mm.unit="4">Slow</tempo></measure>
<measure n="2"><staff n="1"><layer n="1"><mRest/></layer></staff>
<staff n="2"><layer n="1"><multiRest num="3"/></layer></staff></measure>
</section></score></mdiv></body></music></mei>
"""


def test_mei_without_gestures_follows_key_and_accidentals() -> None:
    """MEI Guidelines 5, shared: @accid is printed; without @accid.ges the key signature and the measure tell."""
    document = read_score(MEI.encode(), "low.mei")
    parts = find_parts(document)[0]
    assert [(one.full_name, one.family) for one in parts] == [("Trombones 1", "trombone"), ("Bass", "bass trombone")]
    first, second = (read_part(document, part_id)[0] for part_id in ("P1", "P2"))
    assert [(note.written.name, str(note.onset), str(note.duration), note.tie_stop) for note in first.notes] == [
        ("Bb2", "0", "1/2", False), ("E3", "1/2", "1/2", False), ("E3", "1", "1", False), ("C3", "2", "2/3", False),
        ("C3", "8/3", "2/3", True)]
    assert [note.written.name for note in second.notes] == ["Bb1", "F2", "D2"]
    assert [one.number for one in first.measures] == ["1", "2", "3", "4"]
    assert [(tempo.bpm, tempo.word) for tempo in first.tempi] == [(72.0, "")]
    assert [(jump.from_measure, jump.to_measure) for jump in first.jumps] == [(0, 0)]


def test_an_mei_note_on_the_other_staff_is_read_in_its_clef() -> None:
    """MEI Guidelines 5, att.staffIdent: @staff of a note names the staff on which it appears."""
    hands = MEI.replace('symbol="bracket" label="Trombones"', 'symbol="brace" label="Piano"').replace(
        ' label="1" lines="5" clef.shape="F" clef.line="4"', ' lines="5" clef.shape="G" clef.line="2"').replace(
        "<label>Bass</label>", "").replace('pname="e" oct="3" dur="4"', 'pname="e" oct="3" dur="4" staff="2"')
    part, _ = read_part(read_score(hands.encode(), "hands.mei"), "P1")
    assert [str(one.clef) for one in part.notes if one.written.name.startswith("E")] == ["treble", "bass"]


def test_a_whole_rest_alone_fills_a_shorter_measure() -> None:
    """As verovio writes MusicXML's rests of a measure of 2/4 whose type is told as whole."""
    short = MEI.replace('meter.count="4"', 'meter.count="2"').replace("<mRest/>", '<rest dur="1"/>').replace(
        '<multiRest num="3"/>', '<note pname="d" oct="2" dur="2"/>')
    part, _ = read_part(read_score(short.encode(), "short.mei"), "P2")
    assert [str(one.duration) for one in part.measures][1:] == ["2"]


def test_notes_without_ids_get_one_with_the_mark_and_lose_it_again() -> None:
    document = read_score(MEI.encode(), "low.mei")
    data, count = _marked(document, ".mei")
    assert count == data.count(b"<fing ") > 3
    assert data.count(b'xml:id="lowbrass-') > 3
    again = read_score(data, "low.mei")
    assert sum(_ours(again).values()) == count
    assert cleared_file(again, Path("low.mei")) == MEI.encode()


WITH_PARTS = FORMS / "brass-band-hymn-parts-4.mscz"        # styles and picture taken out, to be small


def _nested() -> bytes:
    """The hymn of version 3 with a part for every instrument inside, as versions 2 and 3 keep them."""
    [xml] = [body for name, body in _members((FORMS / "brass-band-hymn-3.mscz").read_bytes()).items()
             if name.endswith(".mscx")]
    [score] = etree.fromstring(xml).iterchildren("Score")
    inside = []
    for k, part in enumerate(score.findall("Part")):
        inner = copy.deepcopy(score)
        for number, (other, staff) in enumerate(zip(inner.findall("Part"), inner.findall("Staff"), strict=True)):
            if number != k:
                inner.remove(other)
                inner.remove(staff)
        etree.SubElement(inner, "name").text = part.findtext("trackName")
        inside.append(etree.tostring(inner))
    return xml.replace(b"</Score>", b"".join(inside) + b"</Score>", 1)


def _fingerings(score: etree._Element) -> list[str]:
    """The labels in the order of the notes, by measure and chord of the first staff."""
    staff = score.find("Staff")
    return [] if staff is None else [one.findtext("text") or "" for one in staff.iter("Fingering")]


def test_who_opens_a_part_inside_sees_the_marks() -> None:
    document = open_document(WITH_PARTS)
    data, labels = _marked(document, ".mscz")
    after = _members(data)
    main = etree.fromstring(after["score.mscx"])
    expected = {part.findtext("trackName"): [one.findtext("text") for one in staff.iter("Fingering")]
                for part, staff in zip(main.findall("Score/Part"), main.findall("Score/Staff"), strict=True)}
    found = {name.rpartition("/")[2].removesuffix(".mscx"): _fingerings(etree.fromstring(body).find("Score"))
             for name, body in after.items() if name.startswith("Excerpts/")}
    assert sum(map(len, found.values())) == labels > 40
    assert found == expected
    assert _members(cleared_file(read_score(data, "a.mscz"), Path("a.mscz"))) == _members(WITH_PARTS.read_bytes())
    assert _marked(read_score(data, "a.mscz"), ".mscz")[0] == data


def test_parts_inside_the_score_are_marked_too_and_cleared_after_another_save() -> None:
    before = _nested()
    document = read_score(before, "nested.mscx")
    data, labels = _marked(document, ".mscx")
    root = etree.fromstring(data)
    inside = [_fingerings(one) for one in root.findall("Score/Score")]
    assert [label.findtext("text") for staff in root.findall("Score/Staff") for label in staff.iter("Fingering")] == [
        label for labels in inside for label in labels]
    assert sum(map(len, inside)) == labels
    saved = data.replace(b"<!--lowbrass-->", b"")
    assert b"Fingering" not in cleared_file(read_score(saved, "saved.mscx"), Path("saved.mscx"))
    assert cleared_file(read_score(data, "nested.mscx"), Path("nested.mscx")) == before


def test_a_part_that_was_changed_by_hand_is_left_alone_and_named() -> None:
    before = _nested()
    root = etree.fromstring(before)
    document = read_score(before, "nested.mscx")
    assert parts_left_out(document, document.part_ids) == ()
    changed = root.findall("Score/Score")[3]             # the euphonium
    for pitch in changed.iter("pitch"):
        pitch.text = str(int(pitch.text or 0) + 1)
    other = read_score(etree.tostring(root), "nested.mscx")
    [name] = parts_left_out(other, other.part_ids)
    assert name == find_parts(other)[0][3].name
    marked = etree.fromstring(_marked(other, ".mscx")[0])
    assert not _fingerings(marked.findall("Score/Score")[3])
    assert _fingerings(marked.findall("Score/Score")[4])


def test_a_score_may_have_a_hundred_parts_inside() -> None:
    """From version 4 on each has two files of its own in the archive."""
    members = _members(WITH_PARTS.read_bytes())
    many = _zip(*members.items(), *((f"Excerpts/{k}/{k}{ending}", "<x/>") for k in range(100)
                                    for ending in (".mss", ".txt")))
    assert read_score(many, "many.mscz").part_ids == open_document(WITH_PARTS).part_ids

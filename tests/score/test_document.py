"""Files as they come: whole, damaged, hostile, or something else."""

import io
import pickle
import time
import zipfile
from pathlib import Path

import pytest

from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.mark import Mark
from analyzer.problem import Unreadable
from analyzer.score.document import open_document, read_document
from analyzer.score.parts import find_parts
from tests.score.build import note, score

SCORE = score(note("Bb2", 16))
CONTAINER = ('<?xml version="1.0"?><container><rootfiles><rootfile full-path="{}"/></rootfiles></container>')


def archive(members: dict[str, bytes], container: str | None = "score.musicxml", **kwargs: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", kwargs.get("compression", zipfile.ZIP_DEFLATED)) as file:
        if container is not None:
            file.writestr("META-INF/container.xml", CONTAINER.format(container))
        for name, data in members.items():
            file.writestr(name, data)
    return out.getvalue()


def problem(data: bytes) -> str:
    with pytest.raises(Unreadable) as caught:
        read_document(data, "song.musicxml")
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith("song.musicxml")
    return caught.value.problem.code


@pytest.mark.parametrize(("data", "code"), [
    (b"", "empty-file"),
    (b" \n\n", "empty-file"),
    (b"\x89PNG\r\n\x1a\n....", "not-musicxml"),
    (b"%PDF-1.7", "not-musicxml"),
    (b"MThd\0\0\0\6", "not-musicxml"),
    (b"<!DOCTYPE html><html><body>404</body></html>", "not-musicxml"),
    (b"<html><head/></html>", "not-musicxml"),
    (b"Dear band", "not-musicxml"),
    (b"<opus/>", "not-musicxml"),
    (b"<mei xmlns='http://www.music-encoding.org/ns/mei'/>", "not-musicxml"),
    (b"<score-partwise xmlns='urn:other'><part/></score-partwise>", "not-musicxml"),
    (b"<score-partwise><part-list/></score-partwise>", "no-music"),
    (SCORE[:len(SCORE) // 2], "cut-off"),
    (SCORE.replace(b"</pitch>", b"</pich>"), "not-xml"),
    (SCORE.replace(b"Trombone", b"Trom&#27;bone"), "not-xml"),
    (b"PK\3\4 not a zip", "damaged-archive"),
], ids=str)
def test_what_is_no_score_is_said_in_one_line(data: bytes, code: str) -> None:
    assert problem(data) == code


def test_every_cut_of_a_score_is_one_clear_line() -> None:
    for length in range(1, len(SCORE) - 1, 7):
        assert problem(SCORE[:length]) in {"cut-off", "not-xml", "not-musicxml"}


def test_cuts_of_an_archive() -> None:
    whole = archive({"score.musicxml": SCORE})
    for length in range(2, len(whole) - 1, 11):
        assert problem(whole[:length]) in {"damaged-archive", "not-musicxml"}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_encodings(encoding: str) -> None:
    text = SCORE.decode().replace("Trombone", "Trombón")
    declared = {"utf-8-sig": "UTF-8"}.get(encoding, encoding.upper())
    data = text.replace("UTF-8", declared).encode(encoding)
    document = read_document(data, "a.xml")
    assert document.root.findtext("part-list/score-part/part-name") == "Trombón"
    assert document.xml == data


def test_compressed_score_and_title() -> None:
    titled = SCORE.replace(b"<part-list>", b"<work><work-title>March\n One</work-title></work><part-list>", 1)
    document = read_document(archive({"score.musicxml": titled, "cover.png": b"x"}), "a.mxl")
    assert document.member == "score.musicxml"
    assert document.title == "March One"
    assert document.part_ids == ("P1",)
    assert len(list(document.notes("P1"))) == 1


def test_timewise_gives_the_same_notes() -> None:
    timewise = (b'<score-timewise><part-list><score-part id="P1"><part-name>T</part-name></score-part></part-list>'
                b'<measure number="7"><part id="P1"><note><rest/><duration>1</duration></note></part></measure>'
                b'<measure number="8"><part id="P1"><note><rest/><duration>1</duration></note></part></measure>'
                b"</score-timewise>")
    document = read_document(timewise, "a.xml")
    music = document.part_measures("P1")
    assert [document.measure_element(one).get("number") for one in music] == ["7", "8"]
    assert len(list(document.notes("P1"))) == 2


@pytest.mark.parametrize(("members", "container", "code"), [
    ({"a.txt": b"x"}, None, "no-container"),
    ({"a.xml": SCORE, "b.xml": SCORE}, None, "no-container"),
    ({"a.xml": SCORE}, "gone.xml", "wrong-container"),
    ({"a.xml": b""}, "a.xml", "empty-file"),
    ({"a.xml": b"\x89PNG"}, "a.xml", "not-musicxml"),
    ({"../a.xml": SCORE}, "../a.xml", "refused-archive"),
    ({"/a.xml": SCORE}, "/a.xml", "refused-archive"),
    ({"c:a.xml": SCORE}, "c:a.xml", "refused-archive"),
    ({f"{index}.xml": b"" for index in range(70)}, "1.xml", "refused-archive"),
    ({"a.xml": b" " * (3 * 2**20)}, "a.xml", "refused-archive"),
], ids=str)
def test_archives_that_do_not_say_or_say_too_much(members: dict[str, bytes], container: str | None, code: str) -> None:
    assert problem(archive(members, container)) == code


@pytest.mark.parametrize(("data", "words"), [
    (SCORE.replace(b"Trombone", b"Trom&#27;bone"), "holds a control character"),
    (SCORE.replace(b"Trombone", b"x" * 10_000_001), "longer than ten million letters"),
    (SCORE.replace(b"</measure>", b"<a>" * 300 + b"</a>" * 300 + b"</measure>"), "nested deeper than any score's"),
    (SCORE[:SCORE.index(b"<clef>") + 3], "stops in the middle"),
    (SCORE.replace(b"</pitch>", b"</pich>"), "the XML is damaged (Opening and ending tag mismatch"),
])
def test_what_is_damaged_is_said_in_plain_words(data: bytes, words: str) -> None:
    with pytest.raises(Unreadable) as caught:
        read_document(data, "a.xml")
    assert words in caught.value.problem.what
    assert "column" not in caught.value.problem.what


def test_letters_in_another_encoding_than_the_file_names_are_read_and_that_is_said() -> None:
    # Western European text under a UTF-8 declaration, as older programs write it.
    data = SCORE.replace(b"Trombone", "Posaune für “Jürgen”".encode("cp1252"))
    document = read_document(data, "a.xml")
    assert document.root.findtext("part-list/score-part/part-name") == "Posaune für “Jürgen”"
    assert [one.code for one in document.problems] == ["wrong-encoding"]
    assert document.problems[0] in find_parts(document)[1]
    ref = next(index for index, one in enumerate(document.notes("P1")) if one.find("pitch") is not None)
    out = annotated(document, [Mark(part_id="P1", ref=ref, line=1, text="2♯")])
    again = read_document(out, "a.xml")
    assert again.root.findtext(".//fingering") == "2♯"
    assert cleared(again) == data
    unknown = read_document(SCORE.replace(b"UTF-8", b"X-NO-SUCH"), "a.xml")
    assert [one.code for one in unknown.problems] == ["wrong-encoding"]


@pytest.mark.parametrize(("name", "data"), [
    ("A.MUS", b"ENIGMA\0"), ("a.sib", b"\x0fS"), ("a.musx", archive({"score.dat": b"x"}, None)),
])
def test_the_own_file_of_a_notation_program_is_known_by_its_ending(name: str, data: bytes) -> None:
    with pytest.raises(Unreadable, match="export MusicXML") as caught:
        read_document(data, name)
    assert caught.value.problem.code == "not-musicxml"
    assert read_document(SCORE, name).part_ids == ("P1",), "what it holds comes before how it is called"


def test_blanks_and_marks_of_order_before_the_score_do_no_harm() -> None:
    for before in (b"\n\n  ", b"\xef\xbb\xbf" * 2):
        assert read_document(before + SCORE, "a.xml").part_ids == ("P1",)


def test_what_a_desktop_adds_to_an_archive_is_no_second_score() -> None:
    assert read_document(archive({"__MACOSX/._a.xml": b"x", "a.xml": SCORE}, None), "a.mxl").member == "a.xml"


def test_archive_without_container_and_one_score_is_read() -> None:
    assert read_document(archive({"only.xml": SCORE}, None), "a.mxl").member == "only.xml"


def test_packing_that_musicxml_does_not_use_and_encryption_are_refused() -> None:
    assert problem(archive({"score.musicxml": SCORE}, compression=zipfile.ZIP_BZIP2)) == "refused-archive"
    data = bytearray(archive({"score.musicxml": SCORE}))
    at = 0
    while (at := data.find(b"PK\1\2", at)) >= 0:      # set the encryption bit in every central header
        data[at + 8] |= 1
        at += 4
    assert problem(bytes(data)) == "refused-archive"


LAUGHS = (b'<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY a "ha">'
          + b"".join(b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(9))
          + b"]><score-partwise><part>&j;</part></score-partwise>")


@pytest.mark.parametrize("data", [
    LAUGHS,
    b'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "file:///etc/passwd">]><score-partwise><part>&x;</part>'
    b"</score-partwise>",
    b'<!DOCTYPE score-partwise [<!ENTITY x "y">]><score-partwise><part/></score-partwise>',
    b'<!DOCTYPE score-partwise SYSTEM "x.dtd"><score-partwise><part>&undeclared;</part></score-partwise>',
    b"<a>" * 400,
], ids=["laughs", "file", "declared", "undeclared", "deep"])
def test_hostile_xml_is_refused_at_once(data: bytes) -> None:
    begin = time.perf_counter()
    assert problem(data) in {"refused-xml", "not-xml", "cut-off"}
    assert time.perf_counter() - begin < 2


def test_usual_document_type_is_no_reason_to_refuse() -> None:
    typed = SCORE.replace(b"<score-partwise", b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 '
                          b'Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n<score-partwise', 1)
    assert read_document(typed.replace(b"Trombone", b"Bones &amp; &#9837;"), "a.xml").part_ids == ("P1",)


def test_too_large_a_file_is_not_even_read(tmp_path: Path) -> None:
    path = tmp_path / "big.xml"
    with path.open("wb") as file:
        file.truncate(40 * 2**20)
    with pytest.raises(Unreadable, match="40 MiB"):
        open_document(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match="no such file"):
        open_document(tmp_path / "none.xml")
    with pytest.raises(Unreadable, match="folder"):
        open_document(tmp_path)


def test_problem_crosses_processes() -> None:
    with pytest.raises(Unreadable) as caught:
        read_document(b"", "a.xml")
    assert pickle.loads(pickle.dumps(caught.value)).problem == caught.value.problem

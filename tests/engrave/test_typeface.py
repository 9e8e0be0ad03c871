"""Typefaces cut by hand against fontTools' reading of the whole files: characters, outlines, boxes and widths."""

import io
import logging

import pytest

from analyzer.engrave.fonts import _FACES, Face, _packed
from analyzer.engrave.typeface import Typeface, truetype, woff2

pytest.importorskip("verovio", reason="the engraver, which has the faces, is not installed")
pytest.importorskip("reportlab", reason="reportlab, which has a face, is not installed")
tt_lib = pytest.importorskip("fontTools.ttLib", reason="fontTools is the other reader")
CHARACTERS = "Étude in B♭ für Łukasz: 1234567890 (T2) fi × ½ \ue1d5\ue0a4\ue262 ﷺ"


def opened(data: bytes):
    return tt_lib.TTFont(io.BytesIO(data))


def drawn(font, glyph: str) -> list[object]:
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    glyphs = font.getGlyphSet()
    pen = DecomposingRecordingPen(glyphs)
    glyphs[glyph].draw(pen)
    return pen.value


def alike(whole, cut, codes: set[int]) -> None:
    theirs, ours = whole.getBestCmap(), cut.getBestCmap()
    assert set(ours) == codes
    assert cut["head"].unitsPerEm == whole["head"].unitsPerEm
    for code in codes:
        before, after = theirs[code], ours[code]
        assert drawn(cut, after) == drawn(whole, before), chr(code)
        assert cut["hmtx"][after] == whole["hmtx"][before], chr(code)
        one, other = whole["glyf"][before], cut["glyf"][after]
        if one.numberOfContours:
            assert [one.xMin, one.yMin, one.xMax, one.yMax] == [other.xMin, other.yMin, other.xMax, other.yMax]


@pytest.mark.parametrize("face", _FACES)
def test_a_face_cut_down_shows_what_the_whole_one_shows(face: Face, caplog: pytest.LogCaptureFixture) -> None:
    data = _packed(face)
    own, whole = Typeface(data), opened(data)
    names = whole.getBestCmap()
    assert dict(own.glyphs) == {code: whole.getGlyphID(name) for code, name in names.items()}
    tables = own.cut(CHARACTERS)
    wanted = {ord(one) for one in CHARACTERS} & set(names)
    assert wanted
    with caplog.at_level(logging.WARNING):
        for written in (truetype(tables), woff2(tables)):
            assert len(written) < len(data) / 3
            alike(whole, opened(written), wanted)
    assert caplog.messages == []


@pytest.mark.parametrize("face", ["regular", "music", "mark"])
def test_a_whole_face_is_unpacked_whole(face: Face) -> None:
    data = _packed(face)
    own = Typeface(data)
    alike(opened(data), opened(truetype(own.cut(map(chr, own.glyphs)))), set(own.glyphs))


def test_the_sums_of_a_file_are_right() -> None:
    data = truetype(Typeface(_packed("bold")).cut("T2"))
    font = opened(data)
    assert font["name"].getDebugName(6) == opened(_packed("bold"))["name"].getDebugName(6)
    checked = tt_lib.TTFont(io.BytesIO(data), checkChecksums=2)       # raises where one is wrong
    assert all(checked.reader[tag] is not None for tag in checked.reader.keys())  # noqa: SIM118  a reader, no dict


def test_nothing_of_it_is_a_face_without_glyphs() -> None:
    assert set(opened(woff2(Typeface(_packed("bold")).cut(""))).getGlyphOrder()) == {".notdef"}


@pytest.mark.parametrize("data", [b"wOFF" + bytes(60), b"OTTO" + bytes(60), b"wOF2OTTO" + bytes(60)])
def test_other_forms_are_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="TrueType"):
        Typeface(data)

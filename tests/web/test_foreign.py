"""What the page says of every kind of file and of scores in doubt: one clear sentence each, and what to do next."""

import io
import zipfile

import pytest

from tests.web.browsing import WAIT_MS, expect, faults, rested, settled
from tests.web.conftest import SAMPLES
from tests.web.test_plain import TERMINAL

_F = ("<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
      "<clef><sign>F</sign><line>4</line></clef></attributes>")
_G = _F.replace("<sign>F</sign><line>4</line>", "<sign>G</sign><line>2</line>")
_NOTE = ("<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note>")
_REST = '<note><rest measure="yes"/><duration>4</duration></note>'


def score(**parts: str) -> bytes:
    """A score of one measure a part, by the parts' names."""
    listed = "".join(f'<score-part id="{k}"><part-name>{k.replace("_", " ")}</part-name></score-part>' for k in parts)
    music = "".join(f'<part id="{k}">{f"<measure number={chr(34)}1{chr(34)}>{one}</measure>" if one else ""}</part>'
                    for k, one in parts.items())
    return f'<score-partwise version="4.0"><part-list>{listed}</part-list>{music}</score-partwise>'.encode()


def archive(*names: str) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as out:
        for name in names:
            out.writestr(name, (SAMPLES / "attachment-etude.musicxml").read_text(encoding="utf-8"))
    return held.getvalue()


# Beginnings of files as their own definitions have them: PDF (ISO 32000), PNG (ISO/IEC 15948), JPEG (ISO/IEC 10918-1),
# zip (APPNOTE), MIDI (Standard MIDI Files 1.0).
FOREIGN = {
    "empty.musicxml": (b"", "the file is empty"),
    "part.pdf": (b"%PDF-1.4\n%x", "this is a PDF document"),
    "scan.png": (b"\x89PNG\r\n\x1a\n" + b"x" * 99, "this is a PNG picture"),
    "photo.jpg": (b"\xff\xd8\xff\xe0" + b"x" * 99, "this is a JPEG picture"),
    "photos.zip": (archive("photo.txt"), "an archive without a score"),
    "scores.zip": (archive("one.musicxml", "two.musicxml"), "an archive of 2 scores. Unpack it"),
    "broken.mxl": (b"PK\x03\x04" + b"x" * 50, "the compressed score is damaged"),
    "half.musicxml": ((SAMPLES / "attachment-etude.musicxml").read_bytes()[:4000], "stops in the middle"),
    "hello.abc": (b"hello there", "the ABC file cannot be read"),
    "nothing.mid": (b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk\x00\x00\x00\x04\x00\xff\x2f\x00", "no notes"),
    "page.html": (b"<html><body>hello</body></html>", "this is a web page"),
    "data.json": (b"{}", "this is not MusicXML"),
    "damaged.mscz": (b"PK\x03\x04nothing", "the compressed score is damaged"),
    "nothing.mscx": (b"<museScore version='3.02'></museScore>", "the score has no parts"),
    "nothing.mei": (b"<mei xmlns='http://www.music-encoding.org/ns/mei'></mei>", "the MEI file holds no score"),
    "nobody.musicxml": (b'<score-partwise version="4.0"><part-list/></score-partwise>', "the score has no parts"),
}


@pytest.mark.parametrize("name", FOREIGN)
def test_each_kind_of_file_has_one_clear_sentence_and_a_next_step(client, name: str) -> None:
    data, said = FOREIGN[name]
    if name.endswith((".abc", ".mid")):
        pytest.importorskip("music21", reason="the extra build is not installed")
    reply = client.post("/api/open", content=data, headers={"X-File-Name": name})
    line = reply.json()["line"]
    assert reply.status_code == 400
    assert said in line
    assert line.startswith(name)
    # What it is, and what to try: two sentences, with no word of the inside of a file.
    assert line.endswith(".")
    assert line.rstrip(".").count(". ") >= 1
    assert not TERMINAL.search(line)
    assert "META-INF" not in line
    assert "Traceback" not in line


def put(page, name: str, data: bytes) -> None:
    page.set_input_files("#file", files={"name": name, "mimeType": "application/octet-stream", "buffer": data})


def test_no_low_brass_silent_parts_and_doubts_are_told_where_they_matter(tab) -> None:
    put(tab, "part.pdf", b"%PDF-1.4\n%x")
    expect(tab.locator("#error")).to_contain_text("PDF document", timeout=WAIT_MS)
    expect(tab.locator("#doors")).to_be_visible()
    # No low brass: no part is taken for it; one can be chosen all the same.
    put(tab, "choir.musicxml", score(Soprano=_G + _NOTE, Alto=_G + _NOTE))
    expect(tab.locator("#notice")).to_contain_text("no trombone, euphonium or baritone", timeout=WAIT_MS)
    expect(tab.locator("#error")).to_be_hidden()
    expect(tab.locator("#work")).to_be_hidden()
    assert faults(tab) == []
    tab.locator("#pick button").first.click()
    settled(tab)
    tab.locator("#home").click()
    # The trombone only rests: said, and the other parts are a click away.
    put(tab, "silent.musicxml", score(Trombone=_F + _REST, Euphonium=_F + _NOTE))
    expect(tab.locator("#notice")).to_contain_text("this part has no notes", timeout=WAIT_MS)
    expect(tab.locator("#work")).to_be_hidden()
    expect(tab.locator("#pick button")).to_have_text(["Euphonium"])
    assert faults(tab) == []
    tab.locator("#pick button").click()
    settled(tab)
    tab.locator("#home").click()
    # A treble clef that may be read in two ways: asked beside the verdict, changed by one click, kept for the file.
    put(tab, "doubt.musicxml", score(Euphonium_TC=_G + _NOTE))
    settled(tab)
    expect(tab.locator("#doubt")).to_be_visible()
    expect(tab.locator("#doubt")).to_be_in_viewport()
    before = "true" if tab.locator("#doubt-concert").get_attribute("aria-pressed") == "true" else "false"
    other = "#doubt-ninth" if before == "true" else "#doubt-concert"
    tab.locator(other).click()
    settled(tab)
    expect(tab.locator(other)).to_have_attribute("aria-pressed", "true", timeout=WAIT_MS)
    assert faults(tab) == []
    tab.wait_for_timeout(500)
    tab.locator("#home").click()
    tab.locator("#recent button").first.click()
    settled(tab)
    rested(tab)
    expect(tab.locator(other)).to_have_attribute("aria-pressed", "true")

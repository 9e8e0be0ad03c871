"""Our marks in a score of another form (.mscz, .mscx, MEI), by the byte, and out of it again.

In the .mscx form a mark is the form's own fingering, before the pitch of its note::

    <Fingering><!--lowbrass--><text>T2</text></Fingering>

The comment tells ours; an instruction, as in MusicXML, would end the reading of a text in some versions
(libmscore/xmlreader.cpp of 3.2.3: readXml returns at what it does not know). A program that saves the score drops the
comment and keeps ``<metaTag name="lowbrass">``, which holds the record (score/own_marks). Marks go into the score;
excerpts inside it stay as they are.

In MEI a mark is a control event at the end of its measure, ``<fing startid="#…" type="lowbrass">T2</fing>`` (MEI
Guidelines 5, "fing": a finger number or other fingering, as text); a note without an id gets one that begins with
``lowbrass-``.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from html import escape

from analyzer.marking.mark import Mark
from analyzer.marking.record import entries_of
from analyzer.marking.splice import visible_bytes
from analyzer.problem import unreadable
from analyzer.score.archive import with_member
from analyzer.score.document import Document
from analyzer.score.own_marks import NAME, is_ours, record_text
from analyzer.score.source import Source

_MARK = NAME.encode()
_NOTE = {"mscx": re.compile(rb"<Note[\s>]"), "mei": re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?note[\s>/]")}
_FINGERING = re.compile(rb"<Fingering\s*>.*?</Fingering\s*>\s*", re.DOTALL)
_PITCH = re.compile(rb"<pitch\s*>")
_META = re.compile(rb"<metaTag\s+name\s*=\s*[\"']" + _MARK + rb"[\"']\s*>[^<]*</metaTag\s*>\s*")
_FIRST_META = re.compile(rb"<metaTag\s")
_FING = re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?fing\s[^<>]*\btype\s*=\s*[\"']" + _MARK
                   + rb"[\"'][^<>]*>[^<]*</(?:[A-Za-z_][\w.-]*:)?fing\s*>\s*")
_OWN_ID = re.compile(rb"\sxml:id=\"" + _MARK + rb"-\d+\"")
_ID = re.compile(rb"\bxml:id\s*=\s*[\"']([^\"']+)[\"']")
_MEASURE_END = re.compile(rb"</((?:[A-Za-z_][\w.-]*:)?)measure\s*>")


def annotated_source(document: Document, marks: Sequence[Mark]) -> bytes:
    """Return the file that the document was read from, with the marks; all else as it was, byte for byte.

    Raises
    ------
    Unreadable
        If the document did not come from a form of its own, or its file cannot take the marks.
    """
    source = _source(document)
    wanted: dict[str, dict[int, list[str]]] = {}
    for mark in sorted(marks, key=lambda mark: mark.line):
        texts = wanted.setdefault(mark.part_id, {}).setdefault(mark.ref, [])
        if mark.written not in texts:
            texts.append(mark.written)
    at_notes: dict[int, list[str]] = {}
    for part_id, refs in wanted.items():
        origins = source.origins.get(part_id, ())
        for ref, texts in refs.items():
            if not 0 <= ref < len(origins) or origins[ref] < 0:
                raise ValueError(f"the score has no note {ref} in part '{part_id}'")
            at_notes[origins[ref]] = texts
    xml = _without(document, source)
    if at_notes:
        xml = _with_fings(xml, at_notes) if source.form == "mei" else _with_fingerings(xml, at_notes)
    if source.form == "mscx" and at_notes:
        xml = _with_meta(xml, record_text(entries_of(document, wanted), 0))
    return _packed(source, xml, document.name)


def cleared_source(document: Document) -> bytes:
    """Return the file that the document was read from, without our marks."""
    source = _source(document)
    return _packed(source, _without(document, source), document.name)


def _source(document: Document) -> Source:
    source = document.source
    if source is None:
        raise unreadable("other-form", where=document.name, what="this score did not come as .mscz, .mscx or MEI, and "
                         "marks go only into the form in which a score came", try_="Write a .musicxml file.")
    head = source.xml[:200].lower()
    if source.xml.startswith((b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")) or (
            b"encoding=" in head and b"utf-8" not in head and b"us-ascii" not in head):
        raise unreadable("encoding", where=document.name, what="the score is in an encoding that cannot hold the marks",
                         try_="Save the score as UTF-8, or write a .musicxml file.")
    return source


def _packed(source: Source, xml: bytes, name: str) -> bytes:
    if source.archive is None or source.member is None:
        return xml
    return source.archive if xml == source.xml else with_member(source.archive, source.member, xml, name)


def _spans(xml: bytes, visible: bytes, form: str, wanted: Mapping[int, object]) -> Iterator[tuple[int, int, int]]:
    """Yield ordinal, beginning and end of the notes wanted; the end is where the next begins."""
    starts = [match.start() for match in _NOTE[form].finditer(visible)]
    for ordinal in sorted(wanted):
        if ordinal >= len(starts):
            raise unreadable("odd-structure", where="the score", what="a note is not where it was read",
                             try_="Write a .musicxml file.")
        yield ordinal, starts[ordinal], starts[ordinal + 1] if ordinal + 1 < len(starts) else len(xml)


def _without(document: Document, source: Source) -> bytes:
    if source.form == "mei":
        xml = source.xml
        return _OWN_ID.sub(b"", _FING.sub(b"", xml)) if _MARK in xml else xml
    ours: dict[int, list[int]] = {}
    for part_id, origins in source.origins.items():
        for ref, note in enumerate(document.notes(part_id)):
            places = [k for k, element in enumerate(note.iterfind("notations/technical/fingering")) if is_ours(element)]
            if places and 0 <= ref < len(origins) and origins[ref] >= 0:
                ours[origins[ref]] = places
    xml = source.xml
    if ours:
        visible = visible_bytes(xml)
        pieces: list[bytes] = []
        at = 0
        for ordinal, start, stop in _spans(xml, visible, "mscx", ours):
            end = visible.find(b"</Note>", start, stop)
            found = list(_FINGERING.finditer(visible, start, end if end >= 0 else stop))
            for place in ours[ordinal]:
                if place < len(found):
                    pieces.append(xml[at:found[place].start()])
                    at = found[place].end()
        pieces.append(xml[at:])
        xml = b"".join(pieces)
    return _META.sub(b"", xml, count=1) if _MARK in xml else xml


def _with_fingerings(xml: bytes, wanted: Mapping[int, Sequence[str]]) -> bytes:
    visible = visible_bytes(xml)
    pieces: list[bytes] = []
    at = 0
    for ordinal, start, stop in _spans(xml, visible, "mscx", wanted):
        pitch = _PITCH.search(visible, start, stop)
        if pitch is None:
            raise unreadable("odd-structure", where="the score", what="a note has its pitch in an unusual place",
                             try_="Save the score again in its program, or write a .musicxml file.")
        blank = _blank_before(xml, pitch.start())
        pieces.append(xml[at:pitch.start()])
        pieces += [b"<Fingering><!--" + _MARK + b"--><text>" + escape(text, quote=False).encode()
                   + b"</text></Fingering>" + blank for text in wanted[ordinal]]
        at = pitch.start()
    pieces.append(xml[at:])
    return b"".join(pieces)


def _blank_before(xml: bytes, place: int) -> bytes:
    begin = place
    while begin and xml[begin - 1:begin].isspace():
        begin -= 1
    return xml[begin:place]


def _with_meta(xml: bytes, record: str) -> bytes:
    found = _FIRST_META.search(visible_bytes(xml))
    if found is None:
        return xml                     # version 1.14 and before may keep none: the comments tell our marks
    tag = b'<metaTag name="' + _MARK + b'">' + escape(record, quote=False).encode() + b"</metaTag>"
    return xml[:found.start()] + tag + _blank_before(xml, found.start()) + xml[found.start():]


def _with_fings(xml: bytes, wanted: Mapping[int, Sequence[str]]) -> bytes:
    visible = visible_bytes(xml)
    pieces: list[bytes] = []
    at = 0
    waiting: dict[int, list[bytes]] = {}
    edits: list[tuple[int, bytes]] = []
    for ordinal, start, stop in _spans(xml, visible, "mei", wanted):
        tag_end = visible.find(b">", start, stop)
        own = _ID.search(visible, start, tag_end)
        name = own[1] if own else _MARK + b"-%d" % ordinal
        if own is None:
            after = re.compile(rb"<[\w:.-]+").match(visible, start)
            edits.append((after.end() if after else start, b' xml:id="' + name + b'"'))
        measure = _MEASURE_END.search(visible, start)
        if measure is None:
            raise unreadable("odd-structure", where="the score", what="a note stands outside of a measure",
                             try_="Write a .musicxml file.")
        blank = _blank_before(xml, measure.start())
        for text in wanted[ordinal]:
            waiting.setdefault(measure.start(), []).append(
                b"<" + measure[1] + b'fing startid="#' + name + b'" place="below" type="'
                + _MARK + b'">' + escape(text, quote=False).encode() + b"</" + measure[1] + b"fing>"
                + blank)
    edits += [(place, b"".join(texts)) for place, texts in waiting.items()]
    for place, added in sorted(edits, key=lambda edit: edit[0]):
        pieces += (xml[at:place], added)
        at = place
    pieces.append(xml[at:])
    return b"".join(pieces)


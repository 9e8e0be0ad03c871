"""Our marks in a score of another form (.mscz, .mscx, MEI), by the byte, and out of it again.

In the .mscx form a mark is the form's own fingering, before the pitch of its note::

    <Fingering><!--lowbrass--><text>T2</text></Fingering>

The comment tells ours; an instruction, as in MusicXML, would end the reading of a text in some versions
(libmscore/xmlreader.cpp of 3.2.3: readXml returns at what it does not know). A program that saves the score drops the
comment and keeps ``<metaTag name="lowbrass">``, which holds the record (score/own_marks). Who opens a part inside the
file sees the marks too: they go to the same notes of every excerpt (score/mscx_excerpts), and out again.

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
from analyzer.score.archive import other_members, with_members
from analyzer.score.document import Document, source_tree
from analyzer.score.mscx_excerpts import Excerpt, excerpts
from analyzer.score.own_marks import NAME, is_ours, record_text
from analyzer.score.source import Source
from analyzer.score.vocabulary import one_line

_MARK = NAME.encode()
_NOTE = {"mscx": re.compile(rb"<Note[\s>]"), "mei": re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?note[\s>/]")}
_FINGERING = re.compile(rb"<Fingering\s*>.*?</Fingering\s*>\s*", re.DOTALL)
_SIGNED = re.compile(rb"<Fingering\s*>\s*<!--" + _MARK + rb"-->.*?</Fingering\s*>\s*", re.DOTALL)
_TEXT = re.compile(rb"<text>([^<]*)</text>")
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
    if source.form == "mei":
        xml = _without_fings(source.xml)
        return _with_fings(xml, at_notes) if at_notes else xml
    inside = _Inside(document, source)
    xml, others = inside.cleared()
    everywhere = dict(at_notes)
    for ordinal, texts in at_notes.items():
        everywhere |= dict.fromkeys(inside.twins("", ordinal), texts)
    if at_notes:
        xml = _with_meta(_with_fingerings(xml, everywhere), record_text(entries_of(document, wanted), 0))
        for name, body in others.items():
            there = {twin: texts for ordinal, texts in at_notes.items() for twin in inside.twins(name, ordinal)}
            others[name] = _with_fingerings(body, there) if there else body
    return _packed(source, xml, others, document.name)


def cleared_source(document: Document) -> bytes:
    """Return the file that the document was read from, without our marks."""
    source = _source(document)
    if source.form == "mei":
        return _without_fings(source.xml)
    return _packed(source, *_Inside(document, source).cleared(), document.name)


def parts_left_out(document: Document, marked: Sequence[str]) -> tuple[str, ...]:
    """Return the names of parts inside the file that no longer hold the music of the score, of those that are marked.

    `marked` are ids of parts. Marks do not go there: nobody can tell where.
    """
    source = _source(document)
    if source.form == "mei":
        return ()
    names = {one_line(document.root.findtext(f"part-list/score-part[@id='{part_id}']/part-name"))
             for part_id in marked}
    return tuple(one.name for _, one in _Inside(document, source).found if not one.alike and one.name in names)


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


def _packed(source: Source, xml: bytes, others: Mapping[str, bytes], name: str) -> bytes:
    if source.archive is None or source.member is None:
        return xml
    changed = {member: body for member, body in {source.member: xml, **others}.items()
               if member != source.member or body != source.xml}
    return with_members(source.archive, changed, name) if changed else source.archive


class _Inside:
    """The parts inside a .mscx or .mscz file: the notes there that are notes of the score."""

    def __init__(self, document: Document, source: Source) -> None:
        self.document, self.source = document, source
        self.files: dict[str, bytes] = {}
        if source.archive is not None and source.member is not None:
            self.files = other_members(source.archive, document.name, source.member)
        self.found: list[tuple[str, Excerpt]] = []        # in which file; "" is the score's own
        if self.files or source.xml.count(b"<Score") > 1:
            root = source_tree(source.xml, "mscx", document.name)
            self.found = [("", one) for one in excerpts(root)]
            for name, body in self.files.items():
                self.found += [(name, one) for one in excerpts(root, source_tree(body, "mscx", document.name))]

    def twins(self, name: str, ordinal: int) -> list[int]:
        """Return the ordinals in a file of the notes that are this note of the score."""
        return [one.notes[ordinal] for where, one in self.found if where == name and ordinal in one.notes]

    def cleared(self) -> tuple[bytes, dict[str, bytes]]:
        """Return the score and the files inside that hold marks, without them."""
        ours = _ours(self.document, self.source)
        xml = self.source.xml
        everywhere = dict(ours)
        for ordinal, texts in ours.items():
            everywhere |= dict.fromkeys(self.twins("", ordinal), texts)
        if everywhere or _MARK in xml:
            xml = _META.sub(b"", _without_fingerings(xml, everywhere), count=1)
        others = {}
        for name, body in self.files.items():
            there = {twin: texts for ordinal, texts in ours.items() for twin in self.twins(name, ordinal)}
            others[name] = _without_fingerings(body, there) if there or _MARK in body else body
        return xml, others


def _spans(xml: bytes, visible: bytes, form: str, wanted: Mapping[int, object]) -> Iterator[tuple[int, int, int]]:
    """Yield ordinal, beginning and end of the notes wanted; the end is where the next begins."""
    starts = [match.start() for match in _NOTE[form].finditer(visible)]
    for ordinal in sorted(wanted):
        if ordinal >= len(starts):
            raise unreadable("odd-structure", where="the score", what="a note is not where it was read",
                             try_="Write a .musicxml file.")
        yield ordinal, starts[ordinal], starts[ordinal + 1] if ordinal + 1 < len(starts) else len(xml)


def _without_fings(xml: bytes) -> bytes:
    return _OWN_ID.sub(b"", _FING.sub(b"", xml)) if _MARK in xml else xml


def _ours(document: Document, source: Source) -> dict[int, list[bytes]]:
    """Return the texts of our marks by the ordinal of their note in the source."""
    ours: dict[int, list[bytes]] = {}
    for part_id, origins in source.origins.items():
        for ref, note in enumerate(document.notes(part_id)):
            texts = [escape(one_line(element.text), quote=False).encode()
                     for element in note.iterfind("notations/technical/fingering") if is_ours(element)]
            if texts and 0 <= ref < len(origins) and origins[ref] >= 0:
                ours[origins[ref]] = texts
    return ours


def _without_fingerings(xml: bytes, ours: Mapping[int, Sequence[bytes]]) -> bytes:
    """Return a file without the fingerings that carry our comment, and without those of these texts at these notes."""
    visible = visible_bytes(xml)
    gone: list[tuple[int, int]] = []
    for match in _SIGNED.finditer(xml):
        gone.append(match.span())
    for ordinal, start, stop in _spans(xml, visible, "mscx", ours):
        end = visible.find(b"</Note>", start, stop)
        left = list(ours[ordinal])
        signed = [place for place in gone if start <= place[0] < stop]
        for begin, finish in signed:
            text = _TEXT.search(xml, begin, finish)
            if text is not None and text[1] in left:
                left.remove(text[1])
        for found in _FINGERING.finditer(visible, start, end if end >= 0 else stop):
            text = _TEXT.search(xml, *found.span())
            if text is not None and text[1] in left and found.span() not in gone:
                left.remove(text[1])
                gone.append(found.span())
    pieces: list[bytes] = []
    at = 0
    for begin, finish in sorted(gone):
        pieces.append(xml[at:begin])
        at = finish
    return b"".join((*pieces, xml[at:]))


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


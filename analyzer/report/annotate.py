"""Our marks in the source file, and out of it again; nothing else in the file changes, not by a byte.

A mark is a fingering below the note:
``<technical><fingering placement="below">T2<?lowbrass?></fingering></technical>``. The processing instruction inside
is how we know our marks again: it is well-formed in every version of MusicXML (an attribute for it would not be
valid), and programs that do not know it skip it. The mark goes into the note's first ``<notations>``, as some programs
read no other; a note without one gets one, and the instruction says so.

The bytes are changed, not the tree: attribute quotes, line ends, encoding, comments and the document type stay, and
nothing has to be copied or written anew.
"""

import codecs
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from html import escape
from itertools import chain

from analyzer.problem import unreadable
from analyzer.report.mark import Mark
from analyzer.score.archive import with_member
from analyzer.score.document import MARK_TARGET, Document

_PI = MARK_TARGET.encode()
_HIDDEN = ((b"<!--", b"-->"), (b"<![CDATA[", b"]]>"), (b"<?", b"?>"))
_NOTE = re.compile(rb"<note[\s>/]")
_NOTE_END = re.compile(rb"</note\s*>")          # not </notehead>, not </notations>
_LATER = re.compile(rb"<(?:lyric|play|listen)[\s>/]")
_NOTATIONS = re.compile(rb"<notations(?:\s(?:[^>\"']|\"[^\"]*\"|'[^']*')*)?/?>")
_OURS = rb"<fingering[^<>]*>[^<]*<\?" + _PI + rb"[^?]*\?>\s*</fingering\s*>"
_OUR_TECHNICAL = rb"<technical\s*>\s*(?:" + _OURS + rb"\s*)+</technical\s*>"
_OUR_MARKS = re.compile(
    rb"<notations\s*>\s*<technical\s*>\s*(?:<fingering[^<>]*>[^<]*<\?" + _PI + rb"\s+alone\s*\?>\s*</fingering\s*>\s*)+"
    rb"</technical\s*>\s*</notations\s*>|" + _OUR_TECHNICAL + rb"|" + _OURS)
# Encodings in which the bytes of ASCII signs mean only these signs; others are changed to UTF-8 and back.
_PLAIN = re.compile(r"utf-8|ascii|iso8859-\d+|cp125\d|koi8-[ru]|latin-1")


def annotated(document: Document, marks: Sequence[Mark]) -> bytes:
    """Return the file with the marks, in the form in which it came (plain or .mxl).

    Marks of ours that were in it are taken out first, so that mapping twice is mapping once. Where several lines mark
    one note, equal texts stand once, others beside each other in the order of the lines. The document is not changed.

    Raises
    ------
    ValueError
        If a mark names a part or a note that the document does not have.
    Unreadable
        If the file is in an encoding that cannot be written back.
    """
    return _with_xml(document, lambda xml: _marked(document, _without(xml), marks))


def cleared(document: Document) -> bytes:
    """Return the file without our marks, byte for byte what it was before the first mapping."""
    return _with_xml(document, _without)


def _with_xml(document: Document, change: Callable[[bytes], bytes]) -> bytes:
    encoding = _encoding(document)
    try:
        if encoding is None:
            xml = change(document.xml)
        else:
            text = document.xml.decode(encoding)
            if text.encode(encoding) != document.xml:
                raise UnicodeError("not the same again")
            xml = change(text.encode("utf-8")).decode("utf-8").encode(encoding)
    except (UnicodeError, LookupError):
        raise unreadable("encoding", where=document.name,
                         what=f"the score is in the encoding {document.root.getroottree().docinfo.encoding}, which "
                         "cannot hold the marks", try_="Export the score as UTF-8.") from None
    if document.archive is None or document.member is None:
        return xml
    return document.archive if xml == document.xml else with_member(document.archive, document.member, xml)


def _encoding(document: Document) -> str | None:
    """Return the encoding to change from, None if the bytes can be searched as they are."""
    if document.xml.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16-le" if document.xml.startswith(codecs.BOM_UTF16_LE) else "utf-16-be"
    name = document.root.getroottree().docinfo.encoding or "utf-8"
    if document.xml.startswith((b"<\0", b"\0<")):
        return "utf-16-le" if document.xml.startswith(b"<\0") else "utf-16-be"
    try:
        usual = codecs.lookup(name).name
    except LookupError:
        return name
    return None if _PLAIN.fullmatch(usual) else usual


def _without(xml: bytes) -> bytes:
    at = _next(xml, b"?", 0)
    while at >= 0 and not xml.startswith(_PI, at + 2):
        at = _next(xml, b"?", at + 2)
    if at < 0:
        return xml
    visible = _visible(xml, keep_ours=True)
    pieces: list[bytes] = []
    at = 0
    for match in _OUR_MARKS.finditer(visible):
        pieces.append(xml[at:match.start()])
        at = match.end()
    pieces.append(xml[at:])
    return b"".join(pieces)


def _marked(document: Document, xml: bytes, marks: Sequence[Mark]) -> bytes:
    wanted = _wanted(marks)
    if not wanted:
        return xml
    plain_text = _encoding(document) is None
    encoding = document.root.getroottree().docinfo.encoding if plain_text else None
    visible = _visible(xml)
    starts = _part_starts(visible)
    elements = document.root.iterfind("measure/part") if document.timewise else document.root.iterchildren("part")
    ids = [element.get("id", "") for element in elements]
    if len(ids) != len(starts) - 1:
        raise unreadable("odd-structure", where=document.name, what="parts stand inside parts in this score",
                         try_="Export the score again.")
    seen: dict[str, int] = defaultdict(int)
    pieces: list[bytes] = []
    at = 0
    for index, part_id in enumerate(ids):
        texts = wanted.get(part_id)
        if texts is None:
            continue
        begin, end = starts[index], starts[index + 1]
        notes = [match.start() for match in _NOTE.finditer(visible, begin, end)]
        first = seen[part_id]
        seen[part_id] += len(notes)
        for place, start in enumerate(notes):
            own = texts.pop(first + place, None)
            if own is None:
                continue
            stop = notes[place + 1] if place + 1 < len(notes) else end
            where, mark = _insertion(visible, start, stop, [_text(text, encoding) for text in own])
            pieces += (xml[at:where], mark)
            at = where
    for part_id, found in seen.items():
        # Notes in places where the format has none would shift the count, and the marks with it.
        if found != sum(1 for _ in document.notes(part_id)):
            raise unreadable("odd-structure", where=document.name, what=f"notes of part {part_id} stand outside of "
                             "measures or inside of each other", try_="Export the score again.")
    left = [(part_id, ref) for part_id, texts in wanted.items() for ref in texts]
    if left:
        raise ValueError(f"the score has no note {left[0][1]} in part '{left[0][0]}'")
    pieces.append(xml[at:])
    return b"".join(pieces)


def _wanted(marks: Iterable[Mark]) -> dict[str, dict[int, list[str]]]:
    """Return part -> ref -> texts, in the order of the lines, equal ones once."""
    result: dict[str, dict[int, list[str]]] = {}
    for mark in sorted(marks, key=lambda mark: mark.line):
        texts = result.setdefault(mark.part_id, {}).setdefault(mark.ref, [])
        if mark.text not in texts:
            texts.append(mark.text)
    return result


def _part_starts(visible: bytes) -> list[int]:
    """Return where each ``<part>`` begins, and the end of the score."""
    starts: list[int] = []
    at = visible.find(b"<part")
    while at >= 0:
        if visible[at + 5:at + 6] in (b" ", b"\t", b"\r", b"\n", b">", b"/"):
            starts.append(at)
        at = visible.find(b"<part", at + 5)
    return [*starts, len(visible)]


def _insertion(visible: bytes, start: int, stop: int, texts: Sequence[bytes]) -> tuple[int, bytes]:
    """Return where in the file the mark of a note goes, and the bytes of it."""
    closing = _NOTE_END.search(visible, start, stop)
    end = closing.start() if closing else stop   # without one: an odd structure, which the caller refuses
    notations = _NOTATIONS.search(visible, start, end)
    if notations is not None and not notations.group().endswith(b"/>"):
        close = visible.find(b"</notations", notations.end(), end)
        return close, _mark(texts, b"")
    if notations is not None:
        return notations.start(), b"<notations>" + _mark(texts, b" alone") + b"</notations>"
    later = _LATER.search(visible, start, end)
    return later.start() if later else end, b"<notations>" + _mark(texts, b" alone") + b"</notations>"


def _mark(texts: Sequence[bytes], alone: bytes) -> bytes:
    return b"<technical>" + b"".join(
        b'<fingering placement="below">' + text + b"<?" + _PI + alone + b"?></fingering>" for text in texts
    ) + b"</technical>"


def _text(text: str, encoding: str | None) -> bytes:
    """Return the text of a mark in the encoding of the file; signs that it lacks become character references."""
    safe = escape(text)
    return safe.encode("utf-8") if encoding is None else safe.encode(encoding, "xmlcharrefreplace")


def _visible(xml: bytes, *, keep_ours: bool = False) -> bytes:
    """Return the bytes with comments, CDATA sections and processing instructions blanked, at the same length."""
    blanks: list[tuple[int, int]] = []
    start = xml.find(b"?>") + 2 if xml[:16].find(b"<?xml") >= 0 else 0       # nothing to hide in the declaration
    instruction, declared = _next(xml, b"?", start), _next(xml, b"!", start)
    while instruction >= 0 or declared >= 0:
        place = instruction if declared < 0 or 0 <= instruction < declared else declared
        closing = next((closing for opening, closing in _HIDDEN if xml.startswith(opening, place)), None)
        end = place + 1
        if closing is not None:
            end = xml.find(closing, place + 2)
            end = len(xml) if end < 0 else end + len(closing)
            if not (keep_ours and xml.startswith(b"<?" + _PI, place)):
                blanks.append((place, end))
        if 0 <= instruction < end:
            instruction = _next(xml, b"?", end)
        if 0 <= declared < end:
            declared = _next(xml, b"!", end)
    if not blanks:
        return xml
    edges = [0, *chain.from_iterable(blanks), len(xml)]
    pieces: list[bytes] = []
    for index in range(len(edges) - 1):
        begin, end = edges[index], edges[index + 1]
        pieces.append(xml[begin:end] if index % 2 == 0 else b" " * (end - begin))
    return b"".join(pieces)


def _next(xml: bytes, sign: bytes, at: int) -> int:
    """Return where the next ``<`` with this sign after it stands, -1 if nowhere.

    Looking for the one rare byte is some fifty times as fast as looking for the two.
    """
    place = xml.find(sign, at + 1)
    while place >= 0 and xml[place - 1:place] != b"<":
        place = xml.find(sign, place + 1)
    return place - 1 if place > 0 else -1

"""Our marks in the source file, and out of it again; nothing else in the file changes, not by a byte.

A mark is a fingering below the note:
``<technical><fingering placement="below">T2<?lowbrass?></fingering></technical>``. The processing instruction inside
is how we know our marks again: it is well-formed in every version of MusicXML (an attribute for it would not be
valid), and programs that do not know it skip it. The mark goes into the note's first ``<notations>``, as some programs
read no other; a note without one gets one, and the instruction says so.

The bytes are changed, not the tree: attribute quotes, line ends, encoding, comments and the document type stay, and
nothing has to be copied or written anew.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from html import escape

from analyzer.marking.mark import Mark
from analyzer.marking.splice import MARK, NOTE, NOTE_END, encoding_of, next_sign, part_starts, rewritten, visible_bytes
from analyzer.problem import unreadable
from analyzer.score.document import Document

_LATER = re.compile(rb"<(?:lyric|play|listen)[\s>/]")
_NOTATIONS = re.compile(rb"<notations(?:\s(?:[^>\"']|\"[^\"]*\"|'[^']*')*)?/?>")
_OURS = rb"<fingering[^<>]*>[^<]*<\?" + MARK + rb"[^?]*\?>\s*</fingering\s*>"
_OUR_TECHNICAL = rb"<technical\s*>\s*(?:" + _OURS + rb"\s*)+</technical\s*>"
_OUR_MARKS = re.compile(
    rb"<notations\s*>\s*<technical\s*>\s*"
    rb"(?:<fingering[^<>]*>[^<]*<\?" + MARK + rb"\s+alone\s*\?>\s*</fingering\s*>\s*)+"
    rb"</technical\s*>\s*</notations\s*>|" + _OUR_TECHNICAL + rb"|" + _OURS)


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
    return rewritten(document, lambda xml: _marked(document, _without(xml), marks))


def cleared(document: Document) -> bytes:
    """Return the file without our marks, byte for byte what it was before the first mapping."""
    return rewritten(document, _without)


def _without(xml: bytes) -> bytes:
    at = next_sign(xml, b"?", 0)
    while at >= 0 and not xml.startswith(MARK, at + 2):
        at = next_sign(xml, b"?", at + 2)
    if at < 0:
        return xml
    visible = visible_bytes(xml, keep_ours=True)
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
    plain_text = encoding_of(document) is None
    encoding = document.root.getroottree().docinfo.encoding if plain_text else None
    visible = visible_bytes(xml)
    starts = part_starts(visible)
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
        notes = [match.start() for match in NOTE.finditer(visible, begin, end)]
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


def _insertion(visible: bytes, start: int, stop: int, texts: Sequence[bytes]) -> tuple[int, bytes]:
    """Return where in the file the mark of a note goes, and the bytes of it."""
    closing = NOTE_END.search(visible, start, stop)
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
        b'<fingering placement="below">' + text + b"<?" + MARK + alone + b"?></fingering>" for text in texts
    ) + b"</technical>"


def _text(text: str, encoding: str | None) -> bytes:
    """Return the text of a mark in the encoding of the file; signs that it lacks become character references."""
    safe = escape(text)
    return safe.encode("utf-8") if encoding is None else safe.encode(encoding, "xmlcharrefreplace")



"""The record of our marks in the file: into the score's identification and out of it again, by the byte."""

import re
from collections.abc import Callable, Mapping, Sequence

from analyzer.marking.splice import MARK, visible_bytes
from analyzer.score.document import Document
from analyzer.score.own_marks import NAME, MarkEntry, is_ours, onsets, record_text, text_of

_HEADER_END = re.compile(rb"<(?:defaults|credit|part-list)[\s>/]")
_BARE = re.compile(rb"<(identification|miscellaneous)\s*/>")
_CLOSING = re.compile(rb"</(miscellaneous|identification)\s*>")
_FIELD = re.compile(rb"<miscellaneous-field\s[^<>]*name\s*=\s*[\"']" + MARK + rb"[\"'][^<>]*>"
                    rb"[^<]*(?P<sign><\?" + MARK + rb"(?: was=(?P<was>[^?]*))?\?>)?</miscellaneous-field\s*>")
_MADE = re.compile(rb"made[^\d<]{1,20}(\d)")
_Told = Mapping[str, Mapping[int, Sequence[str]]]


def with_record(document: Document, xml: bytes, visible: bytes, told: _Told, encoded: Callable[[str], bytes]) -> bytes:
    """Return the marked file with the record of its marks.

    Parameters
    ----------
    document : Document
        The score before it was marked.
    xml : bytes
        The file with its marks, without an older record.
    visible : bytes
        The file before it was marked, without what is hidden (`splice.visible_bytes`): its header is the same.
    told : mapping
        Part -> ordinal of the note -> labels written there.
    encoded : callable
        Gives a text as it has to stand in the file.
    """
    header_end = _HEADER_END.search(visible)
    if header_end is None:
        return xml
    header = visible[:header_end.start()]
    bare = next(_BARE.finditer(header), None)
    closing = next(_CLOSING.finditer(header), None)
    was = b""
    if bare is not None and (closing is None or bare[1] == b"miscellaneous"):
        start, stop, made, was = bare.start(), bare.end(), 1 if bare[1] == b"miscellaneous" else 2, bare.group()
    elif closing is not None:
        start = stop = closing.start()
        made = 0 if closing[1] == b"miscellaneous" else 1
    else:
        start = stop = header_end.start()
        made = 2
    sign = b"<?" + MARK + (b" was=" + was if was else b"") + b"?>"
    text = encoded(record_text(entries_of(document, told), made))
    field = b'<miscellaneous-field name="' + MARK + b'">' + text + sign + b"</miscellaneous-field>"
    for name in (b"miscellaneous", b"identification")[:made]:
        field = b"<" + name + b">" + field + b"</" + name + b">"
    return xml[:start] + field + xml[stop:]


def entries_of(document: Document, told: _Told) -> dict[str, tuple[int, dict[int, list[MarkEntry]]]]:
    """Return the marks as the record tells them: by part, measure and onset."""
    body = document.root.iterfind("measure/part") if document.timewise else document.root.iterchildren("part")
    order = list(dict.fromkeys(part.get("id", "") for part in body))
    result: dict[str, tuple[int, dict[int, list[MarkEntry]]]] = {}
    for part_id, texts in told.items():
        music = document.part_measures(part_id)
        measures: dict[int, list[MarkEntry]] = {}
        with_texts = {note for one in music for text in one.iter("fingering", "lyric")
                      for note in text.iterancestors("note")}
        for ref, (index, onset, note) in enumerate(onsets(music, range(len(music)))):
            for text in texts.get(ref, ()):
                own = sum(text_of(element) == text and not is_ours(element) for element in (
                    *note.iterfind("notations/technical/fingering"), *note.iterfind("lyric"),
                )) if note in with_texts else 0
                measures.setdefault(index, []).append(MarkEntry(onset=onset, label=text, own=own))
        result[part_id] = order.index(part_id), measures
    return result


def without_record(xml: bytes) -> bytes:
    """Return a file without the record and what was made around it."""
    if NAME.encode() not in xml:
        return xml
    visible = visible_bytes(xml, keep_ours=True)
    found = _FIELD.search(visible)
    if found is None:
        return xml
    start, stop = found.span()
    made = _MADE.search(found.group())
    for name in (b"miscellaneous", b"identification")[:int(made[1]) if made else 0]:
        before = re.compile(rb"<" + name + rb"\s*>\s*$").search(visible, max(0, start - 400), start)
        after = re.compile(rb"\s*</" + name + rb"\s*>").match(visible, stop)
        if before is None or after is None:
            break
        start, stop = before.start(), after.end()
    if found["sign"] is None:
        # Another program has set the lines: ours goes whole.
        start = len(xml[:start].rstrip())
    return xml[:start] + (found["was"] or b"") + xml[stop:]

"""Our marks in the source file, and out of it again; nothing else in the file changes, not by a byte.

A mark is a fingering below the note (above where the source has a fingering of its own below):
``<technical><fingering placement="below">T2<?lowbrass?></fingering></technical>``, or a syllable in a row of lyrics of
its own, for converters that take no fingering but digits. The processing instruction inside is how we know our marks
again; it is well-formed in every version of MusicXML, and programs that do not know it skip it. For those that drop it,
the score's identification holds a record (score/own_marks). A fingering goes into the note's first visible
``<notations>``, as some programs read no other; a note without one gets one, and the instruction says so.

The bytes are changed, not the tree: attribute quotes, line ends, encoding, comments and the document type stay, and
nothing has to be copied or written anew.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import lru_cache
from html import escape

from lxml import etree

from analyzer.marking.mark import Mark
from analyzer.marking.record import with_record, without_record
from analyzer.marking.splice import MARK, NOTE, NOTE_END, encoding_of, next_sign, part_starts, rewritten, visible_bytes
from analyzer.marking.which import WriteAs
from analyzer.problem import unreadable
from analyzer.score.document import Document
from analyzer.score.own_marks import NAME, SIGNED_AGAIN, is_ours

_LATER = (b"<lyric", b"<play", b"<listen")
_AFTER_NOTATIONS = re.compile(b"(?:" + b"|".join(_LATER) + rb")[\s>/]")
_AFTER_LYRICS = re.compile(rb"<(?:play|listen)[\s>/]")
_NOTATIONS = re.compile(rb"<notations(?:\s(?:[^>\"']|\"[^\"]*\"|'[^']*')*)?/?>")
_UNSEEN = re.compile(rb"\sprint-object\s*=\s*[\"']no[\"']")
_BELOW = re.compile(rb"<fingering\s[^<>]*placement\s*=\s*[\"']below[\"']")
_OURS = rb"<fingering[^<>]*>[^<]*<\?" + MARK + rb"[^?]*\?>\s*</fingering\s*>"
_OUR_TECHNICAL = rb"<technical\s*>\s*(?:" + _OURS + rb"\s*)+</technical\s*>"
_OUR_LYRIC = (rb"<lyric\b[^<>]*>\s*(?:<syllabic\s*>[^<]*</syllabic\s*>\s*)?<text[^<>]*>[^<]*<\?" + MARK
              + rb"[^?]*\?>\s*</text\s*>\s*</lyric\s*>")
_OUR_MARKS = re.compile(
    rb"<notations\s*>\s*<technical\s*>\s*"
    rb"(?:<fingering[^<>]*>[^<]*<\?" + MARK + rb"\s+alone\s*\?>\s*</fingering\s*>\s*)+"
    rb"</technical\s*>\s*</notations\s*>|" + _OUR_TECHNICAL + rb"|" + _OURS + rb"|" + _OUR_LYRIC)
_MARK_START = re.compile(rb"<(?:fingering|lyric)[\s>/]")
_NUMBER = re.compile(r"\d{1,4}")


def annotated(document: Document, marks: Sequence[Mark], write_as: WriteAs = "fingering") -> bytes:
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
    return rewritten(document, lambda xml: _marked(document, _without(document, xml), marks, write_as))


def cleared(document: Document) -> bytes:
    """Return the file without our marks, byte for byte what it was before the first mapping.

    Where another program has saved the marked file since, the rest stays as that program wrote it.
    """
    return rewritten(document, lambda xml: _without(document, xml))


def _without(document: Document, xml: bytes) -> bytes:
    return without_record(_without_marks(_signed(document, xml)))


def _signed(document: Document, xml: bytes) -> bytes:
    """Put the instruction back into marks that lost it in another program, and drop the blanks around them."""
    if b"<fingering" not in xml and b"<lyric" not in xml:
        return xml                     # the bytes tell it sooner than the tree
    elements = list(document.root.iter("fingering", "lyric"))
    lost = {place for place, element in enumerate(elements) if element.get("name") == NAME or any(
        getattr(child, "target", "") == SIGNED_AGAIN for child in element)}
    if not lost:
        return xml
    visible = visible_bytes(xml)
    starts = [match.start() for match in _MARK_START.finditer(visible)]
    if len(starts) != len(elements):
        return xml
    pieces: list[bytes] = []
    at = 0
    for place in sorted(lost):
        tag = "text" if elements[place].tag == "lyric" else "fingering"
        end = visible.find(b"</" + tag.encode(), starts[place])
        begin = _pulled_up(visible, starts[place])
        if end < 0 or begin < at or b"<?" + MARK in xml[starts[place]:end]:
            continue
        pieces += (xml[at:begin], b"".join(xml[begin:starts[place]].split()), xml[starts[place]:end],
                   b"<?" + MARK + b" alone?>")
        at = end
    pieces.append(xml[at:])
    return b"".join(pieces)


def _pulled_up(visible: bytes, start: int) -> int:
    """Return where the blanks begin before an element and before the bare technical and notations around it."""
    begin = start
    for opening in (b"", b"<technical>", b"<notations>"):
        if not visible.endswith(opening, 0, begin):
            break
        begin -= len(opening)
        while begin and visible[begin - 1:begin].isspace():
            begin -= 1
    return begin


def _without_marks(xml: bytes) -> bytes:
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


def _marked(document: Document, xml: bytes, marks: Sequence[Mark], write_as: WriteAs) -> bytes:
    wanted = _wanted(marks) if write_as == "fingering" else _syllables(document, marks)
    if not wanted:
        return xml
    recorded = {part_id: {ref: [text for text, _ in own] for ref, own in texts.items()}
                for part_id, texts in wanted.items()}
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
            where, mark = _insertion(visible, start, stop, [(_text(text, encoding), row) for text, row in own])
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
    return with_record(document, b"".join(pieces), visible, recorded, lambda text: _text(text, encoding))


_Texts = dict[str, dict[int, list[tuple[str, int]]]]
"""Part -> ref -> texts with the number of their row of lyrics (0: a fingering)."""


def _wanted(marks: Iterable[Mark]) -> _Texts:
    """Return the fingerings in the order of the lines, equal ones of a note once."""
    result: _Texts = {}
    for mark in sorted(marks, key=lambda mark: mark.line):
        texts = result.setdefault(mark.part_id, {}).setdefault(mark.ref, [])
        if (mark.written, 0) not in texts:
            texts.append((mark.written, 0))
    return result


def _syllables(document: Document, marks: Iterable[Mark]) -> _Texts:
    """Return the syllables, a row a line below the lyrics of the part; those of a chord stand at its first note."""
    by_part: dict[str, list[Mark]] = {}
    for mark in sorted(marks, key=lambda mark: (mark.line, mark.ref)):
        by_part.setdefault(mark.part_id, []).append(mark)
    result: _Texts = {}
    for part_id, own in by_part.items():
        first, rows, holder = 0, 1, {}
        for ref, note in enumerate(document.notes(part_id)):
            first = ref if note.find("chord") is None else first
            holder[ref] = first
            rows = max((rows, *(1 + _row(lyric) for lyric in note.iterfind("lyric") if not is_ours(lyric))))
        order = {line: nth for nth, line in enumerate(sorted({mark.line for mark in own}))}
        for mark in own:
            texts = result.setdefault(part_id, {}).setdefault(holder.get(mark.ref, mark.ref), [])
            said = (mark.written, rows + order[mark.line])
            same = next((place for place, (_, row) in enumerate(texts) if row == said[1]), None)
            if same is None:
                texts.append(said)
            elif texts[same][0] != mark.written:
                texts[same] = (f"{texts[same][0]}/{mark.written}", said[1])
    return result


def _row(lyric: etree._Element) -> int:
    """Return the row of a lyric; its number may be a name with a number in it."""
    return max(map(int, _NUMBER.findall(lyric.get("number", ""))), default=1)


def _insertion(visible: bytes, start: int, stop: int, texts: Sequence[tuple[bytes, int]]) -> tuple[int, bytes]:
    """Return where in the file the mark of a note goes, and the bytes of it."""
    end = visible.find(b"</note>", start, stop)
    if end < 0:
        closing = NOTE_END.search(visible, start, stop)
        end = closing.start() if closing else stop   # without one: an odd structure, which the caller refuses
    note = visible[start:end]          # what has none of the words need not be searched for their forms
    if texts[0][1]:
        later = _AFTER_LYRICS.search(note)
        return start + later.start() if later else end, b"".join(
            b'<lyric number="%d" name="%b" placement="below"><syllabic>single</syllabic><text>%b<?%b?></text></lyric>'
            % (row, MARK, text, MARK) for text, row in texts)
    place = b"above" if b"<fingering" in note and _BELOW.search(note) else b"below"
    hidden = None
    for notations in _NOTATIONS.finditer(note) if b"<notations" in note else ():
        if _UNSEEN.search(notations.group()):
            hidden = hidden or notations
        elif notations.group().endswith(b"/>"):
            return start + notations.start(), _alone(texts, place)
        else:
            return visible.find(b"</notations", start + notations.end(), end), _mark(texts, b"", place)
    later = hidden or (_AFTER_NOTATIONS.search(note) if any(word in note for word in _LATER) else None)
    return start + later.start() if later else end, _alone(texts, place)


def _alone(texts: Sequence[tuple[bytes, int]], place: bytes) -> bytes:
    return b"<notations>" + _mark(texts, b" alone", place) + b"</notations>"


def _mark(texts: Sequence[tuple[bytes, int]], alone: bytes, place: bytes) -> bytes:
    return b"<technical>" + b"".join(
        b'<fingering placement="%b">%b<?%b%b?></fingering>' % (place, text, MARK, alone) for text, _ in texts
    ) + b"</technical>"


@lru_cache(maxsize=1024)
def _text(text: str, encoding: str | None) -> bytes:
    """Return the text of a mark in the encoding of the file; signs that it lacks become character references."""
    safe = escape(text, quote=False)
    return safe.encode("utf-8") if encoding is None else safe.encode(encoding, "xmlcharrefreplace")



"""Change a score in its bytes, not its tree: find the places, keep all the rest as it was.

Attribute quotes, line ends, encoding, comments and the document type stay, and nothing is copied or written anew.
"""

import codecs
import re
from collections.abc import Callable
from itertools import chain

from analyzer.problem import unreadable
from analyzer.score.archive import with_members
from analyzer.score.document import Document
from analyzer.score.own_marks import NAME

MARK = NAME.encode()
NOTE = re.compile(rb"<note[\s>/]")
NOTE_END = re.compile(rb"</note\s*>")           # not </notehead>, not </notations>
_HIDDEN = ((b"<!--", b"-->"), (b"<![CDATA[", b"]]>"), (b"<?", b"?>"))
# Encodings in which the bytes of ASCII signs mean only these signs; others are changed to UTF-8 and back.
_PLAIN = re.compile(r"utf-8|ascii|iso8859-\d+|cp125\d|koi8-[ru]|latin-1")


def rewritten(document: Document, change: Callable[[bytes], bytes]) -> bytes:
    """Return the file with its XML put through `change`, in the encoding and form (plain or .mxl) in which it came.

    Raises
    ------
    Unreadable
        If the file is in an encoding that cannot be written back.
    """
    encoding = encoding_of(document)
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
    if xml == document.xml:
        return document.archive
    return with_members(document.archive, {document.member: xml}, document.name)


def encoding_of(document: Document) -> str | None:
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


def part_starts(visible: bytes) -> list[int]:
    """Return where each ``<part>`` begins, and the end of the score."""
    starts: list[int] = []
    at = visible.find(b"<part")
    while at >= 0:
        if visible[at + 5:at + 6] in (b" ", b"\t", b"\r", b"\n", b">", b"/"):
            starts.append(at)
        at = visible.find(b"<part", at + 5)
    return [*starts, len(visible)]


def visible_bytes(xml: bytes, *, keep_ours: bool = False) -> bytes:
    """Return the bytes with comments, CDATA sections and processing instructions blanked, at the same length."""
    blanks: list[tuple[int, int]] = []
    start = xml.find(b"?>") + 2 if xml[:16].find(b"<?xml") >= 0 else 0       # nothing to hide in the declaration
    instruction, declared = next_sign(xml, b"?", start), next_sign(xml, b"!", start)
    while instruction >= 0 or declared >= 0:
        place = instruction if declared < 0 or 0 <= instruction < declared else declared
        closing = next((closing for opening, closing in _HIDDEN if xml.startswith(opening, place)), None)
        end = place + 1
        if closing is not None:
            end = xml.find(closing, place + 2)
            end = len(xml) if end < 0 else end + len(closing)
            if not (keep_ours and xml.startswith(b"<?" + MARK, place)):
                blanks.append((place, end))
        if 0 <= instruction < end:
            instruction = next_sign(xml, b"?", end)
        if 0 <= declared < end:
            declared = next_sign(xml, b"!", end)
    if not blanks:
        return xml
    edges = [0, *chain.from_iterable(blanks), len(xml)]
    pieces: list[bytes] = []
    for index in range(len(edges) - 1):
        begin, end = edges[index], edges[index + 1]
        pieces.append(xml[begin:end] if index % 2 == 0 else b" " * (end - begin))
    return b"".join(pieces)


def next_sign(xml: bytes, sign: bytes, at: int) -> int:
    """Return where the next ``<`` with this sign after it stands, -1 if nowhere.

    Looking for the one rare byte is some fifty times as fast as looking for the two.
    """
    place = xml.find(sign, at + 1)
    while place >= 0 and xml[place - 1:place] != b"<":
        place = xml.find(sign, place + 1)
    return place - 1 if place > 0 else -1

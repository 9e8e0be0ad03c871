"""What is wrong with a score that is no readable XML, in words for the person who has the file."""

import re

from lxml import etree

from analyzer.problem import Unreadable, unreadable

AGAIN = "Export the score again as MusicXML (.musicxml or .mxl)."
_CLOSERS = (b"</score-partwise>", b"</score-timewise>")
_PLACE = re.compile(r",? line \d+, column \d+")
# What libxml2 says -> what that means; the first that fits.
_REFUSED = (
    (("Excessive depth", "depth limit"), "its elements are nested deeper than any score's"),
    (("too long", "huge text", "Huge"), "one of its texts is longer than ten million letters"),
    (("amplification", "entity", "Detected an entity", "loop"), "it defines entities that grow without end"),
    (("size limit", "xmlSAX2", "out of memory", "Resource limit"), "it asks for more memory than a score needs"),
)


def wrong_letters(error: etree.XMLSyntaxError) -> bool:
    """Tell whether the bytes are not in the encoding that the file names, or nobody knows that encoding."""
    return any(words in (error.msg or "") for words in (
        "Invalid bytes in character encoding", "not proper UTF-8", "Unsupported encoding", "encoding error"))


def damaged(error: etree.XMLSyntaxError, xml: bytes, name: str) -> Unreadable:
    """Return the one line for a score that the parser gave up."""
    text = (error.msg or "").split("\n")[0]
    where = f"{name}, line {error.lineno}" if error.lineno else name
    if "not defined" not in text:
        for words, meaning in _REFUSED:
            if any(word in text for word in words):
                return unreadable("refused-xml", where=where, what=f"the XML is refused: {meaning}", try_=AGAIN)
    if _stops(error, xml):
        return unreadable("cut-off", where=where, what="the file stops in the middle of the score",
                          try_="Copy or export it again; the last copy was not complete.")
    if wrong_letters(error):
        return unreadable("not-xml", where=where, what="the letters of the file are in no encoding that can be read",
                          try_="Export the score again as UTF-8.")
    if "xmlChar value" in text or "Char value" in text:
        return unreadable("not-xml", where=where, what="the file holds a control character, which no score may have",
                          try_="Look for odd signs in titles, names and lyrics there, then export the score again.")
    return unreadable("not-xml", where=where, what=f"the XML is damaged ({_PLACE.sub('', text)})", try_=AGAIN)


def _stops(error: etree.XMLSyntaxError, xml: bytes) -> bool:
    """Tell whether the file was cut off: it fails at its very end, or in the midst of its last tag."""
    if xml.rstrip().endswith(_CLOSERS):
        return False
    before, _, last = xml.rpartition(b"\n")
    at_end = (error.lineno or 0) > before.count(b"\n") + bool(before) and error.position[1] >= len(last.rstrip())
    return at_end or (b"<score-" in xml[:4096] and xml.rfind(b"<") > xml.rfind(b">"))

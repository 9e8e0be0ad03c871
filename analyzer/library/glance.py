"""What the part list alone tells: most scores of a library have no low brass, and need no whole parse for that."""

from lxml import etree

from analyzer.score.document import Document, read_head
from analyzer.score.parts import find_parts


def without_low_brass(data: bytes, name: str) -> Document | None:
    """Return the head of a score that surely has no low brass; None for any other, which is to be read whole.

    Music can make a part only in one way more like low brass than the part list has it: by a bass clef in its first
    measure. So each part is given one here, and where even then nothing is found, the music would not change that.

    Raises
    ------
    Unreadable
        If an archive is refused or damaged.
    """
    head = read_head(data, name)
    if head is None:
        return None
    for one in head.root.findall("part-list/score-part"):
        measure = etree.SubElement(etree.SubElement(head.root, "part", id=one.get("id", "")), "measure")
        clef = etree.SubElement(etree.SubElement(measure, "attributes"), "clef")
        etree.SubElement(clef, "sign").text = "F"
    return None if any(part.low_brass for part in find_parts(head)[0]) else head

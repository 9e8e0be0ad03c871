"""What the part list alone tells: most scores of a library have no low brass, and need no whole parse for that."""

from lxml import etree

from analyzer.score.document import Document, read_head
from analyzer.score.parts import find_parts


def without_low_brass(data: bytes, name: str) -> Document | None:
    """Return the head of a score that surely has no low brass; None for any other, which is to be read whole.

    Music can make a part more like low brass than the part list has it in two ways only: by a bass clef, or by a
    transposition, in its first measure. So each part is given both here, and where even then nothing is found, the
    music would not change that.

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
        attributes = etree.SubElement(measure, "attributes")
        clef = etree.SubElement(attributes, "clef")
        etree.SubElement(clef, "sign").text = "F"
        # A tenor horn that sounds a ninth lower is the one in B flat, which is ours.
        transpose = etree.SubElement(attributes, "transpose")
        etree.SubElement(transpose, "chromatic").text = "-14"
    return None if any(part.low_brass for part in find_parts(head)[0]) else head

"""The tempo that a part is planned at, printed over its first measure where the score does not print it."""

from collections.abc import Iterable

from lxml import etree

METRONOME_NOTES = {"whole": "\ueca2", "half": "\ueca3", "quarter": "\ueca5", "eighth": "\ueca7", "16th": "\ueca9",
                   "32nd": "\uecab"}
"""Notes of metronome marks by note value: the range Metronome marks of SMuFL 1.4."""
METRONOME_DOT = "\uecb7"


def print_tempo(measures: Iterable[etree._Element], text: str, *, alone: bool) -> None:
    """Print a tempo over the first measure; with `alone` the metronome marks of the score go, its words stay."""
    first: etree._Element | None = None
    for measure in measures:
        if first is None:
            first = measure
        if alone:
            _without_metronomes(measure)
    if first is None or not text:
        return
    direction = etree.Element("direction", placement="above")
    etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = text
    # The engraver sets words with a tempo in bold, as it does metronome marks.
    etree.SubElement(direction, "sound", tempo="60")
    place = next((k for k, child in enumerate(first) if child.tag in ("note", "backup", "forward")), len(first))
    first.insert(place, direction)


def _without_metronomes(measure: etree._Element) -> None:
    for direction in measure.findall("direction"):
        for kind in direction.findall("direction-type"):
            if kind.find("metronome") is not None:
                direction.remove(kind)
        if direction.find("direction-type") is None:
            measure.remove(direction)

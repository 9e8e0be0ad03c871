"""What a cut-out part needs from around it: attributes in force, directions meant for everyone."""

from copy import deepcopy
from fractions import Fraction
from typing import Any

from lxml import etree

from analyzer.score.document import Document

# Order of the children of <attributes> in MusicXML 4.0; `measure-style` and `directive` are not carried over.
ORDER = ("divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details", "transpose",
          "directive", "measure-style")
_CARRIED = frozenset(ORDER[:9])
_BY_STAFF = frozenset({"key", "time", "clef", "staff-details", "transpose"})


class Attributes:
    """The `<attributes>` in force at a point of one part."""

    def __init__(self) -> None:
        """Start with nothing in force."""
        self._found: dict[str, dict[str, list[etree._Element]]] = {}
        self.divisions = Fraction(1)

    def take(self, attributes: etree._Element) -> None:
        """Let an `<attributes>` element act."""
        fresh: set[tuple[str, str]] = set()
        for child in attributes:
            if child.tag not in _CARRIED:
                continue
            if child.tag == "divisions":
                self.divisions = _fraction(child.text) or self.divisions
            number = child.get("number", "") if child.tag in _BY_STAFF else ""
            of_tag = self._found.setdefault(str(child.tag), {})
            if number == "":
                for other in [key for key in of_tag if (str(child.tag), key) not in fresh]:
                    del of_tag[other]
            if (str(child.tag), number) not in fresh:
                of_tag[number] = []
            fresh.add((str(child.tag), number))
            copy = deepcopy(child)
            copy.tail = None
            of_tag[number].append(copy)

    def elements(self, tag: str) -> list[etree._Element]:
        """Return the elements of a tag that are in force, those without a staff's number first."""
        return [element for number in sorted(self._found.get(tag, {})) for element in self._found[tag][number]]

    def open_with(self, measure: etree._Element) -> None:
        """Write what is in force at the start of `measure` as its first element; its own attributes there win."""
        leading = []
        styles: list[etree._Element] = []
        for child in measure:
            if child.tag in ("note", "backup", "forward"):
                break
            if child.tag == "attributes":
                leading.append(child)
        # A cancelled key belongs to the change of key, which may lie before the excerpt.
        for keys in self._found.get("key", {}).values():
            for key in keys:
                for cancel in key.findall("cancel"):
                    key.remove(cancel)
        for child in leading:
            self.take(child)
            styles.extend(style for style in child if style.tag in ("directive", "measure-style"))
            measure.remove(child)
        whole = etree.Element("attributes")
        for tag in ORDER[:9]:
            for number in sorted(self._found.get(tag, {})):
                whole.extend(deepcopy(element) for element in self._found[tag][number])
        whole.extend(sorted(styles, key=lambda style: ORDER.index(str(style.tag))))
        if len(whole):
            measure.insert(0, whole)


class MeasureWalk:
    """Where in its measure each child stands, in quarter notes."""

    def __init__(self, in_force: Attributes) -> None:
        """Start at the beginning of a measure; `in_force` is kept up to date while walking."""
        self._in_force = in_force
        self._at = Fraction(0)
        self._chord_at = Fraction(0)

    def step(self, child: etree._Element) -> Fraction:
        """Return the onset of `child` from the start of the measure, and move on behind it. [quarter notes]"""
        if child.tag == "attributes":
            self._in_force.take(child)
        if child.tag not in ("note", "backup", "forward"):
            return self._at
        length = (_fraction(child.findtext("duration")) or Fraction(0)) / self._in_force.divisions
        if child.tag == "backup":
            self._at = max(Fraction(0), self._at - length)
            return self._at
        if child.tag == "forward":
            self._at += length
            return self._at - length
        if child.find("chord") is not None:
            return self._chord_at
        self._chord_at = self._at
        if child.find("grace") is None:
            self._at += length
        return self._chord_at


def directions_for_all(
    document: Document, part_id: str, first: int, last: int,
) -> dict[int, list[tuple[etree._Element, Fraction]]]:
    """Return tempo marks and rehearsal letters that stand in other parts only, by measure index.

    Many scores print them once, above the top part. For each measure and kind the first part that has one gives it,
    unless the asked part has its own. Onsets count quarter notes from the start of the measure.
    """
    order = {name: place for place, name in enumerate(document.part_ids)}
    found: dict[tuple[int, str], list[tuple[int, str, etree._Element]]] = {}
    for owner, index, direction in _marked_directions(document):
        if first <= index <= last:
            found.setdefault((index, _kind(direction)), []).append((order.get(owner, len(order)), owner, direction))
    result: dict[int, list[tuple[etree._Element, Fraction]]] = {}
    for (index, _), offers in sorted(found.items(), key=lambda item: item[0]):
        best = min(place for place, _, _ in offers)
        if any(owner == part_id for _, owner, _ in offers):
            continue
        for place, owner, direction in offers:
            if place == best:
                result.setdefault(index, []).append((direction, _onset(document, owner, index, direction)))
    return result


def _marked_directions(document: Document) -> list[tuple[str, int, etree._Element]]:
    """Return part id, measure index and element of every tempo mark and rehearsal letter; found once a document."""
    known: list[tuple[str, int, etree._Element]] | None = document.memo.get("engrave.directions")
    if known is not None:
        return known
    places: dict[str, dict[etree._Element, int]] = {}
    found: list[tuple[str, int, etree._Element]] = []
    for direction in _all_directions(document.root):
        music = direction.getparent()
        if music is None:
            continue
        owner = str(music.get("id") if document.timewise else _parent(music).get("id"))
        if owner not in places:
            places[owner] = {element: index for index, element in enumerate(document.part_measures(owner))}
        if music in places[owner]:
            found.append((owner, places[owner][music], direction))
    document.memo["engrave.directions"] = found
    return found


# XPath looks at thousands of directions in the library, which is ten times faster than doing it here. They stand in
# measures alone: looked for in notes, too, a score of 15 MB takes a quarter of a second.
_all_directions: Any = etree.XPath("*/*/direction[direction-type/rehearsal or direction-type/metronome or "
                                   "(direction-type/words and sound/@tempo)]")


def tempo_before(document: Document, first: int) -> str:
    """Return the tempo in force at the start of a measure as the last `<sound>` before it has it, or nothing."""
    best = (-1, "")
    for part_id in document.part_ids:
        for index, music in enumerate(document.part_measures(part_id)[:first]):
            for sound in music.iter("sound"):
                if sound.get("tempo") and index >= best[0]:
                    best = (index, str(sound.get("tempo")))
    return best[1]


def _kind(direction: etree._Element) -> str:
    return "tempo" if direction.find("direction-type/rehearsal") is None else "rehearsal"


def _parent(element: etree._Element) -> etree._Element:
    parent = element.getparent()
    return element if parent is None else parent


def _onset(document: Document, part_id: str, index: int, direction: etree._Element) -> Fraction:
    in_force = Attributes()
    music = document.part_measures(part_id)
    for source in music[:index]:
        for attributes in source.iterchildren("attributes"):
            in_force.take(attributes)
    walk = MeasureWalk(in_force)
    for child in music[index]:
        at = walk.step(child)
        if child is direction:
            offset = _fraction(direction.findtext("offset")) or Fraction(0)
            return max(Fraction(0), at + offset / in_force.divisions)
    return Fraction(0)


def _fraction(text: str | None) -> Fraction | None:
    try:
        value = Fraction((text or "").strip())
    except (ValueError, ZeroDivisionError):
        return None
    return value if value >= 0 or text is not None else None

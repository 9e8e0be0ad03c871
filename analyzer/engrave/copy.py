"""The engraving copy: one part of a score as MusicXML of its own, with our marks in a row under the staff.

The copy is only looked at, never delivered. In it a mark is a `<lyric>`, because the engraver keeps lyrics in one clear
row below notes, slurs and dynamics; the part's own lyrics move to the verses below ours. A lyric of ours has a `name`
that starts with `MARK_NAME`; every note has the id ``n{ref}`` and every measure the id ``m{index}``.
"""

from collections.abc import Iterable, Sequence
from copy import deepcopy
from fractions import Fraction

from lxml import etree

from analyzer.engrave.context import Attributes, Walk, directions_for_all, fold_rests, tempo_before
from analyzer.marking.mark import Mark
from analyzer.score.document import MARK_TARGET, Document

MARK_NAME = "lowbrass"
"""First word of the `name` of a lyric that holds a mark; ``changed``, ``unplayable``, ``line-2``, ``ref-17`` follow."""

_DROPPED = frozenset({"print", "link", "bookmark", "listening", "grouping"})


def engraving_copy(
    document: Document,
    part_id: str,
    marks: Iterable[Mark] = (),
    *,
    measures: tuple[int, int] | None = None,
    title: str = "",
    subtitle: str = "",
    fold: bool = True,
) -> str:
    """Return one part, or some measures of it, as partwise MusicXML with the marks as lyrics.

    Parameters
    ----------
    document : Document
        The score; it is not changed.
    part_id : str
        Id of the part to show.
    marks : iterable of Mark
        Those of other parts, or of notes outside the measures, are left out.
    measures : (int, int), optional
        First and last measure index, both shown. Clef, key, time, transposition and divisions in force are repeated
        in the first of them.
    title, subtitle : str
        Printed on top of the first page; the subtitle is the place for the player's part and horn.
    fold : bool
        Join empty measures into rests of several measures. Copies for sound leave them as they are, and start with
        the tempo in force.

    Raises
    ------
    ValueError
        If the part has no music or the measures lie outside it.
    """
    music = document.part_measures(part_id)
    if not music:
        raise ValueError(f"the part {part_id!r} has no music")
    first, last = measures if measures is not None else (0, len(music) - 1)
    if not 0 <= first <= last < len(music):
        raise ValueError(f"measures {first} to {last} are not within 0 to {len(music) - 1}")
    by_ref: dict[int, list[Mark]] = {}
    for mark in marks:
        if mark.part_id == part_id:
            by_ref.setdefault(mark.ref, []).append(mark)
    rows = _row_of_line(mark for found in by_ref.values() for mark in found)

    shared = directions_for_all(document, part_id, first, last)
    in_force = Attributes()
    lyrics = _Lyrics(by_ref, rows)
    written: list[etree._Element] = []
    ref = 0
    for index, source in enumerate(music[:last + 1]):
        if index < first:
            for child in source:
                if child.tag == "attributes":
                    in_force.take(child)
                elif child.tag == "note":
                    ref += 1
            continue
        measure = _measure(document, source, index)
        if index == first:
            in_force.open_with(measure)
            if not fold and first:
                _insert_tempo(measure, tempo_before(document, first))
        for direction, onset in shared.get(index, ()):
            _insert_direction(measure, direction, onset, in_force.divisions)
        ref = _write_notes(measure, ref, lyrics, in_force, opening=index == first)
        written.append(measure)
    lyrics.move_others()
    if fold:
        fold_rests(written)

    root = _frame(document, part_id, title, subtitle)
    part = etree.SubElement(root, "part", id=part_id)
    part.extend(written)
    return etree.tostring(root, encoding="unicode")


def _row_of_line(marks: Iterable[Mark]) -> dict[int, int]:
    """Rows from 1 for the lines that have marks, the first player's on top."""
    return {line: row for row, line in enumerate(sorted({mark.line for mark in marks}), start=1)}


def _measure(document: Document, source: etree._Element, index: int) -> etree._Element:
    """Return a measure of our own with copies of the source's children, without layout and our older marks."""
    measure = etree.Element("measure")
    kept = document.measure_element(source)
    for name in ("number", "implicit", "non-controlling", "text"):
        if (value := kept.get(name)) is not None:
            measure.set(name, value)
    measure.set("id", f"m{index}")
    for child in source:
        if isinstance(child.tag, str) and child.tag not in _DROPPED:
            copy = deepcopy(child)
            copy.tail = None
            measure.append(copy)
    for direction in measure.findall("direction"):
        _forget_layout(direction)
    for attributes in measure.findall("attributes"):
        for style in attributes.findall("measure-style"):
            if style.find("multiple-rest") is not None:
                attributes.remove(style)
    for technical in measure.findall("note/notations/technical"):
        for fingering in technical.findall("fingering"):
            if fingering.xpath(f"processing-instruction('{MARK_TARGET}')"):
                technical.remove(fingering)
    return measure


def _forget_layout(direction: etree._Element) -> None:
    """Drop sizes and places that were chosen for another page."""
    for element in direction.iter(etree.Element):
        for name in [str(name) for name in element.attrib]:
            if name.startswith(("font-size", "font-family", "default-", "relative-")):
                del element.attrib[name]


def _insert_direction(measure: etree._Element, direction: etree._Element, onset: Fraction, divisions: Fraction) -> None:
    """Put a direction of another part at `onset` quarters after the start of the measure."""
    copy = deepcopy(direction)
    copy.tail = None
    copy.set("placement", "above")
    _forget_layout(copy)
    for tag in ("offset", "staff", "voice"):
        for found in copy.findall(tag):
            copy.remove(found)
    if onset:
        offset = etree.Element("offset")
        offset.text = _number(onset * divisions)
        copy.insert(len(copy.findall("direction-type")), offset)
    place = 1 if len(measure) and measure[0].tag == "attributes" else 0
    measure.insert(place, copy)


def _drop_divisions(measure: etree._Element, attributes: etree._Element) -> None:
    """Leave out divisions that change nothing; some programs repeat them in every measure."""
    for divisions in attributes.findall("divisions"):
        attributes.remove(divisions)
    if not len(attributes):
        measure.remove(attributes)


def _insert_tempo(measure: etree._Element, tempo: str) -> None:
    """Start with a silent tempo; one that stands in the measure itself comes after it and wins."""
    if not tempo:
        return
    direction = etree.Element("direction")
    etree.SubElement(etree.SubElement(direction, "direction-type"), "words")
    etree.SubElement(direction, "sound", tempo=tempo)
    measure.insert(1 if len(measure) and measure[0].tag == "attributes" else 0, direction)


def _number(value: Fraction) -> str:
    return str(value.numerator) if value.denominator == 1 else f"{float(value):.6f}"


def _write_notes(measure: etree._Element, ref: int, lyrics: "_Lyrics", in_force: Attributes, *, opening: bool) -> int:
    """Give ids to the notes, hang the marks on them; return the ordinal of the next note."""
    walk = Walk(in_force)
    head: etree._Element | None = None
    for child in list(measure):
        before = in_force.divisions
        onset = walk.step(child)
        if child.tag == "attributes" and in_force.divisions == before and not opening:
            _drop_divisions(measure, child)
        if child.tag != "note":
            continue
        if child.find("chord") is None or head is None:
            head = child
        lyrics.keep(child)
        child.set("id", f"n{ref}")
        place = (str(measure.get("id")), child.findtext("staff") or "1",
                 str(ref) if child.find("grace") is not None else str(onset))
        lyrics.add(head, ref, place)
        ref += 1
    return ref


class _Lyrics:
    """Writes marks as lyrics and remembers which rows are taken at a place, so that none lies on another."""

    def __init__(self, by_ref: dict[int, list[Mark]], rows: dict[int, int]) -> None:
        self._by_ref = by_ref
        self._rows = rows
        self._taken: set[tuple[tuple[str, str, str], int]] = set()
        self._depth = len(rows)
        self._others: list[etree._Element] = []

    def keep(self, note: etree._Element) -> None:
        """Remember the lyrics the note came with."""
        self._others.extend(lyric for lyric in note.findall("lyric") if not _ours(lyric))

    def add(self, note: etree._Element, ref: int, place: tuple[str, str, str]) -> None:
        """Hang the marks of `ref` on `note` (of a chord: its first note)."""
        for mark in sorted(self._by_ref.get(ref, ()), key=lambda found: found.line):
            row = self._rows[mark.line]
            while (place, row) in self._taken:
                row += 1
            self._taken.add((place, row))
            self._depth = max(self._depth, row)
            _insert_lyric(note, mark, row)

    def move_others(self) -> None:
        """Renumber the part's own lyrics to the verses below our rows, in the order they had."""
        def rank(number: str) -> tuple[int, str]:
            return (int(number), "") if number.isdigit() else (10**6, number)

        numbers = sorted({lyric.get("number", "1") for lyric in self._others}, key=rank)
        for lyric in self._others:
            lyric.set("number", str(self._depth + 1 + numbers.index(lyric.get("number", "1"))))


def _ours(lyric: etree._Element) -> bool:
    return (lyric.get("name") or "").split(" ")[0] == MARK_NAME


def _insert_lyric(note: etree._Element, mark: Mark, row: int) -> None:
    words = [MARK_NAME]
    if not mark.playable:
        words.append("unplayable")
    elif mark.changed:
        words.append("changed")
    words.extend((f"line-{mark.line}", f"ref-{mark.ref}"))
    lyric = etree.Element("lyric", number=str(row), name=" ".join(words), placement="below")
    etree.SubElement(lyric, "syllabic").text = "single"
    etree.SubElement(lyric, "text").text = mark.text
    before = [child for child in note if child.tag not in ("play", "listen")
              and not (child.tag == "lyric" and not _ours(child))]
    note.insert(note.index(before[-1]) + 1, lyric)


def _frame(document: Document, part_id: str, title: str, subtitle: str) -> etree._Element:
    """Return the score element with title, makers' names and the one entry of the part list."""
    root = etree.Element("score-partwise", version="4.0")
    if title:
        etree.SubElement(etree.SubElement(root, "work"), "work-title").text = title
    creators = _creators(document)
    if creators:
        identification = etree.SubElement(root, "identification")
        for kind, name in creators:
            etree.SubElement(identification, "creator", type=kind).text = name
    if subtitle:
        credit = etree.SubElement(root, "credit", page="1")
        etree.SubElement(credit, "credit-type").text = "subtitle"
        etree.SubElement(credit, "credit-words", justify="center", valign="top").text = subtitle
    entry = document.root.find(f"part-list/score-part[@id='{part_id}']") if "'" not in part_id else None
    listed = etree.SubElement(root, "part-list")
    if entry is None:
        entry = etree.Element("score-part", id=part_id)
        etree.SubElement(entry, "part-name")
    copy = deepcopy(entry)
    copy.tail = None
    for tag in ("part-name-display", "part-abbreviation", "part-abbreviation-display", "group", "player"):
        for found in copy.findall(tag):
            copy.remove(found)
    printed = copy.find("part-name")
    if printed is not None:
        # The header names the part; a label in front of every line would only take room from the music.
        printed.text = None
        printed.set("print-object", "no")
    listed.append(copy)
    return root


def _creators(document: Document) -> Sequence[tuple[str, str]]:
    found = []
    for creator in document.root.iterfind("identification/creator"):
        text = " ".join((creator.text or "").split())
        if text and creator.get("type") in ("composer", "arranger"):
            found.append((str(creator.get("type")), text))
    return found

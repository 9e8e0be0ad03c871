"""The engraving copy: one part of a score as MusicXML of its own, for the engraver, and the marks to draw under it.

The copy is only looked at, never delivered. Every note has the id ``n{ref}`` and every measure the id ``m{index}``. Our
marks are no part of the music: they are drawn into the engraved picture (`marks`), so that other marks need no new
engraving.
"""

import re
from collections.abc import Iterable
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from lxml import etree

from analyzer.engrave.context import ORDER, Attributes, directions_for_all, tempo_before
from analyzer.engrave.rests import joined_rests
from analyzer.engrave.tempo import print_tempo
from analyzer.marking.mark import Mark
from analyzer.score.document import Document
from analyzer.score.own_marks import is_ours

_BETWEEN = re.compile(r">\n\s*<")
_DROPPED = frozenset({"print", "link", "bookmark", "listening", "grouping"})
_STAND_INS = frozenset({"multiple-rest", "measure-repeat", "beat-repeat", "slash"})
"""Styles of a measure that draw a sign in the place of its notes, which then could not be marked."""
_BLACK = frozenset({"#000000", "#FF000000"})
# A part has thousands of notes, few of them such: the library finds them in a tenth of the time.
_marked_notes: Any = etree.XPath("note[lyric or notations/technical/fingering]")
_odd_notes: Any = etree.XPath("note[chord or notehead]")
_named_or_coloured: Any = etree.XPath(".//*[@id or @color]")
_STEMLESS = frozenset({"whole", "breve", "long", "maxima"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """What is engraved: the music, the marks under it, and what stands on top of the first page.

    `musicxml` is partwise MusicXML without a title; the same part and measures give the same text whatever the marks.
    With `part` the heading is that of a printed part: its name at the left, the subtitle small below it. `running` is
    the running head from the second page on.
    `row_names` stand at the left of the rows of marks, by line from 1; without them several rows tell their player's
    number. `notice` stands at the foot of the first page of paper. `ranges` are the printed
    numbers of the measures of long rests, by the id of the rest.
    """

    musicxml: str
    marks: tuple[Mark, ...] = ()
    title: str = ""
    subtitle: str = ""
    movement: str = ""
    part: str = ""
    running: str = ""
    makers: tuple[str, ...] = ()
    row_names: tuple[str, ...] = ()
    notice: str = ""
    ranges: tuple[tuple[str, str], ...] = ()


def engraving_copy(
    document: Document,
    part_id: str,
    marks: Iterable[Mark] = (),
    *,
    measures: tuple[int, int] | None = None,
    title: str = "",
    subtitle: str = "",
    notice: str = "",
    fold: bool = True,
    tempo: str = "",
    own_tempo: bool = False,
    movement: str = "",
    part: str = "",
    running: str = "",
    continued: bool = False,
) -> Copy:
    """Return one part, or some measures of it, ready to be engraved.

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
    movement, part, running : str
        Name of the movement and of the part for the heading of a printed part; head of its further pages.
    notice : str
        Printed at the foot of the first page of paper.
    fold : bool
        Join empty measures into rests of several measures. Copies for sound leave them as they are, and start with
        the tempo in force.
    tempo : str
        A tempo to print over the first measure.
    own_tempo : bool
        It holds throughout: the metronome marks of the score are left out.
    continued : bool
        Another picture stands before this one: the time signature in force is not printed again.

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
    # Marks change with every question about the same music; the music itself is copied once.
    key = f"engrave.copy {part_id} {first} {last} {fold} {own_tempo} {continued} {tempo}"
    if key not in document.memo:
        document.memo[key] = _music(document, part_id, first, last, fold, tempo, own_tempo, continued)
    musicxml, refs, ranges = document.memo[key]
    return Copy(musicxml=musicxml, title=_plain(title), subtitle=_plain(subtitle), notice=_plain(notice),
                movement=_plain(movement), part=_plain(part), running=_plain(running),
                makers=_makers(document), ranges=ranges,
                marks=tuple(mark for mark in marks if mark.part_id == part_id and mark.ref in refs))


def _music(document: Document, part_id: str, first: int, last: int, fold: bool, tempo: str, own_tempo: bool,
           continued: bool) -> tuple[str, range, tuple[tuple[str, str], ...]]:
    """Return the measures as MusicXML, the ordinals of their notes, and the numbers under long rests."""
    shared = directions_for_all(document, part_id, first, last)
    in_force = Attributes()
    written: list[etree._Element] = []
    ref = opened = 0
    for index, source in enumerate(document.part_measures(part_id)[:last + 1]):
        if index < first:
            for child in source:
                if child.tag == "attributes":
                    in_force.take(child)
                elif child.tag == "note":
                    ref += 1
            continue
        measure = _measure(document, source, index)
        if index == first:
            opened = ref
            in_force.open_with(measure)
            if continued and source.find("attributes/time") is None:
                for time in measure.findall("attributes/time"):
                    time.set("print-object", "no")
            if not fold and first:
                _insert_tempo(measure, tempo_before(document, first))
        for direction, onset in shared.get(index, ()):
            _insert_direction(measure, direction, onset, in_force.divisions)
        ref = _name_notes(measure, ref, in_force, opening=index == first)
        written.append(measure)
    if tempo or own_tempo:
        print_tempo(written, tempo, alone=own_tempo)
    ranges: tuple[tuple[str, str], ...] = ()
    if fold and not any(measure.find("attributes/staves") is not None for measure in written):
        written, ranges = joined_rests(written)
    root = _frame(document, part_id)
    part = etree.SubElement(root, "part", id=part_id)
    part.extend(written)
    # Line breaks between elements are a fifth of some files, and the engraver reads them, too.
    return _BETWEEN.sub("><", etree.tostring(root, encoding="unicode")), range(opened, ref), ranges


def _measure(document: Document, source: etree._Element, index: int) -> etree._Element:
    """Return a measure of our own with copies of the source's children, without layout and our older marks."""
    measure = etree.Element("measure")
    kept = document.measure_element(source)
    # Of "non-controlling" the engraver (verovio 6.4) would end the whole process.
    for name in ("number", "implicit"):
        if (value := kept.get(name)) is not None:
            measure.set(name, value)
    measure.set("id", f"m{index}")
    for child in list(deepcopy(source)):
        if isinstance(child.tag, str) and child.tag not in _DROPPED:
            child.tail = None
            measure.append(child)
    for direction in measure.findall("direction"):
        _forget_layout(direction)
        _set_apart(direction)
    _join_attributes(measure)
    for attributes in measure.findall("attributes"):
        for style in attributes.findall("measure-style"):
            if any(child.tag in _STAND_INS for child in style):
                attributes.remove(style)
    for note in _marked_notes(measure):
        _without_our_marks(note)
    for note in _odd_notes(measure):
        _drawable(note)
    for element in _named_or_coloured(measure):
        # Ids are ours to give; black is what every page draws with anyway, in the colour of its text.
        if "id" in element.attrib:
            del element.attrib["id"]
        if element.get("color", "").upper() in _BLACK:
            del element.attrib["color"]
    return measure


def _without_our_marks(note: etree._Element) -> None:
    for technical in note.findall("notations/technical"):
        for fingering in technical.findall("fingering"):
            if is_ours(fingering):
                technical.remove(fingering)
    for lyric in note.findall("lyric"):
        if is_ours(lyric):
            note.remove(lyric)


def _drawable(note: etree._Element) -> None:
    """Write a note so that the engraver draws it: what shows nothing unseen, beams of a chord at its first note only.

    With beams at each of its notes the engraver (verovio 6.4) loses chords, and the notes after them.
    """
    if note.find("chord") is not None:
        for beam in note.findall("beam"):
            note.remove(beam)
    head = note.find("notehead")
    if head is not None and (head.text or "").strip() == "none" and (
            note.findtext("type", "whole").strip() in _STEMLESS or note.findtext("stem", "").strip() == "none"):
        note.remove(head)
        note.set("print-object", "no")


def _forget_layout(direction: etree._Element) -> None:
    """Drop sizes and places that were chosen for another page."""
    for element in direction.iter(etree.Element):
        for name in [str(name) for name in element.attrib]:
            if name.startswith(("font-size", "font-family", "default-", "relative-")):
                del element.attrib[name]
    for letter in direction.iter("rehearsal"):
        # Boxed, as the standard has it where nothing is said (MusicXML 4.0, `rehearsal`) and parts print it.
        letter.set("enclosure", "square")


def _set_apart(direction: etree._Element) -> None:
    """Put room between words and the metronome mark behind them; the engraver (verovio 6.4) sets it onto them."""
    kinds = direction.findall("direction-type")
    for kind, after in pairwise(kinds):
        for words in kind.findall("words")[-1:]:
            if after.find("metronome") is not None and words.text:
                words.text = words.text.rstrip() + "\u00a0\u00a0"


def _join_attributes(measure: etree._Element) -> None:
    """Make one of attributes that follow each other.

    After a key and a time in two elements the engraver (verovio 6.4) draws long rests without any width.
    """
    for first in measure.findall("attributes"):
        while (after := first.getnext()) is not None and after.tag == "attributes":
            here = {(str(child.tag), child.get("number")) for child in after}
            for child in [child for child in first if (str(child.tag), child.get("number")) in here]:
                first.remove(child)
            first.extend(list(after))
            first[:] = sorted(first, key=lambda child: ORDER.index(str(child.tag)) if child.tag in ORDER else -1)
            measure.remove(after)


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


def _name_notes(measure: etree._Element, ref: int, in_force: Attributes, *, opening: bool) -> int:
    """Give ids to the notes; return the ordinal of the next note. `in_force` is kept up to date."""
    for child in list(measure):
        if child.tag == "note":
            child.set("id", f"n{ref}")
            ref += 1
        elif child.tag == "attributes":
            before = in_force.divisions
            in_force.take(child)
            if in_force.divisions == before and not opening:
                _drop_divisions(measure, child)
    return ref


def _frame(document: Document, part_id: str) -> etree._Element:
    """Return the score element with the one entry of the part list."""
    root = etree.Element("score-partwise", version="4.0")
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


def _makers(document: Document) -> tuple[str, ...]:
    """Return the names at the right above the music, an arranger's told as such."""
    found = []
    for creator in document.root.iterfind("identification/creator"):
        name = _plain(creator.text or "")
        if name and creator.get("type") in ("composer", "arranger"):
            found.append(f"arr. {name}" if creator.get("type") == "arranger" else name)
    return tuple(found)


def _plain(text: str) -> str:
    """Return text on one line."""
    return " ".join(text.split())

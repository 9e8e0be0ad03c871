"""A practice sheet as MusicXML: built with music21, mended, and marked as an annotated score is."""

import importlib
import re
from collections.abc import Iterable, Sequence
from typing import Any

from lxml import etree

from analyzer.guard import guarded
from analyzer.marking.annotate import annotated
from analyzer.marking.mark import Mark
from analyzer.marking.which import aim_said
from analyzer.practice.builder import Exercise
from analyzer.practice.drills import WARM_UP, Drills
from analyzer.practice.weeks import WEEKS_SAID, Day, by_week
from analyzer.problem import unreadable
from analyzer.report.drill.stream import PART, sheet_stream
from analyzer.score.document import Document, read_document
from analyzer.score.naming import read_name
from analyzer.score.vocabulary import GENERAL_MIDI_TROMBONE
from analyzer.words import shown

_SOUNDS = {"trombone": "brass.trombone", "bass trombone": "brass.trombone.bass", "euphonium": "brass.euphonium",
           "baritone": "brass.baritone-horn"}
_HEADING = re.compile(r"\d+\. ")
_A4_TENTHS = (1200, 1697)              # 210 x 297 mm at 7 mm a staff of 40 tenths


def sheet_musicxml(drills: Drills, days: Sequence[Day] = ()) -> bytes:
    """Return the sheet as MusicXML 4.0, marked as an annotated score is. Equal drills give equal bytes.

    The weeks stand at the foot where `days` has some.

    Raises
    ------
    ImportError
        If music21 (extra `build`) is not installed.
    """
    return annotated(*sheet_score(drills, days))


def sheet_score(drills: Drills, days: Sequence[Day] = (), *, headings: bool = True) -> tuple[Document, list[Mark]]:
    """Return the music of the sheet and its marks; without `headings`, the words above exercises are left out.

    Raises
    ------
    ImportError
        If music21 (extra `build`) is not installed.
    """
    raw = guarded(_exported, drills.exercises, sheet_title(drills), part_name(drills), drills.kit.clef,
                  drills.kit.fifths, headings, where=drills.document.name, doing="writing the sheet")
    document = read_document(_finished(raw, drills, days, headings=headings), "sheet.musicxml")
    # Only the passage as written sounds in the chords of its music: there a note says how far it is moved for them.
    labels = [(shown(one.choice.label), aim_said(one) if exercise.kind == "passage" else "")
              for exercise in drills.exercises for row in exercise.measures for one in row
              if one.choice is not None and not one.tied]
    refs = [ref for ref, note in enumerate(document.notes(PART))
            if note.find("pitch") is not None and note.find("tie[@type='stop']") is None]
    return document, [Mark(part_id=PART, ref=ref, line=1, text=label, aim=aim)
                      for ref, (label, aim) in zip(refs, labels, strict=True)]


def _exported(exercises: Sequence[Exercise], title: str, name: str, clef: str, fifths: int, headings: bool) -> bytes:
    """Build the music with music21 and export it; done in a worker process."""
    exporter: Any = importlib.import_module("music21.musicxml.m21ToXml")
    stream = sheet_stream(exercises, title, name, clef=clef, fifths=fifths, headings=headings)
    exceptions: Any = importlib.import_module("music21.exceptions21")
    try:
        found: bytes = exporter.GeneralObjectExporter(stream).parse()
    except exceptions.Music21Exception as error:
        raise unreadable("cannot-write-sheet", where=title, what=f"this music cannot be written as a sheet: {error}",
                         try_="Leave out the measures with odd note lengths (--measures).",
                         ) from None
    return found


def sheet_title(drills: Drills) -> str:
    """Return the title of the sheet."""
    source = drills.document.title or drills.document.name
    return f"Drills for {source}"


def part_name(drills: Drills) -> str:
    """Return the part's own name, or the horn's where that name would not be known again as low brass."""
    part, kind = drills.planned.part, drills.planned.plan.horn.kind
    name = part.full_name or part.name
    return name if read_name(name).family == kind else kind.capitalize()


def _finished(raw: bytes, drills: Drills, days: Sequence[Day], *, headings: bool) -> bytes:
    """Take out what changes from run to run, and put in what the builder does not write."""
    root = etree.fromstring(raw)
    for gone in ("movement-title", "identification", "defaults"):
        for element in root.findall(gone):
            root.remove(element)
    for comment in list(root.iter(etree.Comment)):
        parent = comment.getparent()
        if parent is not None:
            _without(parent, comment)
    part_list = root.find("part-list")
    assert part_list is not None
    _score_part(part_list, drills)
    place = root.index(part_list)
    root.insert(place, _made("identification", encoding=[("software", "lowbrass")]))
    root.insert(place + 1, _defaults())
    for k, (kind, text, at) in enumerate(_credits(drills, days)):
        root.insert(place + 2 + k, _credit(kind, text, at))
    for part in root.iterfind("part"):
        part.set("id", PART)
    _transpose(root, drills)
    if headings:
        _join_headings(root)
        _caution(root, drills)
    etree.indent(root)
    doctype = ('<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
               '"http://www.musicxml.org/dtds/partwise.dtd">')
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", doctype=doctype)


def _join_headings(root: Any) -> None:
    """Order the words where an exercise begins: what is nearest to the staff comes first, as engravers stack upwards.

    Heading and metronome mark become one direction: one row of print instead of two.
    """
    for metronome in root.findall("part/measure/direction/direction-type/metronome"):
        mark = metronome.xpath("ancestor::direction")[0]
        measure = mark.getparent()
        heading = next(one for one in measure.iterchildren("direction") if _HEADING.match(_words(one)))
        kind = heading.find("direction-type")
        for text in kind:
            text.set("font-weight", "bold")
            text.set("font-style", "normal")
            text.text = f"{text.text}   "
        mark.set("placement", "above")
        mark.insert(0, kind)
        measure.remove(heading)
        first = measure.find("note")
        opening = [one for one in measure.iterchildren("direction") if measure.index(one) < measure.index(first)]
        opening.sort(key=lambda one: 2 if one is mark else 0 if one.find("direction-type/words[@font-size]") is not None
                     else 1)
        for one in opening:
            measure.remove(one)
            measure.insert(measure.index(first), one)


def _words(direction: Any) -> str:
    return direction.findtext("direction-type/words") or ""


def _caution(root: Any, drills: Drills) -> None:
    """Put warm-up and first caution above the first system: the foot of a page is not shown by every program."""
    mark = root.xpath("part/measure/direction[direction-type/metronome]")[0]
    direction = etree.Element("direction", placement="above")
    kind = etree.SubElement(direction, "direction-type")
    for text in (f"{WARM_UP} ", drills.cautions[0]):
        etree.SubElement(kind, "words", {"font-size": "8"}).text = text
    mark.addnext(direction)


def _without(parent: etree._Element, child: etree._Element) -> None:
    child.tail = None
    parent.remove(child)


def _made(tag: str, **children: Iterable[tuple[str, str]]) -> etree._Element:
    element = etree.Element(tag)
    for name, texts in children.items():
        inner = etree.SubElement(element, name)
        for child, text in texts:
            etree.SubElement(inner, child).text = text
    return element


def _defaults() -> etree._Element:
    width, height = _A4_TENTHS
    defaults = _made("defaults", scaling=[("millimeters", "7"), ("tenths", "40")])
    page = etree.SubElement(defaults, "page-layout")
    etree.SubElement(page, "page-height").text = str(height)
    etree.SubElement(page, "page-width").text = str(width)
    margins = etree.SubElement(page, "page-margins", type="both")
    for side in ("left", "right", "top", "bottom"):
        etree.SubElement(margins, f"{side}-margin").text = "70"
    return defaults


def _credits(drills: Drills, days: Sequence[Day]) -> list[tuple[str, str, tuple[int, int]]]:
    width, height = _A4_TENTHS
    plan = drills.planned.plan
    under = f"{part_name(drills)} – {plan.horn.description}"
    foot = [("rights", text) for text in reversed(drills.cautions)] + [
        ("remark", text) for text in reversed(drills.remarks)]
    if days:
        weeks = [f"Weeks. {WEEKS_SAID}", *(f"{name}: {' | '.join(cells)}" for name, *cells in by_week(days))]
        foot += [("weeks", text) for text in reversed(weeks)]
    lowest = 110 - 22 * (len(drills.cautions) - 1)
    return [("title", sheet_title(drills), (width // 2, height - 70)), ("subtitle", under, (width // 2, height - 120)),
            *((kind, text, (width // 2, lowest + 22 * k)) for k, (kind, text) in enumerate(foot))]


def _credit(kind: str, text: str, at: tuple[int, int]) -> etree._Element:
    credit = etree.Element("credit", page="1")
    etree.SubElement(credit, "credit-type").text = kind
    size = {"title": "20", "subtitle": "11"}.get(kind, "7")
    words = etree.SubElement(credit, "credit-words", {
        "default-x": str(at[0]), "default-y": str(at[1]), "font-size": size, "justify": "center", "valign": "bottom"})
    words.text = text
    return credit


def _score_part(part_list: etree._Element, drills: Drills) -> None:
    for child in list(part_list):
        part_list.remove(child)
    kind = drills.planned.plan.horn.kind
    score_part = etree.SubElement(part_list, "score-part", id=PART)
    etree.SubElement(score_part, "part-name").text = part_name(drills)
    instrument = etree.SubElement(score_part, "score-instrument", id=f"{PART}-I1")
    etree.SubElement(instrument, "instrument-name").text = kind.capitalize()
    etree.SubElement(instrument, "instrument-sound").text = _SOUNDS[kind]
    midi = etree.SubElement(score_part, "midi-instrument", id=f"{PART}-I1")
    etree.SubElement(midi, "midi-channel").text = "1"
    etree.SubElement(midi, "midi-program").text = str(GENERAL_MIDI_TROMBONE)


def _transpose(root: etree._Element, drills: Drills) -> None:
    moved = drills.kit.transposition
    if not moved.diatonic and not moved.chromatic:
        return
    attributes = root.find("part/measure/attributes")
    assert attributes is not None
    octaves = int(moved.chromatic / 12)            # towards zero, so that the rest keeps its sign
    transpose = etree.SubElement(attributes, "transpose")
    etree.SubElement(transpose, "diatonic").text = str(moved.diatonic - 7 * octaves)
    etree.SubElement(transpose, "chromatic").text = str(moved.chromatic - 12 * octaves)
    if octaves:
        etree.SubElement(transpose, "octave-change").text = str(octaves)

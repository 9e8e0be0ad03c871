"""One player's line alone: a staff that several share is taken apart, and rests fill what the others played.

The result is partwise MusicXML of one part in one voice on one staff, spelled as in the source. Every note that came
from the line bears the id ``r{ref}``, by which `notation` finds it again; `finished` takes the ids away.
"""

from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from analyzer.engrave.context import Attributes, directions_for_all
from analyzer.score.division import player_word
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.timeline import Part
from analyzer.score.vocabulary import one_line
from analyzer.writing.rests import rests_between, units

_KEPT = frozenset({"attributes", "direction", "harmony", "sound", "barline"})
_HEAD_OF_CHORD = ("articulations", "ornaments", "dynamics", "fermata", "arpeggiate", "tuplet", "slur",
                  "other-notation", "accidental-mark")
_LAYOUT = ("default-x", "default-y", "relative-x", "relative-y", "font-size", "font-family", "width")
_ORDER = ("grace", "cue", "pitch", "unpitched", "rest", "duration", "tie", "instrument", "footnote", "level", "voice",
          "type", "dot", "accidental", "time-modification", "stem", "notehead", "notehead-text", "staff", "beam",
          "notations", "lyric", "play", "listen")


@dataclass(slots=True)
class _Event:
    """A note or a source rest of the line: where it stands in the measure [quarter notes], and its copy."""

    onset: Fraction
    length: Fraction
    note: etree._Element
    grace: bool = False


@dataclass(slots=True)
class _Measure:
    """What one measure of the source holds for the line. Places count quarter notes from the start of the measure."""

    events: list[_Event] = field(default_factory=list)
    rests: list[_Event] = field(default_factory=list)
    others: list[tuple[Fraction, etree._Element]] = field(default_factory=list)
    voices: set[str] = field(default_factory=set)


def line_alone(document: Document, part: Part, line: Line, *, name: str = "") -> etree._Element:
    """Return the line as a score of its own.

    Parameters
    ----------
    document : Document
        The score; it is not changed.
    part : Part
        The part of the line, as `read_part` has it.
    line : Line
        Whose notes are kept; it holds the whole part, not some measures of it.
    name : str
        Printed name of the part; that of the source where left out.
    """
    refs = {ref for note in line.notes for ref in note.refs}
    slashes = {note.ref for note in part.notes if note.slash}
    staves = {note.staff for note in part.notes if note.ref in refs} or {1}
    divided = line.of > 1 or line.player is not None
    root = _frame(document, line, name)
    music = etree.SubElement(root, "part", id="P1")
    shared = directions_for_all(document, line.part_id, 0, len(part.measures) - 1)
    in_force = Attributes()
    ref = -1
    for index, source in enumerate(document.part_measures(line.part_id)):
        printed = part.measures[index]
        found = _Measure()
        ref = _collect(found, source, in_force, ref, refs, slashes, staves)
        target = etree.SubElement(music, "measure", number=printed.number)
        kept = document.measure_element(source)
        for attribute in ("implicit", "non-controlling", "text"):
            if (value := kept.get(attribute)) is not None:
                target.set(attribute, value)
        others = found.others + [(onset, _for_all(direction)) for direction, onset in shared.get(index, ())]
        if divided:
            others = _own_directions(others, found.voices)
        _fill(target, found, others, printed.duration, in_force, compound=_compound(in_force))
    _close_slurs(music)
    _own_tempi(music, part, in_force)
    return root


def finished(root: etree._Element) -> bytes:
    """Return the score as a file, without the ids that tell where notes came from."""
    for note in root.iter("note"):
        if note.get("id") is not None:
            del note.attrib["id"]
    etree.indent(root, space=" ")
    return etree.tostring(
        root, encoding="UTF-8", xml_declaration=True,
        doctype='<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
                '"http://www.musicxml.org/dtds/partwise.dtd">')


def _collect(found: _Measure, source: etree._Element, in_force: Attributes, ref: int, refs: set[int],
             slashes: set[int], staves: set[int]) -> int:
    """Sort the children of a measure; return the ordinal of its last note."""
    at = chord_at = Fraction(0)
    head: etree._Element | None = None
    for child in source:
        tag = child.tag
        if tag == "attributes":
            in_force.take(child)
        if tag in ("backup", "forward"):
            length = _length(child, in_force)
            at = max(Fraction(0), at - length) if tag == "backup" else at + length
        elif tag == "note":
            ref += 1
            chord = child.find("chord") is not None and head is not None
            grace = child.find("grace") is not None
            length = Fraction(0) if grace else _length(child, in_force)
            onset = chord_at if chord else at
            if not chord:
                head, chord_at = child, at
                at += length
            voice = (child.findtext("voice") or "1").strip()
            if ref in refs:
                found.events.append(_Event(onset, length, _own_note(child, head if chord else None, ref), grace))
                found.voices.add(voice)
            elif child.get("print-object") != "no" and int(child.findtext("staff") or "1") in staves:
                if ref in slashes or (child.find("cue") is not None and not chord):
                    found.rests.append(_Event(onset, length, _own_note(child, None, None), grace))
                elif child.find("rest") is not None and not grace:
                    found.rests.append(_Event(onset, length, _own_note(child, None, None)))
        elif tag in _KEPT:
            staff = child.findtext("staff") if tag != "attributes" else None
            if staff is None or int(staff) in staves:
                copied = _plain(child)
                if tag == "attributes":
                    _of_staves(copied, staves)
                if len(copied) or tag in ("sound", "barline"):
                    found.others.append((at, copied))
    return ref


def _own_note(source: etree._Element, head: etree._Element | None, ref: int | None) -> etree._Element:
    """Return a note that stands alone: what its chord shares is written on it, and nothing tells of other voices."""
    note = _plain(source)
    for tag in ("chord", "stem", "staff", "instrument", "play", "listen", "footnote", "level"):
        for child in note.findall(tag):
            note.remove(child)
    voice = note.find("voice")
    if voice is None:
        voice = etree.SubElement(note, "voice")
    voice.text = "1"
    if head is not None:
        notations = note.find("notations")
        if notations is not None:
            notations[:] = [child for child in notations if child.tag not in _HEAD_OF_CHORD]
        for shared in head.iterfind("notations/*"):
            if shared.tag in _HEAD_OF_CHORD:
                if notations is None:
                    notations = etree.SubElement(note, "notations")
                notations.append(_plain(shared))
        for tag in ("beam", "lyric"):
            if note.find(tag) is None:
                note.extend(_plain(child) for child in head.iterfind(tag))
    note[:] = sorted(note, key=lambda child: _ORDER.index(str(child.tag)) if child.tag in _ORDER else len(_ORDER))
    if ref is not None:
        note.set("id", f"r{ref}")
    return note


def _fill(target: etree._Element, found: _Measure, others: Sequence[tuple[Fraction, etree._Element]], length: Fraction,
          in_force: Attributes, *, compound: bool) -> None:
    """Write a measure: notes in their order, rests in the gaps, the rest of the signs where they stand."""
    form = {"compound": compound, "pickup": target.get("implicit") == "yes"}
    events = sorted(found.events, key=lambda event: (event.onset, not event.grace))
    stream: list[tuple[Fraction, Fraction, etree._Element]] = []       # begin, end, element
    at = Fraction(0)
    for event in events:
        if not event.grace or event.onset > at:
            stream += _gap(at, event.onset, found.rests, length, in_force.divisions, form)
            at = max(at, event.onset)
        stream.append((event.onset, event.onset + event.length, event.note))
        at = max(at, event.onset + event.length)
    stream += _gap(at, length, found.rests, length, in_force.divisions, form)
    waiting = sorted(others, key=lambda other: other[0])
    for begin, end, element in stream:
        while waiting and (waiting[0][0] <= begin or waiting[0][0] < end):
            at, other = waiting[0]
            if at > begin and other.tag == "barline":
                break
            waiting.pop(0)
            for tag in ("staff", "voice"):
                for told in other.findall(tag):
                    other.remove(told)
            if at > begin and other.tag in ("direction", "harmony", "sound"):
                stand_later(other, at - begin, in_force.divisions)
            target.append(other)
        target.append(element)
    target.extend(other for _, other in waiting)
    # Barlines of the end stand at the end, whatever the order in the source.
    for bar in [child for child in target if child.tag == "barline" and child.get("location", "right") == "right"]:
        target.append(bar)


def _gap(start: Fraction, end: Fraction, rests: Sequence[_Event], bar: Fraction, divisions: Fraction,
         form: Mapping[str, bool]) -> Iterator[tuple[Fraction, Fraction, etree._Element]]:
    """Fill a gap with the source's own rests and cues where they fit, with new rests elsewhere."""
    if start >= end:
        return
    whole = start == 0 and end == bar and not form["pickup"]
    cues = any(start <= rest.onset < end and rest.note.find("rest") is None for rest in rests)
    at = start
    if not whole or cues:
        for rest in sorted(rests, key=lambda rest: (rest.onset, rest.note.find("rest") is not None, -rest.length)):
            if rest.onset < at or rest.onset + rest.length > end or not (rest.length or rest.grace):
                continue
            inner = rest.note.find("rest")
            if inner is not None and inner.get("measure") == "yes" and not whole:
                continue
            yield from _new_rests(at, rest.onset, bar, divisions, form)
            yield rest.onset, rest.onset + rest.length, rest.note
            at = rest.onset + rest.length
    yield from _new_rests(at, end, bar, divisions, form)


def _new_rests(start: Fraction, end: Fraction, bar: Fraction, divisions: Fraction,
               form: Mapping[str, bool]) -> Iterator[tuple[Fraction, Fraction, etree._Element]]:
    at = start
    for rest in rests_between(start, end, bar, divisions, **form) if start < end else ():
        length = Fraction(rest.findtext("duration") or "0") / divisions
        yield at, at + length, rest
        at += length


def _own_directions(others: Sequence[tuple[Fraction, etree._Element]],
                    voices: set[str]) -> list[tuple[Fraction, etree._Element]]:
    """Leave out words about how many play, the other player's dynamics, and what is said twice."""
    kept: list[tuple[Fraction, etree._Element]] = []
    seen: set[tuple[Fraction, str]] = set()
    for at, other in others:
        if other.tag == "direction":
            for kind in other.findall("direction-type"):
                for words in kind.findall("words"):
                    if player_word(words.text or "") is not None:
                        kind.remove(words)
                if not len(kind):
                    other.remove(kind)
            if other.find("direction-type") is None:
                continue
            voice = other.findtext("voice")
            if voice is not None and voices and voice.strip() not in voices:
                continue
            said = "".join(etree.tostring(kind, encoding="unicode") for kind in other.findall("direction-type"))
            if "wedge" not in said and (at, said) in seen:
                continue
            seen.add((at, said))
        kept.append((at, other))
    return kept


def _close_slurs(music: etree._Element) -> None:
    """Take away the ends of slurs, ties and beams whose other end another player has."""
    open_slurs: dict[str, etree._Element] = {}
    before: etree._Element | None = None
    for note in music.iterfind("measure/note"):
        for slur in note.findall("notations/slur"):
            name = slur.get("number", "1")
            if slur.get("type") == "start":
                if name in open_slurs:
                    _drop(open_slurs.pop(name))
                open_slurs[name] = slur
            elif slur.get("type") == "stop":
                if name in open_slurs:
                    del open_slurs[name]
                else:
                    _drop(slur)
        held = before is not None and any(tie.get("type") == "start" for tie in before.iterchildren("tie"))
        if before is not None and note.find("grace") is None:
            stops = any(tie.get("type") == "stop" for tie in note.iterchildren("tie"))
            same = _pitch_text(before) == _pitch_text(note)
            if held and not (stops and same):
                _untie(before, "start")
            if stops and not (held and same):
                _untie(note, "stop")
        if note.find("grace") is None:
            before = note
    if before is not None:
        _untie(before, "start")
    for slur in open_slurs.values():
        _drop(slur)


def _untie(note: etree._Element, kind: str) -> None:
    for tie in [*note.findall("tie"), *note.findall("notations/tied")]:
        if tie.get("type") == kind:
            _drop(tie)


def _drop(element: etree._Element) -> None:
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)
    if parent.tag == "notations" and not len(parent) and (note := parent.getparent()) is not None:
        note.remove(parent)


def _pitch_text(note: etree._Element) -> str:
    pitch = note.find("pitch")
    return "" if pitch is None else "|".join((child.text or "").strip() for child in pitch)


def _own_tempi(music: etree._Element, part: Part, in_force: Attributes) -> None:
    """Write the tempi that stand in other parts only, as sounds that nothing prints."""
    measures = music.findall("measure")
    for tempo in part.tempi:
        measure = next((printed for printed in part.measures
                        if printed.onset <= tempo.onset < printed.onset + printed.duration), None)
        if measure is None:
            continue
        target = measures[measure.index]
        if any(sound.get("tempo") for sound in target.iter("sound")):
            continue
        sound = etree.Element("sound", tempo=f"{tempo.bpm:g}")
        if tempo.onset > measure.onset:
            etree.SubElement(sound, "offset").text = units(tempo.onset - measure.onset, in_force.divisions)
        target.insert(1 if len(target) and target[0].tag == "attributes" else 0, sound)


def _for_all(direction: etree._Element) -> etree._Element:
    copied = _plain(direction)
    copied.set("placement", "above")
    for tag in ("offset", "staff", "voice"):
        for child in copied.findall(tag):
            copied.remove(child)
    return copied


def _of_staves(attributes: etree._Element, staves: set[int]) -> None:
    """Keep what holds for the staves of the line, without the staves' numbers."""
    for child in list(attributes):
        number = child.get("number")
        elsewhere = number is not None and number.isdecimal() and int(number) not in staves
        style = child.tag == "measure-style" and child.find("measure-repeat") is None
        if elsewhere or style or child.tag in ("staves", "part-symbol", "instruments"):
            attributes.remove(child)
        elif number is not None:
            del child.attrib["number"]
    for tag in ("clef", "key", "time", "transpose"):
        for again in attributes.findall(tag)[1:]:
            attributes.remove(again)


def stand_later(element: etree._Element, later: Fraction, divisions: Fraction) -> None:
    """Let a sign stand later than the note in front of which it is written."""
    own = element.find("offset")
    if own is None:
        own = etree.Element("offset")
        before = {"direction": len(element.findall("direction-type")), "sound": len(element)}
        element.insert(before.get(str(element.tag), len(element)), own)
        own.text = "0"
    own.text = units(Fraction(own.text or "0") + later * divisions, Fraction(1))


def _plain(source: etree._Element) -> etree._Element:
    """Return a copy without places and sizes that were chosen for another page."""
    copied = deepcopy(source)
    copied.tail = None
    for element in copied.iter(etree.Element):
        if element.tail is not None and element is not copied and not element.tail.strip():
            element.tail = None
        for name in _LAYOUT:
            if name in element.attrib:
                del element.attrib[name]
    return copied


def _length(element: etree._Element, in_force: Attributes) -> Fraction:
    try:
        return max(Fraction(0), Fraction((element.findtext("duration") or "0").strip())) / in_force.divisions
    except (ValueError, ZeroDivisionError):
        return Fraction(0)


def _compound(in_force: Attributes) -> bool:
    """Tell whether the beat in force is a dotted quarter."""
    times = in_force.elements("time")
    if not times:
        return False
    beats, unit = times[0].findtext("beats") or "", times[0].findtext("beat-type") or ""
    return unit.strip() == "8" and beats.strip().isdecimal() and int(beats) % 3 == 0


def _frame(document: Document, line: Line, name: str) -> etree._Element:
    """Return the score around the part: title and makers of the source, one entry in the part list."""
    root = etree.Element("score-partwise", version="4.0")
    source = document.root
    for tag in ("work", "movement-number", "movement-title"):
        if (found := source.find(tag)) is not None:
            root.append(_plain(found))
    if not one_line(root.findtext("work/work-title")) and not one_line(root.findtext("movement-title")) \
            and document.title:
        work = root.find("work")
        if work is None:
            root.insert(0, work := etree.Element("work"))
        etree.SubElement(work, "work-title").text = document.title
    identification = etree.SubElement(root, "identification")
    for tag in ("creator", "rights"):
        identification.extend(_plain(found) for found in source.iterfind(f"identification/{tag}"))
    etree.SubElement(etree.SubElement(identification, "encoding"), "software").text = "lowbrass"
    entry = etree.SubElement(etree.SubElement(root, "part-list"), "score-part", id="P1")
    etree.SubElement(entry, "part-name").text = name or line.part_name or line.part_id
    return root

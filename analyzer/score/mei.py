"""Scores in MEI (Music Encoding Initiative, common Western notation), versions 2 to 5, as MusicXML.

Described from files that verovio 6.4.1 (PyPI) wrote of 16 real scores and those in music21's package; what they leave
open, from the MEI Guidelines 5.0 (shared elements, common notation, editorial markup), from memory. Of editorial
variants the first reading is taken (``<lem>``, ``<corr>``, ``<reg>``, else the first ``<rdg>``).

``@oct`` and ``@pname`` are the written pitch, ``@oct.ges`` the octave under an 8va sign. ``@accid`` is printed,
``@accid.ges`` what sounds; a file that tells no ``@accid.ges`` anywhere leaves to the reader what key signature and
accidentals before in the measure do.
"""

import re
from fractions import Fraction

from lxml import etree

from analyzer.pitch import Pitch, Transposition
from analyzer.problem import Problem, unreadable
from analyzer.score.attributes import usual_steps
from analyzer.score.composing import Bar, Head, Instrument, Sound, Voiced, composed
from analyzer.score.mei_layer import Layer, MovementNotes, Staff
from analyzer.score.mei_signs import BAR_LINES, clef_of, direction_of, fifths_of, metronome_of, words_of
from analyzer.score.mei_tree import (
    child_of,
    escaped,
    label_of,
    reading_of,
    readings,
    short_label_of,
    tag_of,
    whole_number,
)
from analyzer.score.own_marks import NAME
from analyzer.score.vocabulary import one_line

_CONTROL = frozenset(("tie", "slur", "fermata", "trill", "gliss", "octave", "fing", "tempo", "dir", "repeatMark",
                      "dynam", "reh", "breath", "caesura"))
_LONGEST = 4096                         # measures that one multiRest may stand for


def to_musicxml(root: etree._Element, name: str) -> tuple[bytes, dict[str, list[int]], tuple[Problem, ...]]:
    """Return a score in MEI as MusicXML, the origins of its notes (see `Source`), and what was left out.

    Raises
    ------
    Unreadable
        If it holds no music in common notation.
    """
    problems: list[Problem] = []
    movements = [one for one in root.iter("{*}mdiv") if child_of(one, "score") is not None
                 or child_of(one, "parts") is not None]
    if not movements:
        raise unreadable("no-music", where=name, what="the MEI file holds no score", try_="Export the score again.")
    if len(movements) > 1:
        problems.append(Problem(severity="warning", code="first-tune", where=name, what="the file holds "
                                f"{len(movements)} movements; only the first is read",
                                try_="Save the one you want in a file alone."))
    holder = child_of(movements[0], "score")
    holders = [holder] if holder is not None else [
        one for one in (child_of(movements[0], "parts") or ()) if tag_of(one) == "part"]
    ordinals = {element: place for place, element in enumerate(root.iter("{*}note"))}
    parts: list[Voiced] = []
    for one in holders:
        parts += _Movement(one, ordinals, len(parts)).voiced()
    if not any(part.bars for part in parts):
        raise unreadable("no-music", where=name, what="the MEI file holds no music in measures",
                         try_="Export the score again, in common music notation.")
    title = next((words_of(one) for one in root.iterfind("{*}meiHead//{*}titleStmt/{*}title") if words_of(one)), "")
    composer = next((words_of(one) for one in root.iterfind("{*}meiHead//{*}titleStmt//{*}persName")
                     if one.get("role") == "composer"), "")
    xml, origins = composed(parts, title=one_line(title), composer=one_line(composer))
    return xml, origins, tuple(problems)


class _Movement:
    def __init__(self, holder: etree._Element, ordinals: dict[etree._Element, int], before: int) -> None:
        self.holder, self.before = holder, before
        told = any("accid.ges" in one.attrib for one in holder.iter("{*}note", "{*}accid"))
        self.notes = MovementNotes(ordinals, told_gestures=told)
        self.staves = self.notes.staves
        self.parts: list[Voiced] = []
        self.later: list[tuple[etree._Element, int]] = []         # control events and the index of their measure
        self.places: dict[tuple[str, int], list[Sound]] = {}      # staff and measure
        self.numbers = 0
        self.forward = False                          # a repeat begins with the next measure
        self.slur_number = 0

    def voiced(self) -> list[Voiced]:
        for element in self.holder:
            self.walk(element, "")
        for event, index in self.later:
            self.control(event, index)
        for part in self.parts:
            for bar in part.bars:
                if not any(bar.voices.values()):
                    bar.voices[1, 1] = [Sound(at=Fraction(0), length=bar.length, kind="", whole=True)]
        return self.parts

    def walk(self, element: etree._Element, ending: str) -> None:
        """Go through the definitions, sections and measures in the order of the file."""
        tag = tag_of(element)
        if tag == "scoreDef":
            self.define(element)
        elif tag == "staffDef":
            self.change(element.get("n", ""), element)
        elif tag == "measure":
            self.measure(element, ending)
        elif tag in ("section", "ending", "lem", "corr", "reg", "expan", "supplied", "unclear", "add", "parts"):
            first = len(self.parts[0].bars) if self.parts else 0
            for child in element:
                self.walk(child, ending)
            if tag == "ending" and self.parts and len(self.parts[0].bars) > first:
                self.close_ending(element, first)
        elif tag in ("app", "choice"):
            chosen = reading_of(element)
            if chosen is not None:
                for child in chosen:
                    self.walk(child, ending)

    def close_ending(self, element: etree._Element, first: int) -> None:
        """Put an ending into the bar lines of its measures."""
        number = ", ".join(re.findall(r"\d+", element.get("n") or element.get("label") or "")) or "1"
        for part in self.parts:
            start, last = part.bars[first], part.bars[-1]
            style = re.match(r"<bar-style>.*?</bar-style>", start.left)
            head = style.group() if style else ""
            start.left = f'{head}<ending number="{number}" type="start"/>{start.left[len(head):]}'
            style = re.match(r"<bar-style>.*?</bar-style>", last.right)
            head = style.group() if style else ""
            kind = "stop" if "<repeat" in last.right else "discontinue"
            last.right = f'{head}<ending number="{number}" type="{kind}"/>{last.right[len(head):]}'

    def define(self, element: etree._Element) -> None:
        """Read a scoreDef: the first names the parts, later ones change what holds."""
        group = child_of(element, "staffGrp")
        if not self.staves:
            if group is not None:
                self.group(group, ())
        elif group is not None:
            for one in group.iter("{*}staffDef"):
                self.change(one.get("n", ""), one)
        for staff in self.staves.values():
            staff.fresh.insert(0, element)
        if group is not None:
            for one in group.iter("{*}staffDef"):
                known = self.staves.get(one.get("n", ""))
                if known is not None and one not in known.fresh:
                    known.fresh.append(one)

    def change(self, number: str, element: etree._Element) -> None:
        if number in self.staves:
            self.staves[number].fresh.append(element)

    def group(self, element: etree._Element, groups: tuple[tuple[int, str], ...]) -> None:
        """Make the parts of a group; a brace around staves without names of their own is one part."""
        label = label_of(element)
        symbol = element.get("symbol") or next(
            (one.get("symbol") or "" for one in element if tag_of(one) == "grpSym"), "")
        own = [one for one in element if tag_of(one) == "staffDef"]
        inner = [one for one in element if tag_of(one) == "staffGrp"]
        if symbol == "brace" and len(own) > 1 and not inner and not any(label_of(one) for one in own[1:]):
            short = short_label_of(element) or short_label_of(own[0])
            part = self.part(own[0], label or label_of(own[0]), short, groups)
            part.staves = len(own)
            instrument = child_of(element, "instrDef")
            if instrument is not None and not part.instruments[0].program:
                part.instruments[0].program = whole_number(instrument.get("midi.instrnum"), -1) + 1
            for place, one in enumerate(own, 1):
                self.staff(one, part, place)
            return
        if len(own) == 1 and not inner and label and not label_of(own[0]):
            self.staff(own[0], self.part(own[0], label, short_label_of(element), groups), 1)
            return
        inside = (*groups, (len(self.parts) + 1000 * len(groups), label))
        for child in element:
            tag = tag_of(child)
            if tag == "staffDef":
                self.staff(child, self.part(child, label_of(child), short_label_of(child), inside), 1)
            elif tag == "staffGrp":
                self.group(child, inside)

    def part(self, element: etree._Element, name: str, short: str, groups: tuple[tuple[int, str], ...]) -> Voiced:
        told = child_of(element, "instrDef")
        instrument = Instrument()
        if told is not None:
            instrument.name = one_line(told.get("midi.instrname", "").replace("_", " ") or told.get("label"))
            instrument.program = whole_number(told.get("midi.instrnum"), -1) + 1
        instrument.name = instrument.name or one_line(name)
        part = Voiced(name=one_line(name), short=one_line(short), instruments=[instrument], groups=groups)
        self.parts.append(part)
        return part

    def staff(self, element: etree._Element, part: Voiced, place: int) -> None:
        # No channel tells drums: some programs count channels from 0, others from 1.
        drums = element.get("clef.shape") == "perc" or any(
            one.get("shape") == "perc" for one in element if tag_of(one) == "clef")
        self.staves[element.get("n") or str(len(self.staves) + 1)] = Staff(
            part=part, place=place, drums=drums, number=self.before + len(self.parts))

    def measure(self, element: etree._Element, ending: str) -> None:
        """Read one measure into a bar of every part."""
        self.numbers += 1
        implicit = element.get("metcon") == "false"
        number = one_line(element.get("n")) or ("0" if implicit and self.numbers == 1 else str(self.numbers))
        index = len(self.parts[0].bars) if self.parts else 0
        bars: dict[int, Bar] = {}
        for part in self.parts:
            bar = Bar(number=number, length=Fraction(0), implicit=implicit)
            part.bars.append(bar)
            bars[id(part)] = bar
        for staff in self.staves.values():
            self.settle(staff, bars[id(staff.part)])
        rests = 1
        whole: list[tuple[Staff, Bar, Sound]] = []
        content = Fraction(0)
        for child in readings(element):
            tag = tag_of(child)
            if tag == "staff":
                known = self.staves.get(child.get("n", ""))
                if known is not None:
                    longest, many = self.read_staff(child, known, bars[id(known.part)], index, whole)
                    content, rests = max(content, longest), max(rests, many)
            elif tag in _CONTROL:
                self.later.append((child, index))
        meter = max((staff.meter for staff in self.staves.values()), default=Fraction(4))
        length = content if content > 0 else meter
        left, right = BAR_LINES.get(element.get("left", ""), ""), BAR_LINES.get(element.get("right", ""), "")
        for part in self.parts:
            bar = bars[id(part)]
            bar.length = length
            if self.forward or "forward" in left:
                bar.left = BAR_LINES["rptstart"]
            bar.right = right.partition("|")[0] if right != BAR_LINES["rptstart"] else ""
        self.forward = "forward" in right
        for _, _, sound in whole:
            sound.length = length
        for more in range(1, min(rests, _LONGEST)):          # a multiRest stands for measures that are not written
            for part in self.parts:
                part.bars.append(Bar(number=str(whole_number(number, 0) + more), length=meter))

    def settle(self, staff: Staff, bar: Bar) -> None:
        """Write the definitions that hold from this measure on."""
        for told in staff.fresh:
            clef = clef_of(told)
            if clef is not None or staff.first:
                staff.clef = clef or staff.clef
                bar.clefs = [one for one in bar.clefs if (one[0], one[1]) != (Fraction(0), staff.place)]
                bar.clefs.append((Fraction(0), staff.place, *staff.clef))
            fifths = fifths_of(told)
            if fifths is not None:
                staff.fifths = bar.keys[staff.place] = fifths
            meter = child_of(told, "meterSig")
            meter = meter if meter is not None else next(iter(told.iterfind("{*}meterSigGrp/{*}meterSig")), None)
            count = told.get("meter.count") or (meter.get("count") if meter is not None else None)
            unit = told.get("meter.unit") or (meter.get("unit") if meter is not None else None)
            symbol = told.get("meter.sym") or (meter.get("sym") if meter is not None else None) or ""
            if count is None and symbol in ("common", "cut"):
                count, unit = ("4", "4") if symbol == "common" else ("2", "2")
            if count and unit and re.fullmatch(r"\d{1,3}(?:\+\d{1,3})*", count) and whole_number(unit, 0) > 0:
                staff.meter = Fraction(4 * sum(map(int, count.split("+"))), int(unit))
                staff.unit = int(unit)
                bar.time = count, unit, symbol if symbol in ("common", "cut") else ""
            semitones, steps = told.get("trans.semi"), told.get("trans.diat")
            if semitones is not None or steps is not None:
                new = _transposition(whole_number(semitones, 0), whole_number(steps, 99))
                if new != staff.transposition:
                    staff.transposition = new
                    bar.transpositions = [(Fraction(0), new)]
        staff.fresh = []
        staff.first = False

    def read_staff(self, element: etree._Element, staff: Staff, bar: Bar, index: int,
                   whole: list[tuple[Staff, Bar, Sound]]) -> tuple[Fraction, int]:
        """Read the layers of one staff; return how long they are, and how many measures a rest stands for."""
        longest, rests = Fraction(0), 1
        voice = 0
        altered: dict[tuple[str, int], int] = {}     # by accidentals before in the measure
        for layer in readings(element):
            if tag_of(layer) != "layer":
                continue
            voice += 1
            reader = Layer(self.notes, staff, bar, altered)
            reader.read(layer)
            sounds = reader.sounds
            bar.voices[staff.place, voice] = sounds
            self.places.setdefault((element.get("n", ""), index), []).extend(sounds)
            whole += [(staff, bar, sound) for sound in sounds if sound.whole]
            longest = max(longest, reader.at)
            rests = max(rests, reader.rests)
        return longest, rests

    def control(self, event: etree._Element, index: int) -> None:
        """Bind one control event to its notes, or to its place in the measure."""
        tag = tag_of(event)
        start, end = (self.notes.heads.get((event.get(key) or "").lstrip("#")) for key in ("startid", "endid"))
        if tag in ("tempo", "dir", "repeatMark", "reh", "dynam"):
            self.direction(event, tag, index, start)
            return
        if start is None and event.get("tstamp") is not None:
            start = self.at_tstamp(event, event.get("tstamp") or "1", index)
        if end is None and event.get("tstamp2") is not None:
            measures, _, beats = (event.get("tstamp2") or "").rpartition("m+")
            end = self.at_tstamp(event, beats or "1", index + whole_number(measures, 0))
        if tag == "tie" and start and start[1]:
            start[1].tie |= 1
            if end and end[1]:
                end[1].tie |= 2
        elif tag == "slur" and start and end:
            number = self.slur_number = self.slur_number % 6 + 1
            start[0].notations.append(f'<slur type="start" number="{number}"/>')
            end[0].notations.append(f'<slur type="stop" number="{number}"/>')
        elif tag == "gliss" and start and end:
            for (sound, head), kind in ((start, "start"), (end, "stop")):
                one = head or (sound.heads[0] if sound.heads else None)
                if one is not None:
                    one.lines.append(f'<slide type="{kind}" number="1" line-type="solid"/>')
        elif tag == "fermata" and start:
            start[0].notations.append("<fermata/>")
        elif tag == "trill" and start:
            start[0].ornaments.append("<trill-mark/>")
        elif tag in ("breath", "caesura") and start:
            start[0].articulations.append("<breath-mark/>" if tag == "breath" else "<caesura/>")
        elif tag == "octave" and start and end:
            self.octave(event, start[0], end[0])
        elif tag == "fing" and start:
            head = start[1] or (start[0].heads[0] if start[0].heads else None)
            if head is not None:
                text = escaped(one_line(words_of(event)))
                ours = f"<?{NAME}?>" if event.get("type") == NAME else ""
                head.technical.append(f"<fingering>{text}{ours}</fingering>")

    def octave(self, event: etree._Element, first: Sound, last: Sound) -> None:
        """Move the notes under an 8va sign that tell no octave of their own."""
        move = {"8": 1, "15": 2, "22": 3}.get(event.get("dis", "8"), 1)
        move = move if event.get("dis.place") == "above" else -move
        inside = False
        own = next((name for (name, _), sounds in self.places.items() if any(one is first for one in sounds)), "")
        for (name, _), sounds in self.places.items():
            for sound in sounds if name == own else ():
                inside = inside or sound is first
                if inside:
                    for head in sound.heads:
                        if head.pitch is not None and id(head) not in self.notes.gestural:
                            head.pitch = Pitch(head.pitch.step, head.pitch.alter, head.pitch.octave + move)
                if sound is last:
                    return

    def direction(self, event: etree._Element, tag: str, index: int, start: tuple[Sound, Head | None] | None) -> None:
        staff = self.staves.get((event.get("staff") or "").split(" ")[0]) or next(iter(self.staves.values()), None)
        if staff is None or index >= len(staff.part.bars):
            return
        bar = staff.part.bars[index]
        at = start[0].at if start else self.quarters(event.get("tstamp") or "1", staff)
        at = max(Fraction(0), min(at, bar.length))
        kinds, sound = metronome_of(event) if tag == "tempo" else direction_of(event, tag)
        if tag == "repeatMark" and event.get("func") in ("daCapo", "dalSegno", "fine"):
            at = bar.length
        if kinds or sound:
            bar.directions.append((at, staff.place, kinds, sound))

    def quarters(self, tstamp: str, staff: Staff) -> Fraction:
        """Return a time stamp (beats from 1) in quarter notes."""
        if not re.fullmatch(r"\d{1,4}(?:\.\d{1,6})?", tstamp.strip()):
            return Fraction(0)
        return (Fraction(tstamp.strip()).limit_denominator(96) - 1) * 4 / staff.unit

    def at_tstamp(self, event: etree._Element, tstamp: str, index: int) -> tuple[Sound, Head | None] | None:
        """Return the sound that plays at a time stamp, the last that began by then."""
        name = (event.get("staff") or "1").split(" ")[0]
        staff = self.staves.get(name)
        if staff is None:
            return None
        at = self.quarters(tstamp, staff)
        fitting = [one for one in self.places.get((name, index), ()) if one.heads and not one.grace and one.at <= at]
        return (max(fitting, key=lambda one: one.at), None) if fitting else None


def _transposition(chromatic: int, diatonic: int) -> Transposition:
    """Return a transposition; steps that make no usual interval of the semitones give way (verovio 6.4 counts eight to
    an octave).
    """
    octaves, steps = divmod(abs(diatonic), 7)
    semitones = abs(chromatic) - 12 * octaves
    fits = semitones in ((0,), (1, 2), (3, 4), (5, 6), (6, 7), (8, 9), (10, 11))[steps] and diatonic * chromatic >= 0
    return Transposition(diatonic if fits else usual_steps(chromatic), chromatic)

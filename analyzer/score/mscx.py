"""Scores in the open XML form of a free notation program (.mscx, zipped .mscz), versions 1 to 4, as MusicXML.

The form was described from real files: the demonstration scores, templates and test scores in the source packages of
the form's own program in Debian (2.3.2 and 3.2.3: versions 1.11 to 3.01), and files of version 4 that its library on
npm (1.2.1) wrote; what they leave open, from the readers in that source (libmscore: read114, read206, measure,
location, and exportxml). In short:

* ``<museScore version>`` holds (in 1.14 is) the ``<Score>``; ``<Part>`` elements name the instruments and count the
  staves, ``<Staff>`` elements hold the music in the same order. A ``<Score>`` inside the score is an excerpt, the same
  music again.
* To version 1.14 clefs, keys, metres, tempi and endings stand in lists outside of the measures (`mscx_old`).
* Versions 1 and 2 write the voices of a measure one after the other with ``<tick>`` (from the start of the score) or
  ``<move>`` between them, and each chord names its track, tuplet and spanners by number. From version 3 on each
  ``<voice>`` is an element, ``<location>`` moves in it, and spanners name the distance to their other end.
* ``<pitch>`` is the MIDI number heard (in version 1 the one printed), without the shift of an ottava; ``<tpc>`` its
  place in the line of fifths (C is 14), ``<tpc2>`` that of the note printed. Key signatures are as printed.
* What holds for all staves (length, repeats, jumps) stands in the first one. A measure with ``<multiMeasureRest>``
  stands for measures that are written out as well.
"""

import re
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from analyzer.problem import Problem, unreadable
from analyzer.score.composing import Bar, Instrument, Sound, Voiced, composed
from analyzer.score.mscx_chord import PartFacts
from analyzer.score.mscx_old import metres_of, settle
from analyzer.score.mscx_signs import jump_of, marker_of, text_of
from analyzer.score.mscx_staff import StaffReader
from analyzer.score.mscx_values import lengths_of, measures_of, said, whole
from analyzer.score.vocabulary import one_line


def to_musicxml(root: etree._Element, name: str) -> tuple[bytes, dict[str, list[int]], tuple[Problem, ...]]:
    """Return a score of this form as MusicXML, the origins of its notes (see `Source`), and what was found wrong.

    Raises
    ------
    Unreadable
        If it is of a version that is not known, or has no music.
    """
    return _Score(root, name).converted()


@dataclass(slots=True)
class _Measure:
    """What holds in one measure for all staves."""

    number: str
    length: Fraction                   # in quarter notes
    implicit: bool = False
    left: str = ""
    right: str = ""
    directions: list[tuple[Fraction, int, str, str]] = field(default_factory=list)


class _Score:
    def __init__(self, root: etree._Element, name: str) -> None:
        self.name = name
        text = root.get("version") or ""
        match = re.fullmatch(r"(\d{1,2})(?:\.\d{1,4})?", text)
        self.version = int(match[1]) if match else 0
        if not 1 <= self.version <= 4:
            raise unreadable("form-version", where=name, what=f"the score is of version '{one_line(text)}' of its "
                             "form, and versions 1 to 4 are read", try_="Export it as MusicXML (.musicxml or .mxl).")
        score = root.find("Score")
        self.score = root if score is None else score
        self.problems: list[Problem] = []
        self.ordinals = {element: place for place, element in enumerate(root.iter("Note"))}
        self.division = max(1, whole(self.score.findtext("Division"), 480))
        self.concert = (self.score.findtext("Style/concertPitch") or "").strip() == "1"
        # A printed key and pitch are those of the view in which the file was saved.
        self.staves = self.score.findall("Staff")
        if not self.staves or not self.score.findall("Part"):
            raise unreadable("no-music", where=name, what="the score has no parts", try_="Save the score again.")

    def converted(self) -> tuple[bytes, dict[str, list[int]], tuple[Problem, ...]]:
        measures = self.measures()
        parts: list[Voiced] = []
        start = 0
        for element in self.score.findall("Part"):
            count = max(1, len(element.findall("Staff")))
            staves = self.staves[start:start + count]
            start += count
            if staves:
                parts.append(_Part(self, element, staves, measures, first=not parts, place=len(parts) + 1).voiced())
        if not parts:
            raise unreadable("no-music", where=self.name, what="the score has no parts", try_="Save the score again.")
        tags = {one.get("name"): one_line(one.text) for one in self.score.iterchildren("metaTag")}
        title = tags.get("workTitle") or tags.get("movementTitle") or self.frame_title()
        record = next((one.text or "" for one in self.score.iterchildren("metaTag") if one.get("name") == "lowbrass"),
                      "")
        xml, origins = composed(parts, title=title, composer=tags.get("composer") or "", record=record)
        return xml, origins, tuple(self.problems)

    def frame_title(self) -> str:
        """Return the text that is printed as a title."""
        for text in self.staves[0].iterfind("VBox/Text"):
            if (text.findtext("style") or text.findtext("subtype") or "").strip().lower() == "title":
                return one_line(text_of(text))
        return ""

    def measures(self) -> list[_Measure]:
        """Return what the first staff tells of all measures."""
        result: list[_Measure] = []
        number = 0
        irregular = 0
        elements = measures_of(self.staves[0])
        lengths = lengths_of(elements, metres_of(self.score) if self.version == 1 else None, self.division)
        for element, length in zip(elements, lengths, strict=True):
            shift = whole(element.findtext("noOffset"), 0)
            hidden = element.find("irregular") is not None
            number += shift
            if not hidden:
                number += 1
                label = str(number)
            elif not result:
                label = "0"
            else:
                irregular += 1
                label = f"X{irregular}"
            measure = _Measure(number=label, length=length, implicit=hidden)
            if element.find("startRepeat") is not None:
                measure.left = '<bar-style>heavy-light</bar-style><repeat direction="forward"/>'
            back = element.find("endRepeat")
            if back is not None:
                times = whole(back.text, 2)
                told = f' times="{times}"' if times > 2 else ""
                measure.right = f'<repeat direction="backward"{told}/>'
            for sign in element.iterchildren("Jump", "Marker"):
                found = jump_of(sign, length) if sign.tag == "Jump" else marker_of(sign, length)
                measure.directions.append(found)
            result.append(measure)
        if self.version == 1:
            settle(self.score, self.staves, lengths, self.division)
        self.voltas(result)
        return result

    def voltas(self, measures: list[_Measure]) -> None:
        """Put the endings into the bar lines."""
        open_ids: dict[str, tuple[int, str]] = {}
        found: list[tuple[int, int, str]] = []
        for index, element in enumerate(measures_of(self.staves[0])):
            for one in element.iter("Volta"):
                numbers = ", ".join(re.findall(r"\d+", one.findtext("endings") or "")) or "1"
                parent = one.getparent()
                if parent is not None and parent.tag == "Spanner":
                    spans = whole(parent.findtext("next/location/measures"), 1)
                    found.append((index, index + max(1, spans) - 1, numbers))
                else:
                    open_ids[one.get("id", "")] = index, numbers
            for end in element.iterchildren("endSpanner"):
                if end.get("id") in open_ids:
                    first, numbers = open_ids.pop(end.get("id", ""))
                    sounded = any(True for _ in end.itersiblings("Chord", "Rest", preceding=True))
                    found.append((first, max(first, index if sounded else index - 1), numbers))
        found += [(first, len(measures) - 1 if name.startswith("list-") else first, numbers)
                  for name, (first, numbers) in open_ids.items()]
        for first, last, numbers in found:
            last = min(last, len(measures) - 1)
            measures[first].left = f'<ending number="{numbers}" type="start"/>' + measures[first].left
            kind = "stop" if "<repeat" in measures[last].right else "discontinue"
            measures[last].right = f'<ending number="{numbers}" type="{kind}"/>' + measures[last].right
        for measure in measures:       # the standard's order: style, ending, repeat
            for style in re.findall("<bar-style>.*?</bar-style>", measure.left):
                measure.left = style + measure.left.replace(style, "")


class _Part:
    """Converts one part: its names, then staff by staff."""

    def __init__(self, score: _Score, element: etree._Element, staves: list[etree._Element], measures: list[_Measure],
                 *, first: bool, place: int) -> None:
        self.score, self.element, self.staves, self.measures = score, element, staves, measures
        self.first, self.place = first, place
        own = element.find("Instrument")
        self.instrument = own if own is not None else etree.Element("Instrument")
        self.drums = (self.instrument.findtext("useDrumset") or "").strip() == "1"
        self.instruments = [_instrument(self.instrument, element)]
        changes = [one for staff in staves for one in staff.iter("InstrumentChange")
                   if one.find("Instrument") is not None]
        for change in changes:
            inner = change.find("Instrument")
            if inner is not None:
                self.instruments.append(_instrument(inner, None))
        self.many = bool(changes)

    def voiced(self) -> Voiced:
        told = self.instrument
        name = one_line(said(told.find("longName")) or self.element.findtext("trackName")
                        or said(self.element.find("name")) or told.findtext("trackName"))
        short = one_line(said(told.find("shortName")) or said(self.element.find("shortName")))
        bars = [Bar(number=one.number, length=one.length, implicit=one.implicit, left=one.left, right=one.right,
                    directions=list(one.directions) if self.first else []) for one in self.measures]
        score = self.score
        facts = PartFacts(version=score.version, division=score.division, concert=score.concert,
                          ordinals=score.ordinals, element=self.element, instrument=self.instrument,
                          instruments=self.instruments, drums=self.drums, many=self.many, place=self.place,
                          staves=len(self.staves))
        for nth, staff in enumerate(self.staves, 1):
            StaffReader(facts, staff, nth, bars).read()
        for bar in bars:
            if not any(bar.voices.values()):
                bar.voices[1, 1] = [Sound(at=Fraction(0), length=bar.length, kind="", whole=True)]
        return Voiced(name=name, short=short, instruments=self.instruments, staves=len(self.staves), bars=bars)


def _instrument(element: etree._Element, part: etree._Element | None) -> Instrument:
    name = one_line(element.findtext("trackName") or said(element.find("longName"))
                    or (part.findtext("trackName") if part is not None else ""))
    program = element.find("Channel/program")
    return Instrument(name=name, sound=one_line(element.findtext("instrumentId")),
                      program=whole(program.get("value"), -1) + 1 if program is not None else 0)

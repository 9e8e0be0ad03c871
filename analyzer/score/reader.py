"""One part of a MusicXML score as values: measures, notes, tempo, jumps."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from lxml import etree

from analyzer.assumption import Assumption
from analyzer.pitch import Pitch, Transposition
from analyzer.problem import Problem, unreadable
from analyzer.score.attributes import Attributes, length_of, number
from analyzer.score.division import player_word
from analyzer.score.document import Document
from analyzer.score.doubling import Doubling, horn_word
from analyzer.score.faults import Faults
from analyzer.score.notations import SAID, TIE_BITS, marks_of, sings
from analyzer.score.parts import PartInfo, find_parts
from analyzer.score.repeats import Bars, jumps_of
from analyzer.score.signs import Signpost, score_signs
from analyzer.score.timeline import Direction, Measure, Note, Part, Rest, Tempo
from analyzer.score.transposing import Reads, judged
from analyzer.score.vocabulary import one_line

_TYPES = {"breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
          "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16)}


class _Raw(NamedTuple):
    """A note before the slurs over it are known."""

    ref: int
    measure: int
    onset: Fraction
    duration: Fraction
    pitches: tuple[Pitch, Pitch]
    voice: str
    staff: int
    chord: bool
    grace: bool
    tie: int                           # bit 1 start, bit 2 stop
    marks: frozenset[str]
    given: str | None
    instrument: str | None
    clef: str


_NONE: frozenset[str] = frozenset()
_DRAWN = frozenset({"type", "stem", "beam", "dot", "time-modification", "lyric"})
"""Most children of most notes: how they look, not what sounds. Told first, they cost no further question."""
_CONCERT = Transposition()


class _Reader:
    """Walks the measures of one part; everything it knows while it walks."""

    def __init__(self, document: Document, info: PartInfo, reads: Transposition | None) -> None:
        self.faults = Faults(f"{document.name}: {info.full_name}")
        self.attributes = Attributes(self.faults, reads)
        entry = next((one for one in document.root.iterfind("part-list/score-part") if one.get("id") == info.id), None)
        self.many_instruments = entry is not None and len(entry.findall("score-instrument")) > 1
        self.doubling = Doubling(entry, info.family)
        self.slashed = self.repeating = False       # inside slash notation, inside measure or beat repeats
        self.raw: list[_Raw] = []
        self.rests: list[tuple[int, Fraction, Fraction, str, int]] = []
        self.measures: list[Measure] = []
        self.players: list[Direction] = []
        self.bars: dict[int, Bars] = {}
        self.ref = -1
        self.onset = Fraction(0)       # of the measure
        self.base = Fraction(0)        # the same in divisions
        # Quarter notes for (divisions, divisions a quarter): notes of all parts stand at the same places.
        self.places: dict[tuple[int | Fraction, int | Fraction], Fraction] = document.memo.setdefault("places", {})
        self.position: int | Fraction = 0
        self.furthest: int | Fraction = 0
        self.last_onset = Fraction(0)
        self.last_voice, self.last_staff = "1", 1
        self.head = False              # there is a note in this measure that a chord may lean on
        self.head_kept = False         # the note that a chord leans on was kept
        self.slurs: dict[tuple[str, str], int] = {}       # open: place in the voice's list
        self.voices: dict[str, list[list[int]]] = {}      # voice -> groups (chords) of places in raw
        self.slurred: set[int] = set()

    def measure(self, index: int, label: str, music: etree._Element, implicit: bool) -> None:
        """Read one measure."""
        faults = self.faults
        faults.measure = label
        self.position = self.furthest = 0
        self.last_onset = self.onset
        self.base = self.onset * self.attributes.divisions
        self.head = False
        self.attributes.measure_start()
        sounding = False
        kept = len(self.raw)
        for child in music:
            tag = child.tag
            if tag == "note":
                self.ref += 1
                self.note(index, child)
                sounding = True
            elif tag == "backup":
                self.move(-length_of(child.findtext("duration"), faults))
            elif tag == "forward":
                self.move(length_of(child.findtext("duration"), faults))
                sounding = True
            elif tag == "attributes":
                self.attributes.read(child, self.position)
                if self.attributes.rescaled is not None:
                    self.position *= self.attributes.rescaled
                    self.furthest *= self.attributes.rescaled
                    self.base *= self.attributes.rescaled
                self.style(child)
            elif tag == "direction":
                self.direction(child)
            elif tag == "sound":
                self.doubling.read_sound(child, self.onset + self.attributes.quarters(self.position))
            elif tag == "barline":
                self.barline(index, child)
        if self.repeating and len(self.raw) == kept:
            faults.add("warning", "measure-repeat", "a repeat sign stands for the notes of this measure, and the file "
                       "does not hold them, so nothing is planned there", "Write the repeated measures out, and export "
                       "again.")
        length = self.attributes.quarters(self.furthest)
        if not sounding and not implicit:
            length = self.attributes.bar
        elif self.attributes.timed and length > self.attributes.bar and not implicit:
            faults.add("note", "overfull", f"the measure lasts {length} quarter notes, and its time signature tells "
                       f"{self.attributes.bar}; it is read as long as its notes are", "")
        self.measures.append(Measure(index=index, number=label, onset=self.onset, duration=length,
                                     beat=self.attributes.beat))
        self.onset += length

    def place(self, start: int | Fraction) -> Fraction:
        """Return where a place of the measure lies in the part: the onset of the measure and `start` divisions."""
        if self.base.denominator != 1:
            return self.onset + self.attributes.quarters(start)
        at = (self.base.numerator + start, self.attributes.divisions)
        onset = self.places.get(at)
        if onset is None:
            onset = self.places[at] = Fraction(*at)
        return onset

    def move(self, ticks: int | Fraction) -> None:
        """Step forward, or back (never beyond the start of the measure)."""
        self.position += ticks
        if self.position < 0:
            self.faults.add("warning", "backup", "a backup goes back beyond the start of the measure",
                            "The onsets in that measure may be wrong; check it in the score.")
            self.position = 0
        elif self.position > self.furthest:
            self.furthest = self.position

    def note(self, index: int, element: etree._Element) -> None:
        """Read one ``<note>``; keep it if it sounds and is printed for the player."""
        pitch = duration = kind = None
        voice = ""
        staff = 0
        tie = 0
        chord = grace = cue = rest = unpitched = False
        marks = _NONE
        given = instrument = accidental = None
        slurs: list[tuple[str, str]] = []
        for child in element:
            tag = child.tag
            if tag in _DRAWN:
                continue
            if tag == "pitch":
                pitch = child
            elif tag == "duration":
                duration = child.text
            elif tag == "voice":
                voice = (child.text or "").strip()
            elif tag == "staff":
                staff = _int(child.text, 0)
            elif tag == "chord":
                chord = True
            elif tag == "rest":
                rest = True
            elif tag == "notations":
                marks, given_here, tied = marks_of(child, marks, slurs)
                given = given_here or given
                tie |= tied
            elif tag == "tie":
                tie |= TIE_BITS.get(child.get("type", ""), 0)
            elif tag == "grace":
                grace = True
            elif tag == "cue":
                cue = True
            elif tag == "unpitched":
                unpitched = True
            elif tag == "accidental":
                accidental = child.text
            elif tag == "instrument":
                instrument = child.get("id") if self.many_instruments else None
            elif tag == "notehead":
                if child.get("parentheses") == "yes":
                    marks = marks | {"optional"}
                if child.text == "slash":
                    marks = marks | {"slash"}
        if self.slashed:
            marks = marks | {"slash"}
        chord = chord and self.head              # the first note of a measure leans on nothing
        self.head = True
        # A note of a chord that does not say otherwise stands in the voice and on the staff of the chord.
        voice = voice or (self.last_voice if chord else "1")
        staff = staff or (self.last_staff if chord else 1)
        self.last_voice, self.last_staff = voice, staff
        attributes = self.attributes
        ticks: int | Fraction = 0
        if not grace:
            if duration is None:
                kind = self.printed_ticks(element)
                if kind is None:
                    self.faults.add("warning", "no-duration", "a note has no duration", "Export the score again.")
                ticks = kind or 0
            else:
                ticks = int(duration) if duration.isdecimal() and len(duration) < 7 else length_of(
                    duration, self.faults)
        onset = self.last_onset
        if not chord:
            start = self.position
            onset = self.last_onset = self.place(start)
            self.position += ticks
            if self.position > self.furthest:
                self.furthest = self.position
        else:
            start = self.position - ticks
        hidden = element.get("print-object") == "no"
        if pitch is None or cue or hidden:
            if not chord:
                self.head_kept = False
            if rest:
                if not hidden and not grace:
                    self.rests.append((index, onset, attributes.quarters(ticks), voice, staff))
            elif unpitched:
                self.faults.add("note", "unpitched", "unpitched notes are left out", "")
            elif cue:
                self.faults.add("note", "cue", "cue notes are left out", "")
            elif hidden:
                self.faults.add("note", "hidden", "notes that are not printed are left out", "")
            else:
                self.faults.add("warning", "no-pitch", "a note has no pitch and is left out", "Export the score again.")
            self.slur(voice, slurs, None)
            return
        pitches = attributes.pitches(pitch, staff, start, accidental)
        if pitches is None:
            if not chord:
                self.head_kept = False
            return
        if marks:
            for mark, said in SAID.items():
                if mark in marks:
                    self.faults.add("note", mark, *said)
        place = len(self.raw)
        chord = chord and self.head_kept
        self.head_kept = True
        self.raw.append(_Raw(self.ref, index, onset, attributes.quarters(ticks), pitches, voice, staff, chord, grace,
                             tie, marks, given, instrument, attributes.clef(staff, start)))
        groups = self.voices.setdefault(voice, [])
        if chord and groups:
            groups[-1].append(place)
        else:
            groups.append([place])
        if slurs:
            self.slur(voice, slurs, len(groups) - 1)

    def slur(self, voice: str, slurs: list[tuple[str, str]], group: int | None) -> None:
        """Open and close slurs at a note; those from start to stop are under the slur.

        Stops come first: a slur may end where the next of the same number begins.
        """
        for kind, name in sorted(slurs, reverse=True):
            if kind == "stop":
                key = (name, voice)
                if key not in self.slurs:
                    key = next((other for other in self.slurs if other[0] == name), key)
                first = self.slurs.pop(key, None)
                if first is not None:
                    groups = self.voices.get(key[1], [])
                    last = group if group is not None and key[1] == voice else len(groups)
                    self.slurred.update(place for one in groups[first:last] for place in one)
            elif kind == "start" and group is not None:
                self.slurs[name, voice] = group

    def printed_ticks(self, element: etree._Element) -> int | Fraction | None:
        """Return the duration that type, dots and tuplet give, in divisions."""
        quarters = _TYPES.get((element.findtext("type") or "").strip())
        if quarters is None:
            return None
        dots = min(len(element.findall("dot")), 4)
        actual = _int(element.findtext("time-modification/actual-notes"), 1)
        normal = _int(element.findtext("time-modification/normal-notes"), 1)
        length = quarters * (2 - Fraction(1, 2**dots)) * Fraction(max(1, normal), max(1, actual))
        return length * self.attributes.divisions

    def direction(self, element: etree._Element) -> None:
        """Keep words that say how many play, and on which horn."""
        for child in element:
            if child.tag == "sound":
                self.doubling.read_sound(child, self.onset + self.attributes.quarters(self.position))
            elif child.tag == "direction-type":
                for words in child.iterchildren("words"):
                    if sings(words.text):
                        self.faults.add("note", "multiphonic", *SAID["multiphonic"])
                    player, horn = player_word(words.text or ""), horn_word(words.text)
                    if player is None and horn is None:
                        continue
                    shift = element.findtext("offset")
                    ticks = self.position + (number(shift, self.faults) if shift else 0)
                    onset = self.onset + self.attributes.quarters(max(ticks, 0))
                    staff = _int(element.findtext("staff"), 1)
                    if player is not None:
                        self.players.append(Direction(onset=onset, staff=staff, word=player))
                    if horn is not None:
                        self.doubling.change(horn, onset, staff)

    def style(self, element: etree._Element) -> None:
        """Follow slash notation and repeat signs that stand for measures or beats."""
        for style in element.iterchildren("measure-style"):
            for kind in style:
                if kind.tag == "slash":
                    self.slashed = kind.get("type") == "start"
                elif kind.tag in ("measure-repeat", "beat-repeat"):
                    self.repeating = kind.get("type") == "start"

    def barline(self, index: int, element: etree._Element) -> None:
        """Keep repeats and endings."""
        location = element.get("location", "right")
        at = Fraction(0) if location == "left" else None if location == "right" else \
            self.attributes.quarters(self.position)
        for child in element:
            if child.tag == "repeat":
                self.bars.setdefault(index, Bars()).turns.append((at, child.get("direction") != "forward"))
            elif child.tag == "ending" and child.get("type") == "start":
                self.bars.setdefault(index, Bars()).endings.append(child.get("number", "1"))


def read_part(document: Document, part_id: str, *, reads: Reads | None = None) -> tuple[Part, tuple[Problem, ...]]:
    """Read one part.

    The ``<transpose>`` of the file holds, and a part that has none is at concert pitch (MusicXML 4.0, `transpose`), but
    for low-brass parts in treble clef: there `transposing.judged` weighs all evidence, and `reads` answers it.

    Raises
    ------
    Unreadable
        If the score has no such part, or no music in it.
    """
    info = next((part for part in find_parts(document)[0] if part.id == part_id), None)
    if info is None or not document.part_measures(part_id):
        raise unreadable("no-part", where=document.name, what=f"there is no part '{part_id}' with music in this score",
                         try_="`lowbrass parts` lists the parts.")
    part, problems, told = _as_printed(document, info, None)
    found = judged(document, info, part, told, reads, lambda other: _as_printed(document, other, None)[0])
    if found.transposition is not None and (told or _CONCERT) != found.transposition:
        part, problems, _ = _as_printed(document, info, found.transposition)
    if found.assumption is not None:
        part = replace(part, assumptions=(found.assumption, *part.assumptions))
    if document.lost is not None:
        part = replace(part, assumptions=(*part.assumptions, document.lost))
    if part_id in document.bars_from:
        owner = next(one.full_name for one in find_parts(document)[0] if one.id == document.bars_from[part_id])
        part = replace(part, assumptions=(*part.assumptions, Assumption(
            about="repeats", value=f"those of {owner}", source="this part of the file lacks them, and in print they "
            "stand in every part")))
    return part, problems if found.problem is None else (found.problem, *problems)


def _as_printed(document: Document, info: PartInfo, transposition: Transposition | None,
                ) -> tuple[Part, tuple[Problem, ...], Transposition | None]:
    """Read a part with the file's transposition or another; return it, its problems, and what the file tells."""
    reader = _Reader(document, info, transposition)
    for index, element in enumerate(document.part_measures(info.id)):
        head = document.measure_element(element)
        reader.measure(index, one_line(head.get("number")) or str(index + 1), element, head.get("implicit") == "yes")
    if reader.slurs:
        reader.faults.add("note", "open-slur", "a slur has no end and is not counted", "", place=False)
    notes = tuple(_notes(reader))
    measures = tuple(reader.measures)
    tempi, posts = score_signs(document)
    voices = {(note.staff, note.voice) for note in notes}
    jumps = jumps_of(measures, reader.bars, posts)
    part = Part(
        id=info.id, name=info.full_name, measures=measures, notes=notes,
        tempi=tuple(Tempo(onset=measures[sign.measure].onset + sign.offset, bpm=sign.bpm, ramp=sign.ramp,
                          word=sign.guessed, playback=sign.playback, beat=sign.beat)
                    for sign in tempi if sign.measure < len(measures)),
        jumps=jumps, players=tuple(reader.players),
        rests=() if len(voices) < 2 else tuple(
            Rest(measure=measure, onset=onset, duration=duration, voice=voice, staff=staff)
            for measure, onset, duration, voice, staff in reader.rests),
        assumptions=tuple(_supposed(posts, len(jumps), measures, reader.faults if info.low_brass else None)),
    )
    return part, reader.faults.problems(), reader.attributes.told


def _supposed(posts: Sequence[Signpost], jumps: int, measures: Sequence[Measure],
              faults: Faults | None) -> Iterator[Assumption]:
    """Return what is supposed of how the part is played; of low brass, what is doubtful becomes a fault."""
    swing = next((post for post in posts if post.kind == "swing" and post.measure < len(measures)), None)
    if swing is not None:
        measure = measures[swing.measure].number
        yield Assumption(about="swing", value="straight eighths", source=f"'{swing.name}' in measure {measure}")
        if faults is not None:
            faults.measure = measure
            faults.add("note", "swing-straight", f"the part says '{swing.name}', and its eighths are planned straight; "
                       "a move off the beat has a little less time than planned", "Stay a little below the top tempo.")
    if jumps:
        yield Assumption(about="repeats", value="the same positions or valves every time",
                         source=f"{jumps} repeat{'s' if jumps > 1 else ''} or jump{'s' if jumps > 1 else ''}, "
                                "planned as printed, the way back counted")


def _notes(reader: _Reader) -> Iterator[Note]:
    slurred = reader.slurred
    doubling = reader.doubling if reader.doubling.any else None
    for place, raw in enumerate(reader.raw):
        marks = raw.marks
        yield Note(
            ref=raw.ref, measure=raw.measure, onset=raw.onset, duration=raw.duration, written=raw.pitches[0],
            sounding=raw.pitches[1], voice=raw.voice, staff=raw.staff, chord=raw.chord, grace=raw.grace,
            tie_start=bool(raw.tie & 1), tie_stop=bool(raw.tie & 2), slur_after=place in slurred,
            gliss_after="gliss" in marks, staccato="staccato" in marks, tenuto="tenuto" in marks,
            breath_after="breath" in marks, fermata="fermata" in marks, optional="optional" in marks,
            harmonic="harmonic" in marks, given=raw.given, instrument=raw.instrument, clef=raw.clef,
            family=doubling.family(raw.instrument, raw.onset, raw.staff) if doubling else None,
            slash="slash" in marks,
        )


def _int(text: str | None, default: int) -> int:
    text = (text or "").strip()
    return int(text) if text.isdecimal() and len(text) < 9 else default

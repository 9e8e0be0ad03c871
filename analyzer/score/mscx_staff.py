"""One staff of a score in the .mscx form, read into bars; what the form looks like is said in `mscx`."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from analyzer.pitch import Pitch, Transposition
from analyzer.score.composing import Bar, Head, Instrument, Sound
from analyzer.score.mscx_signs import ARTICULATION_OF, clef_of, fingering_of, metronome_of, text_of
from analyzer.score.mscx_values import (
    LONGEST,
    bar_of,
    dots_of,
    escaped,
    fraction,
    is_hidden,
    measures_of,
    ratio_of,
    times,
    transposition_of,
    whole,
)
from analyzer.score.vocabulary import one_line

_LENGTHS = {"long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2),
            "quarter": Fraction(1), "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
            "64th": Fraction(1, 16), "128th": Fraction(1, 32), "256th": Fraction(1, 64)}
_GRACE = {"acciaccatura": "eighth", "appoggiatura": "eighth", "grace4": "quarter", "grace16": "16th",
          "grace32": "32nd", "grace8after": "eighth", "grace16after": "16th", "grace32after": "32nd"}
_STEPS = "FCGDAEB"
_ZERO = Fraction(0)


@dataclass(slots=True, kw_only=True)
class PartFacts:
    """What a staff has to know of its part and score.

    `division` are ticks a quarter note, `concert` tells whether the file was saved in the view of concert pitch;
    `ordinals` count the notes of the file. `place` is that of the part in the score, from 1.
    """

    version: int
    division: int
    concert: bool
    ordinals: dict[etree._Element, int]
    element: etree._Element
    instrument: etree._Element
    instruments: list[Instrument]
    drums: bool
    many: bool
    place: int


class StaffReader:
    """Walks one staff. Places count in quarter notes inside the measure."""

    def __init__(self, part: PartFacts, staff: etree._Element, nth: int, bars: list[Bar]) -> None:
        self.part, self.staff, self.nth, self.bars = part, staff, nth, bars
        self.version = part.version
        self.transposition = transposition_of(part.instrument)
        self.place = 0                                   # of the instrument in the part
        self.stretch = Fraction(1)
        self.changes = 0
        self.starts: list[Fraction] = []
        self.ottavas: list[tuple[Fraction, Fraction, int]] = []
        self.slurs: dict[object, int] = {}
        self.glides: dict[object, int] = {}
        self.ties: set[str] = set()
        self.hanging: dict[tuple[int, int], bool] = {}    # version 1: (track, pitch) of ties whose end is not told
        self.tuplets: dict[str, tuple[int, int]] = {}
        self.before: dict[int, Sound] = {}               # the last sound of each voice
        self.pending: dict[int, dict[str, list[str]]] = {}
        self.tremolo: dict[int, str] = {}
        self.tuplet_number = 0
        self.pitches: dict[tuple[int, str | None, str | None, int, Transposition], Pitch] = {}
        self.lengths: dict[tuple[str, str, str | None, tuple[int, int], Fraction], Fraction] = {}

    def read(self) -> None:
        """Read all measures into the bars."""
        at = Fraction(0)
        for bar in self.bars:
            self.starts.append(at)
            at += bar.length
        self.head()
        elements = measures_of(self.staff)
        self.find_ottavas(elements)
        for index, element in enumerate(elements[:len(self.bars)]):
            self.measure(index, element)

    def head(self) -> None:
        """Write clef, key and transposition that hold from the start."""
        bar = self.bars[0] if self.bars else None
        if bar is None:
            return
        told = self.part.element.findall("Staff")
        own = told[self.nth - 1] if self.nth <= len(told) else None
        name = ""
        for path in ("defaultTransposingClef", "defaultClef", "defaultConcertClef"):
            name = name or (own.findtext(path) if own is not None else None) or ""
        clefs = [one for tag in ("transposingClef", "clef", "concertClef")
                 for one in self.part.instrument.iterchildren(tag)
                 if one.get("staff", "1") == str(self.nth)]
        name = name or (clefs[0].text or "" if clefs else "") or "G"
        bar.clefs.append((Fraction(0), self.nth, *clef_of("PERC" if self.part.drums else name)))
        if self.transposition != Transposition() and self.nth == 1:
            bar.transpositions.append((Fraction(0), self.transposition))

    def find_ottavas(self, elements: list[etree._Element]) -> None:
        """Note where an ottava shifts what is played, from the start of the score."""
        shifts = {"8va": 12, "8vb": -12, "15ma": 24, "15mb": -24, "22ma": 36, "22mb": -36, "0": 12, "1": 24, "2": -12,
                  "3": -24}
        open_ids: dict[str, tuple[Fraction, int]] = {}
        for index, element in enumerate(elements[:len(self.bars)]):
            if next(element.iter("Ottava"), None) is None and not open_ids:
                continue
            for at, _, child, _ in self.events(index, element):
                here = self.starts[index] + at
                if child.tag == "Spanner" and child.get("type") == "Ottava" and child.find("next") is not None:
                    shift = shifts.get((child.findtext("Ottava/subtype") or "").strip(), 0)
                    measures = whole(child.findtext("next/location/measures"), 0)
                    far = self.starts[min(index + measures, len(self.starts) - 1)] - self.starts[index] \
                        if index + measures < len(self.starts) else sum(
                            (bar.length for bar in self.bars[index:]), Fraction(0))
                    end = here + far + fraction(child.findtext("next/location/fractions")) * 4
                    self.ottavas.append((here, end, shift))
                elif child.tag == "Ottava":
                    open_ids[child.get("id", "")] = here, shifts.get((child.findtext("subtype") or "").strip(), 0)
                elif child.tag == "endSpanner" and child.get("id") in open_ids:
                    begin, shift = open_ids.pop(child.get("id", ""))
                    self.ottavas.append((begin, here, shift))

    def events(self, index: int,
               element: etree._Element) -> Iterator[tuple[Fraction, int, etree._Element, tuple[int, int]]]:
        """Yield (place, voice, element, tuplet ratio) of everything in a measure, in the order of the file."""
        if self.version >= 3 and element.find("voice") is not None:
            for child in element:
                if child.tag == "voice":
                    continue
                yield Fraction(0), 1, child, (1, 1)
            for voice, holder in enumerate(element.iterchildren("voice"), 1):
                at = Fraction(0)
                ratios = [(1, 1)]
                for child in holder.iterchildren(etree.Element):
                    if child.tag == "location":
                        at = max(Fraction(0), at + fraction(child.findtext("fractions")) * 4)
                    elif child.tag == "Tuplet":
                        ratios.append(times(ratios[-1], ratio_of(child)))
                        yield at, voice, child, ratios[-1]
                    elif child.tag == "endTuplet":
                        yield at, voice, child, ratios[-1]
                        if len(ratios) > 1:
                            ratios.pop()
                    else:
                        yield at, voice, child, ratios[-1]
                        at += self.length(child, ratios[-1], index)
            return
        at = Fraction(0)
        for child in element.iterchildren(etree.Element):
            voice = whole(child.findtext("track"), 0) % 4 + 1
            if child.tag == "tick":
                at = max(Fraction(0), Fraction(whole(child.text, 0), self.part.division) - self.starts[index])
            elif child.tag == "move":
                at = max(Fraction(0), fraction(child.text) * 4)
            elif child.tag == "Tuplet":
                inner = self.tuplets.get((child.findtext("Tuplet") or "").strip())
                self.tuplets[child.get("id", "")] = times(inner or (1, 1), ratio_of(child))
            else:
                told = child.findtext("tick")
                if told is not None and child.tag in ("Chord", "Rest") and self.version == 1:
                    at = max(Fraction(0), Fraction(whole(told, 0), self.part.division) - self.starts[index])
                ratio = self.tuplets.get((child.findtext("Tuplet") or "").strip(), (1, 1))
                yield at, voice, child, ratio
                at += self.length(child, ratio, index)

    def length(self, child: etree._Element, ratio: tuple[int, int], index: int) -> Fraction:
        """Return how far an element moves on [quarter notes]."""
        tag = child.tag
        if tag in ("RepeatMeasure", "MeasureRepeat"):
            return self.bars[index].length
        if tag != "Chord" and tag != "Rest":
            return _ZERO
        kind, dots, told = "measure", "0", None
        for one in child:
            name = one.tag
            if name == "durationType":
                kind = (one.text or "").strip()
            elif name == "dots":
                dots = (one.text or "").strip()
            elif name == "duration":
                told = f"{one.get('z')}/{one.get('n')}" if one.get("z") else one.text
            elif name in _GRACE:
                return _ZERO
            elif name == "Note":
                break                   # what tells the length stands before
        if kind == "measure":
            value = fraction(told) * 4
            return min(value or self.bars[index].length, self.bars[index].length)
        key = (kind, dots, told, ratio, self.stretch)
        length = self.lengths.get(key)
        if length is None:
            value = fraction(told) * 4
            count = dots_of(dots)
            value = value or _LENGTHS.get(kind, Fraction(1)) * (2 - Fraction(1, 2**count))
            length = min(LONGEST, value * ratio[1] / ratio[0] / self.stretch)
            if len(self.lengths) < 10_000:
                self.lengths[key] = length
        return length

    def measure(self, index: int, element: etree._Element) -> None:
        """Read one measure."""
        bar = self.bars[index]
        graces: dict[int, list[Sound]] = {}
        open_tuplets: dict[int, list[int]] = {}
        starting: dict[int, list[str]] = {}
        if self.version <= 2:
            self.tuplets = {}
        spans: dict[str, list[Sound]] = {}
        for at, voice, child, ratio in self.events(index, element):
            tag = child.tag
            sounds = bar.voices.setdefault((self.nth, voice), [])
            if tag == "Chord":
                sound = self.chord(child, index, at, voice, ratio)
                sound.notations += starting.pop(voice, [])
                if sound.grace:
                    graces.setdefault(voice, []).append(sound)
                    continue
                held = graces.pop(voice, [])
                for grace in held:
                    grace.at = at if not grace.after else at + sound.length
                    sounds += [grace] if not grace.after else []
                sounds.append(sound)
                spans.setdefault((child.findtext("Tuplet") or "").strip(), []).append(sound)
                sounds += [grace for grace in held if grace.after]
                self.before[voice] = sound
            elif tag == "Rest":
                kind = (child.findtext("durationType") or "measure").strip()
                sound = Sound(at=at, length=self.length(child, ratio, index), kind="" if kind == "measure" else kind,
                              dots=dots_of(child.findtext("dots")), ratio=ratio, whole=kind == "measure",
                              hidden=is_hidden(child), notations=starting.pop(voice, []))
                self.pending.pop(voice, None)
                sounds.append(sound)
                spans.setdefault((child.findtext("Tuplet") or "").strip(), []).append(sound)
                self.before[voice] = sound
            elif tag in ("RepeatMeasure", "MeasureRepeat"):
                bar.style = '<measure-style><measure-repeat type="start">1</measure-repeat></measure-style>'
                sounds.append(Sound(at=at, length=bar.length, kind="", whole=True))
                if index + 1 < len(self.bars) and not self.bars[index + 1].style:
                    self.bars[index + 1].style = \
                        '<measure-style><measure-repeat type="stop"/></measure-style>'
            elif tag == "Tuplet" and self.version >= 3:
                self.tuplet_number = self.tuplet_number % 16 + 1
                open_tuplets.setdefault(voice, []).append(self.tuplet_number)
                starting.setdefault(voice, []).append(f'<tuplet type="start" number="{self.tuplet_number}"/>')
            elif tag == "endTuplet":
                number = open_tuplets[voice].pop() if open_tuplets.get(voice) else 0
                if number and voice in self.before:
                    self.before[voice].notations.append(f'<tuplet type="stop" number="{number}"/>')
            else:
                self.sign(child, index, at, voice, bar)
        for name, within in spans.items():
            if name:                   # versions 1 and 2: the members name their tuplet
                self.tuplet_number = self.tuplet_number % 16 + 1
                within[0].notations.append(f'<tuplet type="start" number="{self.tuplet_number}"/>')
                within[-1].notations.append(f'<tuplet type="stop" number="{self.tuplet_number}"/>')
        for key in [key for key, sounds in bar.voices.items() if not sounds]:
            del bar.voices[key]

    def sign(self, child: etree._Element, index: int, at: Fraction, voice: int, bar: Bar) -> None:
        """Read what is no chord and no rest."""
        tag = child.tag
        if tag == "Clef":
            name = child.findtext("transposingClefType") or child.findtext("concertClefType") \
                or child.findtext("subtype") or "G"
            if at >= bar.length and index + 1 < len(self.bars):
                bar, at = self.bars[index + 1], Fraction(0)
            bar.clefs = [one for one in bar.clefs if one[:2] != (at, self.nth)]
            bar.clefs.append((at, self.nth, *clef_of(name.strip())))
        elif tag == "KeySig" and at == 0:
            self.key(child, bar)
        elif tag == "TimeSig" and at == 0:
            self.time(child, bar)
        elif tag == "Tempo":
            bar.directions.append((at, self.nth, *metronome_of(child)))
        elif tag in ("StaffText", "SystemText", "Text", "RehearsalMark", "PlayTechAnnotation", "Expression"):
            words = one_line(text_of(child))
            swing = child.find("swing")
            sound = ""
            if swing is not None and whole(swing.get("unit"), 0) > 0 and swing.get("ratio") not in (None, "0", "50"):
                words = words or "Swing"
            kind = "rehearsal" if tag == "RehearsalMark" else "words"
            if words and not is_hidden(child):
                bar.directions.append((at, self.nth, f"<{kind}>{escaped(words)}</{kind}>", sound))
        elif tag == "Dynamic":
            name = (child.findtext("subtype") or "").strip()
            if re.fullmatch(r"[pm]?[pf]{1,5}|sfz|fz|fp|sf|sfp|rfz", name):
                bar.directions.append((at, self.nth, f"<dynamics><{name}/></dynamics>", ""))
        elif tag == "InstrumentChange":
            self.change(child, at, bar)
        elif tag == "Fermata":
            self.pending.setdefault(voice, {}).setdefault("notations", []).append("<fermata/>")
        elif tag == "Breath":
            before = self.before.get(voice)
            if before is not None:
                kind = (child.findtext("symbol") or child.findtext("subtype") or "").lower()
                caesura = "caesura" in kind or kind.strip() in ("2", "3", "4", "5")
                before.articulations.append("<caesura/>" if caesura else "<breath-mark/>")
        elif tag == "Trill" or (tag == "Spanner" and child.get("type") == "Trill" and child.find("next") is not None):
            self.pending.setdefault(voice, {}).setdefault("ornaments", []).append("<trill-mark/>")
        elif tag == "Spanner" and child.get("type") == "GradualTempoChange" and child.find("next") is not None:
            words = one_line(text_of(child.find("GradualTempoChange"), "beginText"))
            if words:
                bar.directions.append((at, self.nth, f"<words>{escaped(words)}</words>", ""))
        elif tag in ("TextLine", "Spanner"):
            line = child if tag == "TextLine" else child.find("TextLine")
            words = one_line(text_of(line, "beginText"))
            if words:
                bar.directions.append((at, self.nth, f"<words>{escaped(words)}</words>", ""))

    def key(self, child: etree._Element, bar: Bar) -> None:
        """Read a key signature as printed."""
        printed = child.findtext("actualKey") or child.findtext("accidental") or child.findtext("subtype")
        fifths = whole(printed, 0)
        if child.findtext("actualKey") is None and (self.part.concert or child.find("concertKey") is not None):
            fifths = whole(child.findtext("concertKey") or printed, 0)
            fifths -= 7 * self.transposition.chromatic - 12 * self.transposition.diatonic
            fifths += 12 * (fifths < -7) - 12 * (fifths > 7)
        if -7 <= fifths <= 7:
            bar.keys[self.nth] = fifths

    def time(self, child: etree._Element, bar: Bar) -> None:
        """Read a time signature; one of this staff alone only stretches its notes."""
        beats, unit = (child.findtext("sigN") or "").strip(), (child.findtext("sigD") or "").strip()
        if not beats:
            counts = [(child.findtext(f"nom{k}") or "").strip() for k in range(1, 5)]
            beats, unit = "+".join(one for one in counts if one.isdecimal()), (child.findtext("den") or "").strip()
        stretch = Fraction(max(1, whole(child.findtext("stretchN"), 1)), max(1, whole(child.findtext("stretchD"), 1)))
        self.stretch = stretch
        kind = (child.findtext("subtype") or "").strip()
        if bar_of(child) is not None and stretch == 1:
            bar.time = beats, unit, {"1": "common", "2": "cut"}.get(kind, "") if self.version > 1 else ""

    def change(self, child: etree._Element, at: Fraction, bar: Bar) -> None:
        """Read a change of instrument."""
        words = one_line(text_of(child))
        if words:
            bar.directions.append((at, self.nth, f"<words>{escaped(words)}</words>", ""))
        inner = child.find("Instrument")
        if inner is None:
            return
        self.changes += 1
        self.place = min(self.place + 1, len(self.part.instruments) - 1)
        new = transposition_of(inner)
        if new != self.transposition:
            self.transposition = new
            bar.transpositions = [one for one in bar.transpositions if one[0] != at]
            bar.transpositions.append((at, new))

    def chord(self, child: etree._Element, index: int, at: Fraction, voice: int, ratio: tuple[int, int]) -> Sound:
        """Read one chord."""
        texts = {one.tag: (one.text or "").strip() for one in child}
        grace = next((tag for tag in texts if tag in _GRACE), "")
        kind = texts.get("durationType", "quarter")
        sound = Sound(at=at, length=_ZERO if grace else self.length(child, ratio, index),
                      kind=kind if kind in _LENGTHS else "quarter", dots=dots_of(texts.get("dots")),
                      ratio=(1, 1) if grace else ratio, grace=bool(grace), slash=grace == "acciaccatura",
                      after=grace.endswith("after"), hidden=texts.get("visible") == "0")
        small = texts.get("small", "0") != "0"
        for one in child.iterchildren(etree.Element):
            tag = one.tag
            if tag == "Note":
                sound.heads.append(self.note(one, index, at, voice, small))
            elif tag in ("Articulation", "Ornament"):
                self.articulation(one, sound)
            elif tag == "Lyrics":
                text = one_line(text_of(one))
                if text:
                    kind = (one.findtext("syllabic") or "single").strip()
                    kind = kind if kind in ("single", "begin", "middle", "end") else "single"
                    row = whole(one.findtext("no"), 0) + 1
                    sound.lyrics.append(f'<lyric number="{row}"><syllabic>{kind}</syllabic><text>{escaped(text)}'
                                        "</text></lyric>")
            elif tag == "Slur":
                self.slur(one.get("type", ""), one.get("id") or one.get("number") or "", sound, voice)
            elif tag == "Spanner" and one.get("type") == "Slur":
                for end, word in (("prev", "stop"), ("next", "start")):
                    if one.find(end) is not None:
                        self.slur(word, self.where(one.find(f"{end}/location"), index, at, voice, word), sound, voice)
            elif tag in ("Tremolo", "TremoloTwoChord", "TremoloSingleChord"):
                name = (one.findtext("subtype") or "").strip()
                strokes = {"8": 1, "16": 2, "32": 3, "64": 4}.get(name[1:], 1)
                if name.startswith("c"):
                    sound.ornaments.append(f'<tremolo type="start">{strokes}</tremolo>')
                    self.tremolo[voice] = f'<tremolo type="stop">{strokes}</tremolo>'
                elif name.startswith("r"):
                    sound.ornaments.append(f'<tremolo type="single">{strokes}</tremolo>')
        if not grace:
            stop = self.tremolo.get(voice)
            if stop and not any('type="start"' in text for text in sound.ornaments):
                sound.ornaments.append(self.tremolo.pop(voice))
            held = self.pending.pop(voice, {})
            sound.notations += held.get("notations", [])
            sound.ornaments += held.get("ornaments", [])
        sound.heads.sort(key=lambda head: head.pitch.midi if head.pitch else 0)
        if self.part.many:
            sound.instrument = f"P{self.part.place}-I{self.place + 1}"
        return sound

    def articulation(self, one: etree._Element, sound: Sound) -> None:
        """Read an articulation, a fermata or an ornament."""
        name = (one.findtext("subtype") or "").strip().lower()
        if "fermata" in name:
            sound.notations.append("<fermata/>")
            return
        for part, group, element in ARTICULATION_OF:
            if part in name:
                (sound.articulations if group == "articulations" else sound.ornaments).append(element)
                if "tenutostaccato" in name or name == "portato":
                    sound.articulations.append("<tenuto/>")
                return

    def slur(self, kind: str, key: object, sound: Sound, voice: int) -> None:
        """Begin or end a slur at a chord."""
        if kind == "start":
            used = set(self.slurs.values())
            number = next((n for n in range(1, 17) if n not in used), 16)
            self.slurs[key] = number
            sound.notations.append(f'<slur type="start" number="{number}"/>')
        elif kind == "stop":
            if key not in self.slurs and self.slurs and self.version >= 3:
                key = next((one for one in self.slurs if isinstance(one, tuple) and one[2] == voice), None)
            found = self.slurs.pop(key, None)
            if found is not None:
                sound.notations.append(f'<slur type="stop" number="{found}"/>')

    def where(self, location: etree._Element | None, index: int, at: Fraction, voice: int,
              word: str) -> tuple[int, Fraction, int]:
        """Return the place of a spanner's start: here, or where its end points back to."""
        if word == "start":
            return index, at, voice
        if location is None:
            return index, at, voice
        return (index + whole(location.findtext("measures"), 0),
                at + fraction(location.findtext("fractions")) * 4, voice + whole(location.findtext("voices"), 0))

    def note(self, one: etree._Element, index: int, at: Fraction, voice: int, small: bool) -> Head:
        """Read one note."""
        texts = {child.tag: (child.text or "").strip() for child in one}
        head = Head(pitch=None, origin=self.part.ordinals.get(one, -1), hidden=texts.get("visible") == "0",
                    cue=small or texts.get("small", "0") != "0")
        if self.version >= 4:           # from here on a small note that plays is only printed small
            head.cue = head.cue and texts.get("play") == "0"
        sound = whole(texts.get("pitch") or one.get("pitch"), -1)
        if not self.part.drums:
            shift = 0
            if self.ottavas:
                here = self.starts[index] + at
                shift = sum(move for begin, end, move in self.ottavas if begin <= here < end)
            spelt = texts.get("tpc") or one.get("tpc")
            key = (sound, spelt, texts.get("tpc2"), shift, self.transposition)
            if key not in self.pitches:
                self.pitches[key] = self.pitch(sound, spelt, texts.get("tpc2"), shift)
            head.pitch = self.pitches[key]
        for child in one.iterchildren(etree.Element):
            tag = child.tag
            if tag == "Tie":
                head.tie |= 1
                if child.get("id"):
                    self.ties.add(child.get("id", ""))
            elif tag == "endSpanner":
                name = child.get("id", "")
                if name in self.ties:
                    head.tie |= 2
                elif name in self.glides:
                    head.lines.append(f'<slide type="stop" number="{self.glides.pop(name)}"/>')
            elif tag == "Glissando":
                self.glide(child.get("id", ""), head)
            elif tag == "Spanner":
                kind = child.get("type")
                if kind == "Tie":
                    head.tie |= (1 if child.find("next") is not None else 0) | (
                        2 if child.find("prev") is not None else 0)
                elif kind == "Glissando":
                    if child.find("prev") is not None:
                        begin = self.where(child.find("prev/location"), index, at, voice, "stop")
                        if begin in self.glides:
                            head.lines.append(f'<slide type="stop" number="{self.glides.pop(begin)}"/>')
                    if child.find("next") is not None:
                        self.glide((index, at, voice), head)
            elif tag == "Fingering":
                head.technical.append(fingering_of(child))
            elif tag == "head" and (child.text or "").strip().startswith("slash"):
                head.notehead = "<notehead>slash</notehead>"
            elif tag == "parentheses" or (tag == "Symbol" and "arenthes" in (child.findtext("name") or "")):
                head.notehead = head.notehead or '<notehead parentheses="yes">normal</notehead>'
        if self.version == 1:
            # Ties end at the next note of the pitch; the file does not say where.
            if self.hanging.pop((voice, sound), False):
                head.tie |= 2
            if head.tie & 1:
                self.hanging[voice, sound] = True
        return head

    def glide(self, key: object, head: Head) -> None:
        """Begin a glissando at a note."""
        used = set(self.glides.values())
        number = next((n for n in range(1, 17) if n not in used), 16)
        self.glides[key] = number
        head.lines.append(f'<slide type="start" number="{number}" line-type="solid"/>')

    def pitch(self, midi: int, tpc: str | None, told: str | None, shift: int) -> Pitch:
        """Return the written pitch of a number, its spelling, that of the printed note, and the shift of an ottava."""
        fifth = whole(tpc, 14)
        own = self.transposition
        if self.version == 1 and not self.part.concert:
            written, printed = midi, fifth
        else:
            written = midi - own.chromatic
            # Printed spelling; where the file has only that of concert pitch, moved by the interval.
            printed = whole(told, 14) if told is not None else fifth - (7 * own.chromatic - 12 * own.diatonic)
        alter = (printed + 1) // 7 - 2
        step = _STEPS[(printed + 1) % 7]
        result = Pitch(step, alter, 0)
        octaves, rest = divmod(written + shift - result.midi, 12)
        if not 0 <= midi <= 127 or abs(alter) > 3:
            return Pitch("C", 0, -9)             # the reader says that this is none
        if rest:                                 # number and spelling differ: the number sounds
            result = Pitch(*(("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1),
                             ("A", 0), ("B", -1), ("B", 0))[(written + shift) % 12], 0)
            octaves = (written + shift) // 12 - 1
        return Pitch(result.step, result.alter, octaves)

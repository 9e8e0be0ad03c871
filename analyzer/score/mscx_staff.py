"""One staff of a score in the .mscx form, read into bars; what the form looks like is said in `mscx`."""

import re
from fractions import Fraction

from lxml import etree

from analyzer.pitch import Transposition
from analyzer.score.composing import Bar, Sound
from analyzer.score.mscx_chord import ChordReader, Here, PartFacts
from analyzer.score.mscx_signs import clef_of, metronome_of, text_of
from analyzer.score.mscx_values import bar_of, dots_of, escaped, is_hidden, measures_of, transposition_of, whole
from analyzer.score.mscx_walk import Walk
from analyzer.score.vocabulary import one_line


class StaffReader:
    """Reads one staff. Places count in quarter notes inside the measure."""

    def __init__(self, part: PartFacts, staff: etree._Element, nth: int, bars: list[Bar]) -> None:
        self.part, self.staff, self.nth, self.bars = part, staff, nth, bars
        self.version = part.version
        self.walk = Walk(part.version, part.division, bars)
        self.chords = ChordReader(part, nth, self.walk)
        self.before: dict[int, Sound] = {}               # the last sound of each voice
        # Slurs that chords name; versions 1 and 2 have others, between chords, that hold from the next one on.
        self.named = {one.get("id") or one.get("number") for one in staff.iterfind("Measure/Chord/Slur")}
        self.tuplet_number = 0

    def read(self) -> None:
        """Read all measures into the bars."""
        self.head()
        elements = measures_of(self.staff)
        self.chords.ottavas = self.walk.ottavas(elements)
        for index, element in enumerate(elements[:len(self.bars)]):
            self.measure(index, element)
            if self.version <= 2:
                self.part.slurs.next_measure()

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
        if self.chords.transposition != Transposition() and self.nth == 1:
            bar.transpositions.append((Fraction(0), self.chords.transposition))

    def measure(self, index: int, element: etree._Element) -> None:
        """Read one measure."""
        bar = self.bars[index]
        graces: dict[int, list[Sound]] = {}
        open_tuplets: dict[int, list[int]] = {}
        starting: dict[int, list[str]] = {}
        spans: dict[str, list[Sound]] = {}
        for at, voice, child, ratio in self.walk.events(index, element):
            tag = child.tag
            sounds = bar.voices.setdefault((self.nth, voice), [])
            if tag == "Chord":
                held = graces.get(voice, [])
                sound = self.chords.chord(child, Here(index, at, voice, ratio, len(held)))
                sound.notations += starting.pop(voice, [])
                if sound.grace:
                    graces.setdefault(voice, []).append(sound)
                    continue
                if self.version == 1 and 'type="stop"' in "".join(sound.ornaments):
                    self.halve(self.before.get(voice), sound)
                graces.pop(voice, None)
                for grace in held:
                    grace.at = at if not grace.after else at + sound.length
                    sounds += [grace] if not grace.after else []
                sounds.append(sound)
                spans.setdefault((child.findtext("Tuplet") or "").strip(), []).append(sound)
                sounds += [grace for grace in held if grace.after]
                self.before[voice] = sound
            elif tag == "Rest":
                kind = (child.findtext("durationType") or "measure").strip()
                sound = Sound(at=at, length=self.walk.length(child, ratio, index),
                              kind="" if kind == "measure" else kind, dots=dots_of(child.findtext("dots")), ratio=ratio,
                              whole=kind == "measure", hidden=is_hidden(child), notations=starting.pop(voice, []))
                self.chords.waiting.pop(voice, None)
                self.chords.rest(child, Here(index, at, voice, ratio), self.before.get(voice))
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
        self.close(bar, spans)

    def close(self, bar: Bar, spans: dict[str, list[Sound]]) -> None:
        """Put in the tuplets of versions 1 and 2, whose members name them, and take out empty voices."""
        for name, within in spans.items():
            if name:
                self.tuplet_number = self.tuplet_number % 16 + 1
                within[0].notations.append(f'<tuplet type="start" number="{self.tuplet_number}"/>')
                within[-1].notations.append(f'<tuplet type="stop" number="{self.tuplet_number}"/>')
        for key in [key for key, sounds in bar.voices.items() if not sounds]:
            del bar.voices[key]

    @staticmethod
    def halve(first: Sound | None, second: Sound) -> None:
        """Share a tremolo on two chords between them: in version 1 each has the length of both."""
        if first is not None and second.at - first.at == second.length / 2:
            first.length /= 2
            second.length /= 2
            first.ornaments += [text.replace("stop", "start") for text in second.ornaments if "stop" in text]

    def sign(self, child: etree._Element, index: int, at: Fraction, voice: int, bar: Bar) -> None:
        """Read what is no chord and no rest."""
        tag = child.tag
        if tag == "Clef":
            views = ["transposingClefType", "concertClefType", "subtype"]
            if self.part.concert and self.chords.transposition == Transposition():
                views.insert(0, "concertClefType")       # the clef that was seen
            name = next((text for text in map(child.findtext, views) if text), "G")
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
            self.chords.waiting.setdefault(voice, {}).setdefault("notations", []).append("<fermata/>")
        elif tag == "Breath":
            before = self.before.get(voice)
            if before is not None:
                kind = (child.findtext("symbol") or child.findtext("subtype") or "").lower()
                caesura = "caesura" in kind or kind.strip() in ("2", "3", "4", "5")
                before.articulations.append("<caesura/>" if caesura else "<breath-mark/>")
        elif tag == "Trill" or (tag == "Spanner" and child.get("type") == "Trill" and child.find("next") is not None):
            self.chords.waiting.setdefault(voice, {}).setdefault("ornaments", []).append("<trill-mark/>")
        elif tag == "Spanner" and child.get("type") == "GradualTempoChange" and child.find("next") is not None:
            words = one_line(text_of(child.find("GradualTempoChange"), "beginText"))
            if words:
                bar.directions.append((at, self.nth, f"<words>{escaped(words)}</words>", ""))
        elif tag in ("Slur", "endSpanner") and self.version <= 2 and child.get("id") not in self.named:
            ends = self.chords.slurs_from if tag == "Slur" else self.chords.slurs_to
            ends.setdefault(voice, []).append(child.get("id", ""))
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
            fifths -= 7 * self.chords.transposition.chromatic - 12 * self.chords.transposition.diatonic
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
        self.walk.stretch = stretch
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
        self.chords.place = min(self.chords.place + 1, len(self.part.instruments) - 1)
        new = transposition_of(inner)
        if new != self.chords.transposition:
            self.chords.transposition = new
            bar.transpositions = [one for one in bar.transpositions if one[0] != at]
            bar.transpositions.append((at, new))

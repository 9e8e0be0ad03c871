"""Time in one staff of the .mscx form: where each element of a measure stands, and how long it lasts."""

from collections.abc import Iterator
from fractions import Fraction

from lxml import etree

from analyzer.score.composing import Bar
from analyzer.score.mscx_values import LONGEST, dots_of, fraction, ratio_of, times, whole

LENGTHS = {"long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2),
           "quarter": Fraction(1), "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
           "64th": Fraction(1, 16), "128th": Fraction(1, 32), "256th": Fraction(1, 64)}
"""Quarter notes of a note value."""
GRACE = {"acciaccatura": "eighth", "appoggiatura": "eighth", "grace4": "quarter", "grace16": "16th",
         "grace32": "32nd", "grace8after": "eighth", "grace16after": "16th", "grace32after": "32nd"}
_ZERO = Fraction(0)
_ROUNDED = Fraction(1, 60)             # eight ticks of 480: rounding adds up over a nonuplet; a 256th has 1/64
_OTTAVAS = {"8va": 12, "8vb": -12, "15ma": 24, "15mb": -24, "22ma": 36, "22mb": -36, "0": 12, "1": 24, "2": -12,
            "3": -24, "": 12}           # untold it is the first

Event = tuple[Fraction, int, etree._Element, tuple[int, int]]
"""Place in the measure [quarter notes], voice from 1, element, ratio of the tuplets around it."""


class Walk:
    """Goes through the measures of one staff. `stretch` is that of a time signature of this staff alone."""

    def __init__(self, version: int, division: int, bars: list[Bar]) -> None:
        self.version, self.division, self.bars = version, division, bars
        self.stretch = Fraction(1)
        self.starts: list[Fraction] = []
        at = _ZERO
        for bar in bars:
            self.starts.append(at)
            at += bar.length
        self.end = at
        self.tuplets: dict[str, tuple[int, int]] = {}
        self.lengths: dict[tuple[str, str, str | None, tuple[int, int], Fraction], Fraction] = {}

    def events(self, index: int, element: etree._Element) -> Iterator[Event]:
        """Yield everything in a measure, in the order of the file."""
        if self.version >= 3 and element.find("voice") is not None:
            yield from self.in_voices(index, element)
            return
        at = _ZERO
        self.tuplets = {}
        for child in element.iterchildren(etree.Element):
            voice = whole(child.findtext("track"), 0) % 4 + 1
            if child.tag == "tick":
                at = self.at_tick(child.text, index, at)
            elif child.tag == "move":
                at = max(_ZERO, fraction(child.text) * 4)
            elif child.tag == "Tuplet":
                inner = self.tuplets.get((child.findtext("Tuplet") or "").strip())
                self.tuplets[child.get("id", "")] = times(inner or (1, 1), ratio_of(child))
            else:
                told = child.findtext("tick")
                if told is not None and child.tag in ("Chord", "Rest") and self.version == 1:
                    at = self.at_tick(told, index, at)
                ratio = self.tuplets.get((child.findtext("Tuplet") or "").strip(), (1, 1))
                yield at, voice, child, ratio
                at += self.length(child, ratio, index)

    def in_voices(self, index: int, element: etree._Element) -> Iterator[Event]:
        """Yield everything in a measure of version 3 or 4."""
        for child in element:
            if child.tag != "voice":
                yield _ZERO, 1, child, (1, 1)
        for voice, holder in enumerate(element.iterchildren("voice"), 1):
            at = _ZERO
            ratios = [(1, 1)]
            for child in holder.iterchildren(etree.Element):
                if child.tag == "location":
                    at = max(_ZERO, at + fraction(child.findtext("fractions")) * 4)
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

    def at_tick(self, text: str | None, index: int, now: Fraction) -> Fraction:
        """Return the place in the measure of a tick, which counts from the start of the score.

        In tuplets ticks are rounded: one beside the place `now` is that place.
        """
        told = max(_ZERO, Fraction(whole(text, 0), self.division) - self.starts[index])
        return now if abs(told - now) <= _ROUNDED else told

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
            elif name in GRACE:
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
            value = value or LENGTHS.get(kind, Fraction(1)) * (2 - Fraction(1, 2**count))
            length = min(LONGEST, value * ratio[1] / ratio[0] / self.stretch)
            if len(self.lengths) < 10_000:
                self.lengths[key] = length
        return length

    def ottavas(self, elements: list[etree._Element]) -> list[tuple[Fraction, int]]:
        """Return from where on an ottava shifts what is played: place from the start of the score, semitones.

        They do not add up: where two overlap, what began or ended last holds (libmscore/staff.cpp: updateOttava).
        """
        found: list[tuple[Fraction, Fraction, int]] = []
        open_ids: dict[str, tuple[Fraction, int]] = {}
        for index, element in enumerate(elements[:len(self.bars)]):
            if next(element.iter("Ottava"), None) is None and not open_ids:
                continue
            for at, _, child, _ in self.events(index, element):
                here = self.starts[index] + at
                if child.tag == "Spanner" and child.get("type") == "Ottava" and child.find("next") is not None:
                    shift = _OTTAVAS.get((child.findtext("Ottava/subtype") or "").strip(), 0)
                    last = index + whole(child.findtext("next/location/measures"), 0)
                    far = (self.starts[last] if 0 <= last < len(self.starts) else self.end) - self.starts[index]
                    end = here + far + fraction(child.findtext("next/location/fractions")) * 4
                    found.append((here, end, shift))
                elif child.tag == "Ottava":
                    open_ids[child.get("id", "")] = here, _OTTAVAS.get((child.findtext("subtype") or "").strip(), 0)
                elif child.tag == "endSpanner" and child.get("id") in open_ids:
                    begin, shift = open_ids.pop(child.get("id", ""))
                    found.append((begin, here, shift))
        shifts: dict[Fraction, int] = {}
        for begin, end, shift in sorted(found):
            shifts[begin] = shift
            shifts[end] = 0
        return sorted(shifts.items())

"""One layer of MEI (what one voice of a staff plays in a measure) as sounds: notes, chords, rests, tremolos."""

from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from analyzer.pitch import Pitch, Transposition, signature
from analyzer.score.composing import Bar, Head, Sound, Voiced
from analyzer.score.mei_signs import ARTICULATIONS, clef_of, words_of
from analyzer.score.mei_tree import ID, escaped, readings, tag_of, whole_number
from analyzer.score.vocabulary import one_line

_KINDS: dict[str, tuple[str, int | Fraction]] = {
    "maxima": ("breve", 32), "long": ("breve", 16), "breve": ("breve", 8), "1": ("whole", 4), "2": ("half", 2),
    "4": ("quarter", 1), "8": ("eighth", Fraction(1, 2)), "16": ("16th", Fraction(1, 4)),
    "32": ("32nd", Fraction(1, 8)), "64": ("64th", Fraction(1, 16)), "128": ("128th", Fraction(1, 32)),
    "256": ("256th", Fraction(1, 64))}
_ALTER = {"s": 1, "f": -1, "ss": 2, "x": 2, "ff": -2, "n": 0, "xs": 3, "sx": 3, "ts": 3, "tf": -3, "ns": 1, "nf": -1}
_INSIDE = frozenset(("beam", "tuplet", "graceGrp", "bTrem", "fTrem", "ligature", "app", "lem", "rdg", "choice", "corr",
                     "reg", "supplied", "unclear", "add", "restore", "orig", "sic", "abbr", "expan", "subst", "damage"))


@dataclass(slots=True)
class Staff:
    """One staff of the source, and where its music goes."""

    part: Voiced
    place: int                          # in the part, from 1
    transposition: Transposition = field(default_factory=Transposition)
    fifths: int = 0
    meter: Fraction = Fraction(4)
    unit: int = 4
    drums: bool = False
    clef: tuple[str, str, int] = ("G", "2", 0)
    first: bool = True
    number: int = 1                     # of the part in the score
    fresh: list[etree._Element] = field(default_factory=list)      # definitions that hold from the next measure on


@dataclass(slots=True)
class MovementNotes:
    """What the layers of a movement know together, and what they find."""

    ordinals: dict[etree._Element, int]                     # of every note in the file
    told_gestures: bool                                     # the file says somewhere what alteration sounds
    staves: dict[str, Staff] = field(default_factory=dict)  # by the number of their definition
    heads: dict[str, tuple[Sound, Head | None]] = field(default_factory=dict)     # by xml:id
    gestural: set[int] = field(default_factory=set)         # heads (by `id`) whose octave under an 8va sign is told


class Layer:
    """Reads one layer."""

    def __init__(self, movement: MovementNotes, staff: Staff, bar: Bar, altered: dict[tuple[str, int], int]) -> None:
        self.movement, self.staff, self.bar, self.altered = movement, staff, bar, altered
        self.at = Fraction(0)
        self.sounds: list[Sound] = []
        self.rests = 1

    def read(self, layer: etree._Element) -> None:
        """Read everything in the layer."""
        self._children(layer, (1, 1), "")
        if len(self.sounds) == 1 and not self.sounds[0].heads and self.sounds[0].kind == "whole" \
                and self.at > self.staff.meter:
            # A whole rest alone in a shorter measure is a rest of that measure.
            self.sounds[0].whole, self.sounds[0].kind, self.at = True, "", Fraction(0)

    def _children(self, element: etree._Element, ratio: tuple[int, int], grace: str) -> None:
        for child in readings(element):
            tag = tag_of(child)
            if tag in ("note", "chord"):
                self.chord(child, ratio, grace)
            elif tag in ("rest", "space"):
                self._rest(child, tag, ratio)
            elif tag in ("mRest", "multiRest", "mSpace"):
                self.sounds.append(Sound(at=Fraction(0), length=self.staff.meter, kind="", whole=True,
                                         hidden=tag == "mSpace"))
                if tag == "multiRest":
                    self.rests = max(1, whole_number(child.get("num"), 1))
            elif tag in ("mRpt", "mRpt2", "multiRpt"):
                self.bar.style = '<measure-style><measure-repeat type="start">1</measure-repeat></measure-style>'
                self.sounds.append(Sound(at=Fraction(0), length=self.staff.meter, kind="", whole=True))
            elif tag == "clef":
                clef = clef_of(child)
                if clef is not None:
                    self.staff.clef = clef
                    self.bar.clefs.append((self.at, self.staff.place, *clef))
            elif tag == "tuplet":
                num, base = whole_number(child.get("num"), 3), whole_number(child.get("numbase"), 2)
                inside = (ratio[0] * num, ratio[1] * base) if 0 < num < 1000 and 0 < base < 1000 else ratio
                first = len(self.sounds)
                self._children(child, inside, grace)
                if len(self.sounds) > first:
                    self.sounds[first].notations.append('<tuplet type="start" number="1"/>')
                    self.sounds[-1].notations.append('<tuplet type="stop" number="1"/>')
            elif tag == "graceGrp":
                self._children(child, ratio, child.get("grace") or "unknown")
            elif tag in ("bTrem", "fTrem"):
                self._tremolo(child, tag, ratio, grace)
            elif tag in _INSIDE:
                self._children(child, ratio, grace)

    def _tremolo(self, element: etree._Element, tag: str, ratio: tuple[int, int], grace: str) -> None:
        first, begin = len(self.sounds), self.at
        self._children(element, ratio, grace)
        inside = self.sounds[first:]
        if tag == "fTrem" and len(inside) == 2:
            # Both are written with the length of the whole figure.
            for place, (sound, kind) in enumerate(zip(inside, ("start", "stop"), strict=True)):
                sound.length /= 2
                sound.at = begin + place * sound.length
                sound.ornaments.append(f'<tremolo type="{kind}">3</tremolo>')
            self.at = begin + inside[0].length + inside[1].length
        elif tag == "bTrem" and inside:
            inside[0].ornaments.append('<tremolo type="single">3</tremolo>')

    def _length(self, element: etree._Element, ratio: tuple[int, int]) -> tuple[str, int, Fraction]:
        kind, quarters = _KINDS.get(element.get("dur") or "4", ("quarter", 1))
        dots = whole_number(element.get("dots"), -1)
        if dots < 0:
            dots = sum(tag_of(one) == "dot" for one in element)
        dots = min(dots, 4)
        return kind, dots, Fraction(quarters) * (2 - Fraction(1, 2**dots)) * ratio[1] / ratio[0]

    def _rest(self, element: etree._Element, tag: str, ratio: tuple[int, int]) -> None:
        kind, dots, length = self._length(element, ratio)
        if element.get("dur") is None and tag == "rest":
            length = self.staff.meter
        sound = Sound(at=self.at, length=length, kind=kind, dots=dots, ratio=ratio, hidden=tag == "space")
        self.sounds.append(sound)
        self.movement.heads[element.get(ID, "")] = sound, None
        self.at += length

    def chord(self, element: etree._Element, ratio: tuple[int, int], within: str) -> None:
        """Read a note or a chord."""
        notes = [element] if tag_of(element) == "note" else [
            one for one in readings(element) if tag_of(one) == "note"]
        grace = element.get("grace") or within
        holder = element if element.get("dur") or not notes else notes[0]
        kind, dots, length = self._length(holder, ratio)
        sound = Sound(at=self.at, length=Fraction(0) if grace else length, kind=kind, dots=dots,
                      ratio=(1, 1) if grace else ratio, grace=bool(grace), slash=grace == "unacc",
                      hidden=element.get("visible") == "false", staff=self.other_staff(holder.get("staff")))
        self._marks(element, sound)
        for note in notes:
            head = self._note(note, element)
            sound.heads.append(head)
            if note is not element:
                self._marks(note, sound)
                self.movement.heads[note.get(ID, "")] = sound, head
        self.movement.heads[element.get(ID, "")] = sound, sound.heads[0] if len(sound.heads) == 1 else None
        sound.heads.sort(key=lambda head: head.pitch.midi if head.pitch else 0)
        self.sounds.append(sound)
        self.at += sound.length

    def other_staff(self, told: str | None) -> int:
        """Return the staff of the part on which a note is printed, where that is not its layer's; else 0."""
        other = self.movement.staves.get(told or "")
        return other.place if other is not None and other.part is self.staff.part and other is not self.staff else 0

    def _marks(self, element: etree._Element, sound: Sound) -> None:
        names = (element.get("artic") or "").split()
        for child in element.iterchildren(etree.Element):
            tag = tag_of(child)
            if tag == "artic":
                names += (child.get("artic") or "").split()
            elif tag in ("verse", "syl"):
                for syllable in [child] if tag == "syl" else [one for one in child if tag_of(one) == "syl"]:
                    text = one_line(words_of(syllable))
                    if text:
                        row = max(1, whole_number(child.get("n"), 1))
                        sound.lyrics.append(f'<lyric number="{row}"><syllabic>single</syllabic><text>{escaped(text)}'
                                            "</text></lyric>")
        sound.articulations += [ARTICULATIONS[name] for name in names if name in ARTICULATIONS]
        if element.get("fermata"):
            sound.notations.append("<fermata/>")

    def _note(self, note: etree._Element, holder: etree._Element) -> Head:
        head = Head(pitch=None, origin=self.movement.ordinals.get(note, -1), hidden=note.get("visible") == "false",
                    cue="true" in (note.get("cue"), holder.get("cue")))
        if note.get("head.shape") == "slash":
            head.notehead = "<notehead>slash</notehead>"
        elif note.get("head.mod") == "paren" or any(
                tag_of(one) == "accid" and one.get("enclose") == "notehead" for one in note):
            head.notehead = '<notehead parentheses="yes">normal</notehead>'
        if not self.staff.drums:
            head.pitch = self._pitch(note, head)
        tie = (note.get("tie") or "") + (holder.get("tie") or "" if holder is not note else "")
        head.tie = (1 if set(tie) & set("im") else 0) | (2 if set(tie) & set("mt") else 0)
        return head

    def _pitch(self, note: etree._Element, head: Head) -> Pitch | None:
        step = (note.get("pname.ges") or note.get("pname") or "").upper()
        octave = whole_number(note.get("oct.ges") or note.get("oct"), -99)
        if note.get("oct.ges") is not None:
            self.movement.gestural.add(id(head))
        if step not in tuple("ABCDEFG") or octave < -1:
            return Pitch("C", 0, -9) if note.get("pname") is not None else None
        printed = note.get("accid")
        gesture = note.get("accid.ges")
        for child in note.iterchildren(etree.Element):
            if tag_of(child) == "accid":
                printed = printed or child.get("accid")
                gesture = gesture or child.get("accid.ges")
        if gesture is not None:
            return Pitch(step, _ALTER.get(gesture, 0), octave)
        if printed is not None:
            self.altered[step, octave] = _ALTER.get(printed, 0)
            return Pitch(step, self.altered[step, octave], octave)
        if self.movement.told_gestures:
            return Pitch(step, 0, octave)
        return Pitch(step, self.altered.get((step, octave), signature(self.staff.fifths).get(step, 0)), octave)

"""Chords and notes of the .mscx form."""

from bisect import bisect_right
from collections.abc import Hashable
from dataclasses import dataclass, field
from fractions import Fraction
from operator import itemgetter
from typing import Any

from lxml import etree

from analyzer.pitch import Pitch, Transposition
from analyzer.score.composing import Head, Instrument, Sound
from analyzer.score.mscx_pairs import Pairs
from analyzer.score.mscx_signs import ARTICULATION_OF, fingering_of, text_of
from analyzer.score.mscx_values import dots_of, escaped, fraction, transposition_of, whole
from analyzer.score.mscx_walk import GRACE, LENGTHS, Walk
from analyzer.score.vocabulary import one_line

_STEPS = "FCGDAEB"
_ZERO = Fraction(0)
_OLD_TREMOLOS = ("r8", "r16", "r32", "c8", "c16", "c32")       # numbers of version 1 (read114.cpp: readTremolo)
_SHARPS_AND_FLATS = (("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1),
                     ("A", 0), ("B", -1), ("B", 0))

Place = tuple[int, int, int, int, str]
"""Measure, onset in 96ths of a quarter note, voice, staff, number of the grace note: where a spanner has an end."""


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
    staves: int = 1
    slurs: Pairs = field(default_factory=Pairs)
    glides: Pairs = field(default_factory=Pairs)


@dataclass(frozen=True, slots=True)
class Here:
    """Where a chord stands: measure, place in it [quarter notes], voice, grace notes read before it."""

    index: int
    at: Fraction
    voice: int
    ratio: tuple[int, int]
    graces: int = 0


class ChordReader:
    """Reads the chords of one staff, in order; `waiting` are signs that belong to the next chord of a voice."""

    def __init__(self, part: PartFacts, nth: int, walk: Walk) -> None:
        self.part, self.nth, self.walk = part, nth, walk
        self.version = part.version
        self.transposition = transposition_of(part.instrument)
        self.place = 0                                   # of the instrument in the part
        self.ottavas: list[tuple[Fraction, int]] = []
        self.ties: set[str] = set()
        self.hanging: dict[tuple[int, int], bool] = {}    # version 1: (voice, pitch) of ties whose end is not told
        self.waiting: dict[int, dict[str, list[str]]] = {}
        self.slurs_from: dict[int, list[str]] = {}       # version 1: begun or ended between chords
        self.slurs_to: dict[int, list[str]] = {}
        self.tremolo: dict[int, str] = {}
        self.pitches: dict[tuple[int, str | None, str | None, int, Transposition], Pitch] = {}

    def chord(self, child: etree._Element, here: Here) -> Sound:
        """Read one chord."""
        texts = {one.tag: (one.text or "").strip() for one in child}
        grace = next((tag for tag in texts if tag in GRACE), "")
        kind = texts.get("durationType", "quarter")
        sound = Sound(at=here.at, length=_ZERO if grace else self.walk.length(child, here.ratio, here.index),
                      kind=kind if kind in LENGTHS else "quarter", dots=dots_of(texts.get("dots")),
                      ratio=(1, 1) if grace else here.ratio, grace=bool(grace), slash=grace == "acciaccatura",
                      after=grace.endswith("after"), hidden=texts.get("visible") == "0",
                      staff=self.staff_of(texts.get("move") or texts.get("staffMove")))
        small = texts.get("small", "0") != "0"
        place = self.place_of(here, grace=bool(grace))
        for one in child.iterchildren(etree.Element):
            tag = one.tag
            if tag == "Note":
                sound.heads.append(self.note(one, here, place, small))
            elif tag in ("Articulation", "Ornament"):
                _articulation(one, sound)
            elif tag == "Lyrics":
                _lyrics(one, sound)
            elif tag == "Slur":
                self.slur(one.get("type", ""), one.get("id") or one.get("number") or "", sound)
            elif tag == "Spanner" and one.get("type") == "Slur":
                for kind, key in self.ends(one, place):
                    self.slur(kind, key, sound)
            elif tag in ("Tremolo", "TremoloTwoChord", "TremoloSingleChord"):
                self.tremolo_of(one, sound, here.voice)
        if not grace:
            self.settle(sound, here.voice)
        sound.heads.sort(key=lambda head: head.pitch.midi if head.pitch else 0)
        if self.part.many:
            sound.instrument = f"P{self.part.place}-I{self.place + 1}"
        return sound

    def settle(self, sound: Sound, voice: int) -> None:
        """Give a chord what stood before it in its voice."""
        stop = self.tremolo.get(voice)
        if stop and not any('type="start"' in text for text in sound.ornaments):
            sound.ornaments.append(self.tremolo.pop(voice))
        held = self.waiting.pop(voice, {})
        sound.notations += held.get("notations", [])
        sound.ornaments += held.get("ornaments", [])
        for kind, names in (("stop", self.slurs_to), ("start", self.slurs_from)):
            for name in names.pop(voice, ()):
                self.slur(kind, name, sound)

    def staff_of(self, told: str | None) -> int:
        """Return the staff of the part on which a chord is printed; 0 is its own."""
        moved = self.nth + whole(told, 0)
        return moved if moved != self.nth and 1 <= moved <= self.part.staves else 0

    def tremolo_of(self, one: etree._Element, sound: Sound, voice: int) -> None:
        """Read a tremolo; one on two chords stands at the first, in version 1 at the second."""
        name = (one.findtext("subtype") or "").strip()
        if self.version == 1 and name.isdecimal():
            name = _OLD_TREMOLOS[int(name)] if int(name) < len(_OLD_TREMOLOS) else ""
        strokes = {"8": 1, "16": 2, "32": 3, "64": 4}.get(name[1:], 1)
        if name.startswith("c"):
            kind = "stop" if self.version == 1 else "start"       # version 1 tells it at the second chord
            sound.ornaments.append(f'<tremolo type="{kind}">{strokes}</tremolo>')
            if kind == "start":
                self.tremolo[voice] = f'<tremolo type="stop">{strokes}</tremolo>'
        elif name.startswith("r"):
            sound.ornaments.append(f'<tremolo type="single">{strokes}</tremolo>')

    def slur(self, kind: str, key: Any, sound: Sound) -> None:
        """Begin or end a slur at a chord."""
        def write(kind: str, number: int) -> None:
            sound.notations.append(f'<slur type="{kind}" number="{number}"/>')

        if kind == "start":
            self.part.slurs.start(key, write)
        elif kind == "stop":
            self.part.slurs.stop(key if self.version <= 2 else self.begun(key), write)

    def begun(self, key: tuple[Place, Place]) -> Hashable:
        """Return the key of the slur that ends here, else of one in this voice whose end is told near here.

        In tuplets that another program wrote amiss the told distances and the notes part.
        """
        if self.part.slurs.begun.get(key):
            return key
        here = key[1]
        open_ones = [(abs(other[1][1] - here[1]), other) for other, waiting in self.part.slurs.begun.items()
                     if waiting and isinstance(other, tuple) and other[1][0] == here[0] and other[1][2:4] == here[2:4]]
        return min(open_ones)[1] if open_ones else key

    def rest(self, child: etree._Element, here: Here, before: Sound | None) -> None:
        """Read the slurs that end at a rest: they reach to the note before."""
        for spanner in child.iterchildren("Spanner"):
            if spanner.get("type") == "Slur" and before is not None:
                for kind, key in self.ends(spanner, self.place_of(here, grace=False)):
                    if kind == "stop":
                        self.slur(kind, key, before)

    def place_of(self, here: Here, *, grace: bool) -> Place:
        """Return the place of a chord as spanners name it."""
        return here.index, round(here.at * 96), here.voice, self.nth, str(here.graces) if grace else ""

    def ends(self, spanner: etree._Element, place: Place) -> list[tuple[str, tuple[Place, Place]]]:
        """Return which ends of a spanner are here, and its beginning and end."""
        found = []
        for tag, kind in (("prev", "stop"), ("next", "start")):
            told = spanner.find(tag)
            if told is not None:
                other = self.moved(place, told.find("location"))
                found.append((kind, (place, other) if kind == "start" else (other, place)))
        return found

    def moved(self, place: Place, location: etree._Element | None) -> Place:
        """Return a place moved by a ``<location>``; only its grace note is told as it is."""
        if location is None:
            return place
        index, at, voice, staff, _ = place
        return (index + whole(location.findtext("measures"), 0),
                at + round(fraction(location.findtext("fractions")) * 4 * 96),
                voice + whole(location.findtext("voices"), 0), staff + whole(location.findtext("staves"), 0),
                (location.findtext("grace") or "").strip())

    def note(self, one: etree._Element, here: Here, place: Place, small: bool) -> Head:
        """Read one note; `small` tells that its whole chord is, which is how a cue is kept."""
        texts = {child.tag: (child.text or "").strip() for child in one}
        head = Head(pitch=None, origin=self.part.ordinals.get(one, -1), hidden=texts.get("visible") == "0", cue=small)
        if self.version >= 4:           # from here on a cue tells that it is not played
            head.cue = (small or texts.get("small", "0") != "0") and texts.get("play") == "0"
        sound = whole(texts.get("pitch") or one.get("pitch"), -1)
        if not self.part.drums:
            shift = 0
            if self.ottavas:
                now = self.walk.starts[here.index] + here.at
                last = bisect_right(self.ottavas, now, key=itemgetter(0))
                shift = self.ottavas[last - 1][1] if last else 0
            spelt = texts.get("tpc") or one.get("tpc")
            key = (sound, spelt, texts.get("tpc2"), shift, self.transposition)
            if key not in self.pitches:
                self.pitches[key] = self.pitch(sound, spelt, texts.get("tpc2"), shift)
            head.pitch = self.pitches[key]
        for child in one.iterchildren(etree.Element):
            self.sign(child, head, place)
        if self.version == 1:
            # Ties end at the next note of the pitch; the file does not say where.
            if self.hanging.pop((here.voice, sound), False):
                head.tie |= 2
            if head.tie & 1:
                self.hanging[here.voice, sound] = True
        return head

    def sign(self, child: etree._Element, head: Head, place: Place) -> None:
        """Read a sign inside a note."""
        tag = child.tag
        if tag == "Tie":
            head.tie |= 1
            if child.get("id"):
                self.ties.add(child.get("id", ""))
        elif tag == "endSpanner":
            name = child.get("id", "")
            if name in self.ties:
                head.tie |= 2
            else:
                self.glide("stop", name, head)
        elif tag == "Glissando":
            self.glide("start", child.get("id", ""), head)
        elif tag == "Spanner":
            kind = child.get("type")
            if kind == "Tie":
                head.tie |= (1 if child.find("next") is not None else 0) | (
                    2 if child.find("prev") is not None else 0)
            elif kind == "Glissando":
                for end, key in self.ends(child, place):
                    self.glide(end, key, head)
        elif tag == "Fingering":
            head.technical.append(fingering_of(child))
        elif tag == "head" and (child.text or "").strip().startswith("slash"):
            head.notehead = "<notehead>slash</notehead>"
        elif tag == "parentheses" or (tag == "Symbol" and "arenthes" in (child.findtext("name") or "")):
            head.notehead = head.notehead or '<notehead parentheses="yes">normal</notehead>'

    def glide(self, kind: str, key: Hashable, head: Head) -> None:
        """Begin or end a glissando at a note."""
        def write(kind: str, number: int) -> None:
            head.lines.append(f'<slide type="{kind}" number="{number}" line-type="solid"/>')

        (self.part.glides.start if kind == "start" else self.part.glides.stop)(key, write)

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
            result = Pitch(*_SHARPS_AND_FLATS[(written + shift) % 12], 0)
            octaves = (written + shift) // 12 - 1
        return Pitch(result.step, result.alter, octaves)


def _lyrics(one: etree._Element, sound: Sound) -> None:
    text = one_line(text_of(one))
    if text:
        kind = (one.findtext("syllabic") or "single").strip()
        kind = kind if kind in ("single", "begin", "middle", "end") else "single"
        row = whole(one.findtext("no"), 0) + 1
        sound.lyrics.append(f'<lyric number="{row}"><syllabic>{kind}</syllabic><text>{escaped(text)}</text></lyric>')


def _articulation(one: etree._Element, sound: Sound) -> None:
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

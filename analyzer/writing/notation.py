"""The line alone in a reader's notation: clef, key, transposition, spelling, accidentals.

The interval between a written note and its source is the same throughout (no interval, a major ninth, octaves), so that
the spelling follows the new key. Only where the new key would have more than seven signs both go to the enharmonic one.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from lxml import etree

from analyzer.pitch import Pitch, Transposition, signature
from analyzer.score.lines import Line
from analyzer.writing.phrases import Phrase
from analyzer.writing.readers import SIGNS, Clef, Reader

_MIDDLE: dict[Clef, Pitch] = {"bass": Pitch("D", 0, 3), "tenor": Pitch("A", 0, 3), "alto": Pitch("C", 0, 4),
                              "treble": Pitch("B", 0, 4), "treble-b-flat": Pitch("B", 0, 4)}
_NAMES = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_PLAIN = frozenset({*_NAMES.values(), "sharp-sharp", "natural-sharp", "natural-flat"})
_STEPS = "CDEFGAB"
_ATTRIBUTES = ("footnote", "level", "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef",
               "staff-details", "transpose", "for-part", "directive", "measure-style")


@dataclass(frozen=True, slots=True)
class _Shift:
    """From source notation to the reader's: steps and semitones, before octaves of phrases."""

    diatonic: int
    chromatic: int

    @property
    def fifths(self) -> int:
        """How far the key signature moves."""
        return 7 * self.chromatic - 12 * self.diatonic


def notated(root: etree._Element, line: Line, phrases: Sequence[Phrase], reader: Reader) -> None:
    """Rewrite a score from `line_alone` for a reader, in place.

    Parameters
    ----------
    root : lxml element
        As `line_alone` returns it.
    line : Line
        The same line; its notes' sounding pitches are what is written.
    phrases : sequence of Phrase
        Octaves of the phrases; they cover the line.
    reader : Reader
        Clef and transposition.
    """
    octaves = {index: phrase.octaves for phrase in phrases for index in range(phrase.first, phrase.last + 1)}
    sounding = {ref: _octave(note.sounding, octaves.get(index, 0))
                for index, note in enumerate(line.notes) for ref in note.refs}
    shifts = _shifts(root, line, reader)
    first = True
    respelled = 0
    printed = 0                                    # fifths of the source's key in force
    for measure, shift in zip(root.iterfind("part/measure"), shifts, strict=True):
        for child in list(measure):
            if child.tag == "attributes":
                for key in child.findall("key"):
                    printed, respelled = _key(key, shift, printed)
                _attributes(child, reader, first=first)
                first = False
                if not len(child):
                    measure.remove(child)
            elif child.tag == "note":
                _note(child, sounding, reader, respelled)
            elif child.tag == "harmony":
                _harmony(child, shift, respelled)
            elif child.tag == "direction" and child.find("direction-type/octave-shift") is not None:
                _drop_octave_shift(measure, child)
    if first:
        opening = root.find("part/measure")
        if opening is not None:
            opening.insert(0, attributes := etree.Element("attributes"))
            _attributes(attributes, reader, first=True)
    print_accidentals(root)


def _octave(pitch: Pitch, octaves: int) -> Pitch:
    return Pitch(pitch.step, pitch.alter, pitch.octave + octaves) if octaves else pitch


def _shifts(root: etree._Element, line: Line, reader: Reader) -> list[_Shift]:
    """Return the shift from source to reader in every measure, from the nearest note of the line."""
    own = reader.transposition
    by_measure: dict[int, _Shift] = {}
    for note in line.notes:
        if note.measure_index not in by_measure:
            steps = _place(note.sounding) - _place(note.written)
            by_measure[note.measure_index] = _Shift(steps - own.diatonic,
                                                    note.sounding.midi - note.written.midi - own.chromatic)
    shifts: list[_Shift] = []
    now = by_measure[min(by_measure)] if by_measure else _Shift(-own.diatonic, -own.chromatic)
    for index in range(len(root.findall("part/measure"))):
        now = by_measure.get(index, now)
        shifts.append(now)
    return shifts


def _place(pitch: Pitch) -> int:
    return 7 * pitch.octave + _STEPS.index(pitch.step)


def _key(key: etree._Element, shift: _Shift, before: int) -> tuple[int, int]:
    """Move a key signature; return the source's fifths and by how many steps the spelling goes enharmonic (-1 to 1)."""
    for cancel in key.findall("cancel"):
        key.remove(cancel)
    fifths = key.find("fifths")
    if fifths is None:
        for step, alter in zip(key.findall("key-step"), key.findall("key-alter"), strict=False):
            moved = _moved(Pitch((step.text or "C").strip(), round(float(alter.text or 0)), 4), shift, 0)
            step.text, alter.text = moved.step, str(moved.alter)
        return before, 0
    source = int(float(fifths.text or "0"))
    new, respelled = source + shift.fifths, 0
    while new > 7:
        new, respelled = new - 12, respelled + 1
    while new < -7:
        new, respelled = new + 12, respelled - 1
    fifths.text = str(new)
    return source, respelled


def _moved(pitch: Pitch, shift: _Shift, respelled: int) -> Pitch:
    return Transposition(shift.diatonic + respelled, shift.chromatic).sounding(pitch)


def _attributes(attributes: etree._Element, reader: Reader, *, first: bool) -> None:
    for tag in ("clef", "transpose"):
        for child in attributes.findall(tag):
            attributes.remove(child)
    if first:
        sign, line = SIGNS[reader.clef]
        clef = etree.SubElement(attributes, "clef")
        etree.SubElement(clef, "sign").text = sign
        etree.SubElement(clef, "line").text = line
        if reader.clef == "treble-b-flat":
            transpose = etree.SubElement(attributes, "transpose")
            for tag, value in (("diatonic", "-1"), ("chromatic", "-2"), ("octave-change", "-1")):
                etree.SubElement(transpose, tag).text = value
    attributes[:] = sorted(attributes, key=lambda child: _ATTRIBUTES.index(str(child.tag))
                           if child.tag in _ATTRIBUTES else len(_ATTRIBUTES))


def _note(note: etree._Element, sounding: Mapping[int, Pitch], reader: Reader, respelled: int) -> None:
    pitch = note.find("pitch")
    if pitch is None:
        return
    name = note.get("id") or ""
    if name.startswith("r") and name[1:].isdecimal() and int(name[1:]) in sounding:
        written = reader.transposition.written(sounding[int(name[1:])])
        if respelled:
            written = _moved(written, _Shift(0, 0), respelled)
    elif "slash" in [(head.text or "").strip() for head in note.findall("notehead")]:
        written = _MIDDLE[reader.clef]
    else:                                            # a cue: it is read at the pitch that it has in the source
        written = Pitch((pitch.findtext("step") or "C").strip(), round(float(pitch.findtext("alter") or 0)),
                        int(pitch.findtext("octave") or 4))
    pitch.clear()
    etree.SubElement(pitch, "step").text = written.step
    if written.alter:
        etree.SubElement(pitch, "alter").text = str(written.alter)
    etree.SubElement(pitch, "octave").text = str(written.octave)


def _harmony(harmony: etree._Element, shift: _Shift, respelled: int) -> None:
    """Move the root and the bass of a chord symbol."""
    for part, stem in (("root", "root"), ("bass", "bass")):
        for found in harmony.findall(part):
            step, alter = found.find(f"{stem}-step"), found.find(f"{stem}-alter")
            if step is None or (step.text or "").strip() not in _STEPS:
                continue
            moved = _moved(Pitch((step.text or "C").strip(), round(float(alter.text or 0)) if alter is not None else 0,
                                 4), shift, respelled)
            step.text = moved.step
            if alter is None and moved.alter:
                step.addnext(alter := etree.Element(f"{stem}-alter"))
            if alter is not None:
                if moved.alter:
                    alter.text = str(moved.alter)
                else:
                    found.remove(alter)


def _drop_octave_shift(measure: etree._Element, direction: etree._Element) -> None:
    """Take away 8va lines: the new clef shows the pitch as it sounds."""
    for kind in direction.findall("direction-type"):
        for line in kind.findall("octave-shift"):
            kind.remove(line)
        if not len(kind):
            direction.remove(kind)
    if direction.find("direction-type") is None:
        measure.remove(direction)


def print_accidentals(root: etree._Element) -> None:
    """Print the accidentals that key and measure ask for; a needless one of the source stays, as a reminder."""
    key: dict[str, int] = {}
    before_tied: set[tuple[str, int, int]] = set()
    for measure in root.iterfind("part/measure"):
        seen: dict[tuple[str, int], int] = {}
        for child in measure:
            if child.tag == "attributes":
                for found in child.iterchildren("key"):
                    key = _signed(found)
            elif child.tag == "note" and (pitch := _pitch(child)) is not None:
                tied = any(tie.get("type") == "stop" for tie in child.iterchildren("tie")) \
                    and (pitch.step, pitch.alter, pitch.octave) in before_tied
                needed = seen.get((pitch.step, pitch.octave), key.get(pitch.step, 0)) != pitch.alter and not tied
                if not tied:
                    seen[pitch.step, pitch.octave] = pitch.alter
                _accidental(child, pitch, needed)
                if child.find("grace") is None:
                    before_tied = {(pitch.step, pitch.alter, pitch.octave)} if any(
                        tie.get("type") == "start" for tie in child.iterchildren("tie")) else set()


def _signed(key: etree._Element) -> dict[str, int]:
    """Return letter to alteration, as a key signature has it."""
    signs = signature(int(float(key.findtext("fifths") or "0")))
    for step, alter in zip(key.findall("key-step"), key.findall("key-alter"), strict=False):
        signs[(step.text or "").strip()] = round(float(alter.text or "0"))
    return signs


def _pitch(note: etree._Element) -> Pitch | None:
    pitch = note.find("pitch")
    if pitch is None:
        return None
    return Pitch(pitch.findtext("step") or "C", int(pitch.findtext("alter") or "0"), int(pitch.findtext("octave") or 4))


def _accidental(note: etree._Element, pitch: Pitch, needed: bool) -> None:
    shown = note.find("accidental")
    if shown is not None and (shown.text or "").strip() not in _PLAIN:
        return                                       # a quarter tone: as the source has it
    if shown is None and not needed:
        return
    if shown is None:
        shown = etree.Element("accidental")
        place = max((place for place, child in enumerate(note) if child.tag in _before_accidental()), default=-1)
        note.insert(place + 1, shown)
    shown.text = _NAMES.get(pitch.alter, "natural")


def _before_accidental() -> Iterator[str]:
    yield from ("grace", "cue", "pitch", "duration", "tie", "instrument", "footnote", "level", "voice", "type", "dot")

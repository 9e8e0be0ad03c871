"""What holds from a place in a part on: divisions, time, clef, transposition."""

from fractions import Fraction
from math import floor

from lxml import etree

from analyzer.pitch import Pitch, Transposition
from analyzer.score.faults import Faults
from analyzer.score.timeline import Beat, beat_of

_CLEFS = {
    ("F", "4"): "bass", ("F", ""): "bass", ("C", "4"): "tenor", ("C", "3"): "alto", ("C", ""): "alto",
    ("G", "2"): "treble", ("G", ""): "treble", ("C", "1"): "soprano", ("C", "2"): "mezzo-soprano",
    ("F", "3"): "baritone", ("C", "5"): "baritone", ("F", "5"): "subbass", ("G", "1"): "french violin",
}
_ACCIDENTALS = {"sharp": "1", "flat": "-1", "double-sharp": "2", "sharp-sharp": "2", "flat-flat": "-2",
                "natural-sharp": "1", "natural-flat": "-1"}
_LONGEST = 10_000_000                  # divisions; judged: a thousand measures at the finest divisions in use
_CONCERT = Transposition()
_STEPS = frozenset("ABCDEFG")


class Attributes:
    """The state that ``<attributes>`` elements set.

    `divisions` are units a quarter note, `bar` is the length of the time signature [quarter notes], `timed` tells
    whether there is one; `rescaled` is the ratio of new to old divisions where the last element changed them, else
    None.
    """

    def __init__(self, faults: Faults, reads: Transposition | None) -> None:
        self.divisions: int | Fraction = 1
        self.bar = Fraction(4)
        self.timed = False             # a time signature tells `bar`
        self.beat = Beat()             # of the time signature
        self.told: Transposition | None = None       # the first transposition that the file tells
        self.rescaled: Fraction | None = None
        self._faults = faults
        self._reads = reads
        self._transpositions: dict[int, Transposition] = {}        # staff (0: all) -> transposition
        self._clefs: dict[int, list[tuple[int | Fraction, str]]] = {}
        self._moved: list[tuple[int | Fraction, dict[int, Transposition]]] = []
        self._clef_changed = False
        self._times: dict[int | Fraction, Fraction] = {}
        self._pitches: dict[tuple[int, int, str], tuple[Pitch, Pitch] | None] = {}

    def measure_start(self) -> None:
        """Forget the places inside the measure before; what held at its end holds on."""
        if self._clef_changed:
            self._clefs = {staff: [(0, changes[-1][1])] for staff, changes in self._clefs.items()}
            self._clef_changed = False
        if self._moved:
            self._moved = []

    def quarters(self, ticks: int | Fraction) -> Fraction:
        """Return a number of divisions in quarter notes."""
        value = self._times.get(ticks)
        if value is None:
            value = self._times[ticks] = Fraction(ticks) / self.divisions
        return value

    def clef(self, staff: int, at: int | Fraction) -> str:
        """Return the clef in force on a staff at a place in the measure."""
        changes = self._clefs.get(staff)
        if changes is None:
            return "bass"
        if len(changes) > 1:
            for place, name in reversed(changes):
                if place <= at:
                    return name
        return changes[0][1]

    def read(self, element: etree._Element, position: int | Fraction) -> None:
        """Take over one ``<attributes>`` element at a place in the measure [divisions]."""
        self.rescaled = None
        for child in element:
            tag = child.tag
            if tag == "divisions":
                self._set_divisions(child)
            elif tag == "clef":
                self._set_clef(child, position)
            elif tag == "time":
                self._set_time(child)
            elif tag == "transpose":
                self._set_transpose(child, position)

    def pitches(self, element: etree._Element, staff: int, at: int | Fraction,
                accidental: str | None = None) -> tuple[Pitch, Pitch] | None:
        """Return written and sounding pitch of a ``<pitch>`` element, None if it is not readable.

        Where it has no ``<alter>``, the printed `accidental` counts: the player reads the page.
        """
        texts = [child.text or "" for child in element]
        printed = _ACCIDENTALS.get(accidental) if accidental is not None and len(texts) == 2 else None
        if printed is not None and element.find("alter") is None:
            texts.insert(1, printed)
            self._faults.add("note", "no-alter", f"a note has a printed {accidental} which its pitch in the file does "
                             "not have; it is read as printed", "")
        else:
            printed = None
        transposition = self._reads
        if transposition is None:
            held = self._transpositions
            for place, before in self._moved:
                if Fraction(at) < place:
                    held = before
                    break
            transposition = held.get(staff) or held.get(0) or _CONCERT
        key = (transposition.diatonic, transposition.chromatic, "|".join(texts))
        pair = self._pitches.get(key)
        if pair is None and key not in self._pitches:
            pair = self._pitches[key] = self._pitch(element, transposition, printed)
        if pair is None:
            self._faults.add("warning", "bad-pitch", "a note has a pitch that is no pitch, and is left out",
                             "Mend that note in the score.")
        elif "." in key[2]:
            alter = element.findtext("alter") or ""
            if number(alter, self._faults) % 1:
                self._faults.add("warning", "microtone", f"a microtone ({alter} semitones) is planned as the nearest "
                                 f"semitone, {pair[0].pretty}", "Adjust that note by ear.")
        return pair

    def _pitch(self, element: etree._Element, transposition: Transposition,
               printed: str | None) -> tuple[Pitch, Pitch] | None:
        step = (element.findtext("step") or "").strip().upper()
        octave = (element.findtext("octave") or "").strip()
        alter = number(printed or element.findtext("alter") or "0", self._faults)
        if step not in _STEPS or not octave.lstrip("-").isdecimal() or len(octave) > 2 or not -3 <= alter <= 3:
            return None
        written = Pitch(step, floor(alter + Fraction(1, 2)), int(octave))
        sounding = transposition.sounding(written)
        return (written, sounding) if 0 <= sounding.midi <= 127 else None

    def _set_divisions(self, element: etree._Element) -> None:
        value = number(element.text, Faults(""))           # said below, once
        if value <= 0:
            self._faults.add("warning", "divisions", "the file does not tell how long its unit of time is (its "
                             "divisions are no number above 0), so durations may be wrong", "Export the score again.")
        elif value != self.divisions:
            ratio = Fraction(value) / self.divisions
            self.rescaled = ratio if self.rescaled is None else self.rescaled * ratio
            self.divisions = value
            self._times = {}
            self._clefs = {staff: [(place * ratio, name) for place, name in changes]
                           for staff, changes in self._clefs.items()}
            self._moved = [(place * ratio, before) for place, before in self._moved]

    def _set_clef(self, element: etree._Element, position: int | Fraction) -> None:
        staff = int(number(element.get("number", "1"), self._faults))
        sign = (element.findtext("sign") or "").strip()
        line = (element.findtext("line") or "").strip()
        name = _CLEFS.get((sign, line)) or (sign.lower() if sign else "bass")
        if name == "treble" and (element.findtext("clef-octave-change") or "").strip() == "-1":
            name = "treble-8vb"        # sounds an octave below the treble clef, and the pitches in the file say so
        changes = self._clefs.setdefault(staff, [])
        if position == 0:
            changes[:] = [(0, name)]
        else:
            if not changes:
                changes.append((0, name))
            changes.append((position, name))
            changes.sort(key=_place)
            self._clef_changed = True

    def _set_time(self, element: etree._Element) -> None:
        total = Fraction(0)
        beats = Fraction(0)
        signature: list[tuple[int, int]] = []
        for child in element:
            if child.tag == "beats":
                beats = sum((Fraction(number(text, self._faults)) for text in (child.text or "").split("+")),
                            Fraction(0))
            elif child.tag == "beat-type":
                unit = Fraction(number(child.text, self._faults))
                if unit > 0:
                    total += beats * 4 / unit
                    signature.append((int(beats), int(unit)))
        self.timed = total > 0         # not where there is no time, as in a cadenza
        if total > 0:
            self.bar = total
            self.beat = beat_of(*signature[0], cut=element.get("symbol") == "cut")

    def _set_transpose(self, element: etree._Element, position: int | Fraction) -> None:
        chromatic = number(element.findtext("chromatic") or "0", self._faults)
        diatonic_text = element.findtext("diatonic")
        octaves = int(number(element.findtext("octave-change") or "0", self._faults))
        whole = floor(chromatic + Fraction(1, 2))
        if whole != chromatic:
            self._faults.add("warning", "microtone", "a transposition by less than a semitone is rounded", "")
        # Without diatonic steps the usual spelling of the interval is taken (a major second is one step).
        diatonic = int(number(diatonic_text, self._faults)) if diatonic_text else usual_steps(whole)
        if abs(octaves) > 9 or abs(whole) > 60 or abs(diatonic) > 60:
            self._faults.add("warning", "transpose", "a transposition by more than five octaves is ignored",
                             "Mend it in the score, or say with --reads how the part is read.")
            return
        # <double> adds a second sounding octave to the written one; one player plays the latter, so it is not read.
        staff = int(number(element.get("number", "0"), self._faults))
        before = dict(self._transpositions)
        if staff == 0:
            self._transpositions = {}
        else:
            self._transpositions = dict(before)
        self._transpositions[staff] = Transposition(diatonic + 7 * octaves, whole + 12 * octaves)
        self.told = self.told or self._transpositions[staff]
        if position > 0:
            self._moved.append((position, before))


def _place(change: tuple[int | Fraction, str]) -> Fraction:
    return Fraction(change[0])


def number(text: str | None, faults: Faults) -> int | Fraction:
    """Return a decimal number of the file, whole ones as int; 0 with a fault if it is none."""
    text = (text or "").strip()
    if len(text) <= 20:
        try:
            return int(text)
        except ValueError:
            try:
                value = Fraction(text) if "/" not in text and "e" not in text.lower() else None
            except ValueError:
                value = None
            if value is not None:
                return int(value) if value.denominator == 1 else value
    faults.add("warning", "bad-number", f"a number is missing or not readable ('{text[:20]}')",
               "Export the score again.")
    return 0


def length_of(text: str | None, faults: Faults) -> int | Fraction:
    """Return a duration in divisions; 0 with a fault if it is negative or beyond all measure."""
    value = number(text, faults)
    if 0 <= value <= _LONGEST:
        return value
    faults.add("warning", "bad-duration", f"a duration cannot be true ({value}) and is taken as 0",
               "Mend it in the score.")
    return 0


def usual_steps(chromatic: int) -> int:
    """Return the diatonic steps of the usual interval of so many semitones.

    Examples
    --------
    >>> usual_steps(-2), usual_steps(-14), usual_steps(-9)
    (-1, -8, -5)
    """
    steps = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
    octave, rest = divmod(abs(chromatic), 12)
    size = 7 * octave + steps[rest]
    return size if chromatic >= 0 else -size

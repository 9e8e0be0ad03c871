"""Music read from another form, written as MusicXML: what all readers after this one know.

A reader of a form fills `Bar` after `Bar` with what stands in the source; `composed` finds the divisions, the order of
voices, beams and printed accidentals, and writes the score. Text is built by strings: a tree of its size would take
several times as long, and the reader of documents parses the result with all its care anyway.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from html import escape
from math import lcm

from analyzer.pitch import Pitch, Transposition, signature

_MOST_DIVISIONS = 2**20
"""Judged: far above any tuplet in use; beyond it onsets are rounded."""
_LEVELS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}
_PRINTED = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


@dataclass(slots=True)
class Head:
    """One note head. `pitch` is the written one (None: unpitched); `tie` has bit 1 for a start, bit 2 for a stop.

    `technical` are elements inside ``<technical>``, `lines` others of ``<notations>`` that belong to this head alone;
    `origin` is its ordinal in the source.
    """

    pitch: Pitch | None
    tie: int = 0
    technical: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    origin: int = -1
    hidden: bool = False
    cue: bool = False
    notehead: str = ""


@dataclass(slots=True)
class Sound:
    """A chord, or a rest where it has no heads. `at` counts in the bar, `length` is what it lasts [quarter notes].

    `ratio` is (actual, normal) of the tuplets around it; `whole` marks a rest of a whole bar; `grace` a note without a
    length (`slash`: with a stroke, `after`: behind the note that it leans on). `staff` is 0 for its voice's own.
    """

    at: Fraction
    length: Fraction
    kind: str
    dots: int = 0
    ratio: tuple[int, int] = (1, 1)
    heads: list[Head] = field(default_factory=list)
    grace: bool = False
    slash: bool = False
    after: bool = False
    whole: bool = False
    hidden: bool = False
    articulations: list[str] = field(default_factory=list)
    ornaments: list[str] = field(default_factory=list)
    notations: list[str] = field(default_factory=list)
    lyrics: list[str] = field(default_factory=list)
    instrument: str = ""
    staff: int = 0


@dataclass(slots=True)
class Bar:
    """One measure of one part. Voices are kept by (staff, voice), both from 1; clefs and keys by staff.

    `directions` are (place, staff, elements of ``<direction-type>``, attributes of ``<sound>``); `clefs` (place, staff,
    sign, line, octaves); `transpositions` (place, what holds from there on).
    """

    number: str
    length: Fraction
    implicit: bool = False
    time: tuple[str, str, str] | None = None               # beats, beat type, symbol
    keys: dict[int, int] = field(default_factory=dict)
    clefs: list[tuple[Fraction, int, str, str, int]] = field(default_factory=list)
    transpositions: list[tuple[Fraction, Transposition]] = field(default_factory=list)
    voices: dict[tuple[int, int], list[Sound]] = field(default_factory=dict)
    directions: list[tuple[Fraction, int, str, str]] = field(default_factory=list)
    left: str = ""                                         # elements inside the bar line
    right: str = ""
    style: str = ""                                        # a <measure-style>


@dataclass(slots=True)
class Instrument:
    """What the source tells of one instrument; `program` counts from 1, 0 where it is not told."""

    name: str = ""
    sound: str = ""
    program: int = 0


@dataclass(slots=True)
class Voiced:
    """One part: its names and its bars. `groups` are the names around it, the widest first."""

    name: str
    short: str = ""
    instruments: list[Instrument] = field(default_factory=list)
    groups: tuple[tuple[int, str], ...] = ()
    staves: int = 1
    bars: list[Bar] = field(default_factory=list)


def composed(parts: Sequence[Voiced], *, title: str = "", composer: str = "",
             record: str = "") -> tuple[bytes, dict[str, list[int]]]:
    """Return the score as MusicXML, and for each part the origins of its ``<note>`` elements in document order.

    `record` is the record of our marks, where the source kept one.
    """
    divisions = _divisions(parts)
    origins: dict[str, list[int]] = {}
    out = ['<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">\n']
    if title:
        out.append(f"<work><work-title>{_text(title)}</work-title></work>\n")
    out.append("<identification>")
    if composer:
        out.append(f'<creator type="composer">{_text(composer)}</creator>')
    if record:
        out.append(f'<miscellaneous><miscellaneous-field name="lowbrass">{_text(record)}</miscellaneous-field>'
                   "</miscellaneous>")
    out.append("</identification>\n<part-list>\n")
    out += _part_list(parts)
    out.append("</part-list>\n")
    for place, part in enumerate(parts, 1):
        out.append(f'<part id="P{place}">\n')
        found: list[int] = []
        writer = _Writer(part, divisions, out, found)
        for index, bar in enumerate(part.bars):
            writer.bar(bar, first=index == 0)
        out.append("</part>\n")
        origins[f"P{place}"] = found
    out.append("</score-partwise>\n")
    return "".join(out).encode(), origins


def _part_list(parts: Sequence[Voiced]) -> Iterator[str]:
    open_groups: list[tuple[int, str]] = []
    for place, part in enumerate(parts, 1):
        while open_groups and tuple(open_groups) != part.groups[:len(open_groups)]:
            yield f'<part-group type="stop" number="{len(open_groups)}"/>\n'
            open_groups.pop()
        for group in part.groups[len(open_groups):]:
            open_groups.append(group)
            name = f"<group-name>{_text(group[1])}</group-name>" if group[1] else ""
            yield f'<part-group type="start" number="{len(open_groups)}">{name}</part-group>\n'
        yield f'<score-part id="P{place}"><part-name>{_text(part.name)}</part-name>'
        if part.short:
            yield f"<part-abbreviation>{_text(part.short)}</part-abbreviation>"
        for nth, one in enumerate(part.instruments, 1):
            sound = f"<instrument-sound>{_text(one.sound)}</instrument-sound>" if one.sound else ""
            yield (f'<score-instrument id="P{place}-I{nth}"><instrument-name>{_text(one.name)}</instrument-name>{sound}'
                   "</score-instrument>")
        for nth, one in enumerate(part.instruments, 1):
            if 1 <= one.program <= 128:
                yield (f'<midi-instrument id="P{place}-I{nth}"><midi-program>{one.program}</midi-program>'
                       "</midi-instrument>")
        yield "</score-part>\n"
    for number in range(len(open_groups), 0, -1):
        yield f'<part-group type="stop" number="{number}"/>\n'


def _divisions(parts: Sequence[Voiced]) -> int:
    found: set[int] = set()
    for part in parts:
        for bar in part.bars:
            found.add(bar.length.denominator)
            found.update(clef[0].denominator for clef in bar.clefs)
            found.update(moved[0].denominator for moved in bar.transpositions)
            found.update(said[0].denominator for said in bar.directions)
            for sounds in bar.voices.values():
                for sound in sounds:
                    found.add(sound.at.denominator)
                    found.add(sound.length.denominator)
    result = 1
    for value in sorted(found):
        if lcm(result, value) <= _MOST_DIVISIONS:
            result = lcm(result, value)
    return result


def _text(text: str) -> str:
    return escape("".join(sign for sign in text if sign >= " " or sign in "\t\n"), quote=True)


class _Writer:
    """Writes the bars of one part; keeps the key that holds."""

    def __init__(self, part: Voiced, divisions: int, out: list[str], origins: list[int]) -> None:
        self.part, self.divisions, self.out, self.origins = part, divisions, out, origins
        self.fifths: dict[int, int] = {}
        self.beat = Fraction(1)

    def bar(self, bar: Bar, *, first: bool) -> None:
        """Write one measure."""
        out = self.out
        implicit = ' implicit="yes"' if bar.implicit else ""
        out.append(f'<measure number="{_text(bar.number)}"{implicit}>\n')
        if bar.left:
            out.append(f'<barline location="left">{bar.left}</barline>\n')
        self.attributes(bar, first)
        for at, staff, types, said in sorted(bar.directions, key=lambda one: one[0]):
            offset = f"<offset>{self.ticks(at)}</offset>" if at else ""
            kinds = "".join(f"<direction-type>{kind}</direction-type>" for kind in types.split("\n") if kind)
            where = f"<staff>{staff}</staff>" if self.part.staves > 1 else ""
            played = f"<sound {said}/>" if said else ""
            out.append(f'<direction placement="above">{kinds}{offset}{where}{played}</direction>\n' if kinds else
                       f"<sound {said}>{offset}</sound>\n")
        printed = self.accidentals(bar)
        position = Fraction(0)
        pending = sorted(one for one in bar.clefs if one[0] > 0)
        moved = [one for one in bar.transpositions if one[0] > 0]
        voices = [(key, sounds) for key, sounds in sorted(bar.voices.items()) if sounds]
        for (staff, voice), sounds in voices:
            self.step(position, Fraction(0))
            position = Fraction(0)
            beams = self.beams(sounds)
            number = 4 * (staff - 1) + voice
            for sound in sounds:
                while moved and moved[0][0] <= sound.at:
                    position = self.step(position, moved[0][0])
                    out.append(f"<attributes>{_transpose(moved.pop(0)[1])}</attributes>\n")
                for one in [one for one in pending if one[1] == staff and one[0] <= sound.at] if pending else ():
                    pending.remove(one)
                    position = self.step(position, one[0])
                    out.append(f"<attributes>{_clef(one)}</attributes>\n")
                if position is not sound.at:
                    position = self.step(position, sound.at)
                self.sound(sound, staff, number, printed, beams.get(id(sound), ""))
                position = position if sound.grace else position + sound.length
        for one in pending:
            position = self.step(position, one[0])
            out.append(f"<attributes>{_clef(one)}</attributes>\n")
        if voices and position < bar.length:
            self.step(position, bar.length)
        if bar.right:
            out.append(f'<barline location="right">{bar.right}</barline>\n')
        out.append("</measure>\n")

    def attributes(self, bar: Bar, first: bool) -> None:
        """Write what holds from the start of a bar."""
        inner = []
        if first:
            inner.append(f"<divisions>{self.divisions}</divisions>")
        many = self.part.staves > 1
        for staff, fifths in sorted(bar.keys.items()):
            self.fifths[staff] = fifths
            inner.append(f"<key{f' number={chr(34)}{staff}{chr(34)}' if many else ''}><fifths>{fifths}</fifths></key>")
        if bar.time is not None:
            beats, unit, symbol = bar.time
            said = f' symbol="{symbol}"' if symbol else ""
            inner.append(f"<time{said}><beats>{beats}</beats><beat-type>{unit}</beat-type></time>")
            whole, part = int(beats.split("+")[0]), int(unit)
            self.beat = Fraction(12, part) if part >= 8 and whole % 3 == 0 and whole > 3 else Fraction(4, min(part, 4))
        if first and many:
            inner.append(f"<staves>{self.part.staves}</staves>")
        inner += [_clef(one) for one in bar.clefs if one[0] <= 0]
        inner += [_transpose(one[1]) for one in bar.transpositions if one[0] <= 0]
        inner.append(bar.style)
        if any(inner):
            self.out.append(f"<attributes>{''.join(inner)}</attributes>\n")

    def ticks(self, quarters: Fraction) -> int:
        """Return a time in divisions."""
        top, below = quarters.numerator * self.divisions, quarters.denominator
        return top if below == 1 else (2 * top + below) // (2 * below)

    def step(self, now: Fraction, to: Fraction) -> Fraction:
        """Go from one place in the bar to another."""
        ticks = self.ticks(to) - self.ticks(now)
        if ticks:
            tag = "forward" if ticks > 0 else "backup"
            self.out.append(f"<{tag}><duration>{abs(ticks)}</duration></{tag}>\n")
        return to

    def sound(self, sound: Sound, staff: int, voice: int, printed: set[int], beams: str) -> None:
        """Write one chord or rest."""
        out = self.out
        # From place to place, so that rounding never adds up.
        duration = "" if sound.grace else (
            f"<duration>{self.ticks(sound.at + sound.length) - self.ticks(sound.at)}</duration>")
        shape = f"<type>{sound.kind}</type>{'<dot/>' * sound.dots}" if sound.kind and not sound.whole else ""
        ratio = "" if sound.ratio == (1, 1) else (
            f"<time-modification><actual-notes>{sound.ratio[0]}</actual-notes><normal-notes>{sound.ratio[1]}"
            "</normal-notes></time-modification>")
        where = f"<staff>{sound.staff or staff}</staff>" if self.part.staves > 1 else ""
        if not sound.heads:
            self.origins.append(-1)
            whole = ' measure="yes"' if sound.whole else ""
            hidden = ' print-object="no"' if sound.hidden else ""
            marks = _notations(sound.notations, sound.articulations, [], [])
            out.append(f"<note{hidden}><rest{whole}/>{duration}<voice>{voice}</voice>{shape}{ratio}{where}{marks}"
                       "</note>\n")
            return
        for nth, head in enumerate(sound.heads):
            self.origins.append(head.origin)
            parts = ['<note print-object="no">' if head.hidden or sound.hidden else "<note>"]
            if sound.grace:
                parts.append('<grace slash="yes"/>' if sound.slash else "<grace/>")
            if head.cue:
                parts.append("<cue/>")
            if nth:
                parts.append("<chord/>")
            pitch = head.pitch
            if pitch is None:
                parts.append("<unpitched/>")
            else:
                alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
                parts.append(f"<pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>")
            parts.append(duration)
            tied = [kind for bit, kind in ((2, "stop"), (1, "start")) if head.tie & bit]
            if not head.cue:
                parts += [f'<tie type="{kind}"/>' for kind in tied]
            if sound.instrument:
                parts.append(f'<instrument id="{sound.instrument}"/>')
            parts.append(f"<voice>{voice}</voice>{shape}")
            if pitch is not None and id(head) in printed and pitch.alter in _PRINTED:
                parts.append(f"<accidental>{_PRINTED[pitch.alter]}</accidental>")
            parts.append(ratio)
            if head.notehead:
                parts.append(head.notehead)
            parts.append(where)
            if not nth:
                parts.append(beams)
            lines = [f'<tied type="{kind}"/>' for kind in tied] + head.lines
            parts.append(_notations(lines + (sound.notations if not nth else []),
                                    sound.articulations if not nth else [], sound.ornaments if not nth else [],
                                    head.technical))
            if not nth:
                parts += sound.lyrics
            parts.append("</note>\n")
            out.append("".join(parts))

    def accidentals(self, bar: Bar) -> set[int]:
        """Return the heads (by `id`) that need a printed accidental, in the order of time."""
        found: set[int] = set()
        held: dict[tuple[int, str, int], int] = {}
        order = [(sound.at, not sound.grace, key, sound) for key, sounds in bar.voices.items() for sound in sounds
                 if sound.heads]
        if len(bar.voices) > 1:
            order.sort(key=lambda one: one[:3])
        for _, _, (own, _), sound in order:
            staff = sound.staff or own
            letters = signature(self.fifths.get(staff, self.fifths.get(1, 0)))
            for head in sound.heads:
                if head.pitch is None or head.tie & 2:
                    continue
                place = (staff, head.pitch.step, head.pitch.octave)
                if held.get(place, letters.get(head.pitch.step, 0)) != head.pitch.alter:
                    found.add(id(head))
                held[place] = head.pitch.alter
        return found

    def beams(self, sounds: Iterable[Sound]) -> dict[int, str]:
        """Return the beams of one voice by the `id` of a sound: short notes within one beat are joined."""
        result: dict[int, str] = {}
        group: list[Sound] = []
        beat = -1
        for sound in (*sounds, None):
            level = 0 if sound is None or not sound.heads or sound.grace else _LEVELS.get(sound.kind, 0)
            if sound is not None and sound.grace:
                continue
            here = sound.at // self.beat if level and sound is not None else beat
            if group and (not level or here != beat):
                _joined(group, result)
                group = []
            if level and sound is not None:
                group.append(sound)
            beat = here
        return result


def _joined(group: Sequence[Sound], result: dict[int, str]) -> None:
    if len(group) < 2:
        return
    levels = [_LEVELS[sound.kind] for sound in group]
    for nth, sound in enumerate(group):
        said = []
        for level in range(1, levels[nth] + 1):
            before = nth > 0 and levels[nth - 1] >= level
            after = nth + 1 < len(group) and levels[nth + 1] >= level
            word = ("continue" if after else "end") if before else (
                "begin" if after else "backward hook" if nth else "forward hook")
            said.append(f'<beam number="{level}">{word}</beam>')
        result[id(sound)] = "".join(said)


def _notations(lines: Sequence[str], articulations: Sequence[str], ornaments: Sequence[str],
               technical: Sequence[str]) -> str:
    inner = "".join(lines)
    for tag, members in (("ornaments", ornaments), ("technical", technical), ("articulations", articulations)):
        if members:
            inner += f"<{tag}>{''.join(members)}</{tag}>"
    return f"<notations>{inner}</notations>" if inner else ""


def _clef(one: tuple[Fraction, int, str, str, int]) -> str:
    _, staff, sign, line, octaves = one
    shift = f"<clef-octave-change>{octaves}</clef-octave-change>" if octaves else ""
    at = f"<line>{line}</line>" if line else ""
    return f'<clef number="{staff}"><sign>{sign}</sign>{at}{shift}</clef>'


def _transpose(one: Transposition) -> str:
    octaves = int(one.chromatic / 12)
    return (f"<transpose><diatonic>{one.diatonic - 7 * octaves}</diatonic><chromatic>{one.chromatic - 12 * octaves}"
            f"</chromatic>{f'<octave-change>{octaves}</octave-change>' if octaves else ''}</transpose>")

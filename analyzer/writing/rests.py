"""Rests that fill a gap: the fewest printed values, split at the beats, tuplets where nothing else fits."""

from fractions import Fraction

from lxml import etree

_VALUES = (("breve", Fraction(8)), ("whole", Fraction(4)), ("half", Fraction(2)), ("quarter", Fraction(1)),
           ("eighth", Fraction(1, 2)), ("16th", Fraction(1, 4)), ("32nd", Fraction(1, 8)), ("64th", Fraction(1, 16)),
           ("128th", Fraction(1, 32)))
_LONGEST = Fraction(256)
"""A gap that is longer [quarter notes] stands in no measure of music: a damaged one becomes a single rest (judged)."""
_NORMAL = {3: 2, 5: 4, 6: 4, 7: 4, 9: 8, 11: 8, 13: 8}


def rests_between(start: Fraction, end: Fraction, bar: Fraction, divisions: Fraction, *,
                  compound: bool = False, pickup: bool = False) -> list[etree._Element]:
    """Return ``<note>`` elements with rests from `start` to `end`, counted from the start of the measure.

    Parameters
    ----------
    start, end : Fraction
        The gap. [quarter notes]
    bar : Fraction
        Length of the measure; a gap of all of it is one whole-measure rest. [quarter notes]
    divisions : Fraction
        Units of ``<duration>`` a quarter note.
    compound : bool
        The beat is a dotted quarter, as in 6/8.
    pickup : bool
        The measure is an incomplete one, in which a whole-measure rest would be read as a full bar.
    """
    if (start == 0 and end == bar and not pickup) or end - start > _LONGEST:
        return [_rest(end - start, divisions, measure=True)]
    found: list[etree._Element] = []
    at = start
    beat = Fraction(3, 2) if compound else Fraction(1)
    while at < end:
        length = _next(at, end, bar, beat)
        found.append(_rest(length, divisions))
        at += length
    return found


def _next(at: Fraction, end: Fraction, bar: Fraction, beat: Fraction) -> Fraction:
    """Return the length of the next rest: as long as may be without hiding where the beats are."""
    into = at % beat
    if into:
        to_beat = beat - into
        gap = min(to_beat, end - at)
        return _fitting(gap)
    whole = (end - at) // beat
    if whole >= 2 and beat == 1 and (at / beat) % 2 == 0 and bar % 2 == 0:
        return Fraction(2)                                    # a half rest on the first or third beat
    if whole >= 1:
        return beat
    return _fitting(end - at)


def _fitting(gap: Fraction) -> Fraction:
    """Return the longest plain value within the gap; the whole gap where it is none of halves and quarters."""
    if gap.denominator & (gap.denominator - 1):
        return gap
    return next((value for _, value in _VALUES if value <= gap), gap)


def _rest(length: Fraction, divisions: Fraction, *, measure: bool = False) -> etree._Element:
    note = etree.Element("note")
    rest = etree.SubElement(note, "rest")
    if measure:
        rest.set("measure", "yes")
    etree.SubElement(note, "duration").text = units(length, divisions)
    etree.SubElement(note, "voice").text = "1"
    if not measure:
        printed = printed_value(length)
        if printed is not None:
            kind, dots, actual, normal = printed
            etree.SubElement(note, "type").text = kind
            for _ in range(dots):
                etree.SubElement(note, "dot")
            if actual != normal:
                modification = etree.SubElement(note, "time-modification")
                etree.SubElement(modification, "actual-notes").text = str(actual)
                etree.SubElement(modification, "normal-notes").text = str(normal)
    return note


def printed_value(length: Fraction) -> tuple[str, int, int, int] | None:
    """Return (type, dots, notes, in the time of) for a length in quarter notes, None where no single value has it."""
    for actual, normal in ((1, 1), *_NORMAL.items()):
        for name, value in _VALUES:
            for dots in (0, 1, 2):
                if value * (2 - Fraction(1, 2**dots)) * Fraction(normal, actual) == length:
                    return name, dots, actual, normal
    return None


def units(length: Fraction, divisions: Fraction) -> str:
    """Return a length as ``<duration>`` has it."""
    value = length * divisions
    return str(value.numerator) if value.denominator == 1 else f"{float(value):.6f}".rstrip("0").rstrip(".")

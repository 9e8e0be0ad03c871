"""Values of the .mscx form: numbers, fractions, ratios, each with a limit, as a damaged file may hold anything."""

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction

from lxml import etree

from analyzer.pitch import Transposition
from analyzer.score.mscx_signs import words_in

LONGEST = Fraction(10_000)
"""Quarter notes in one measure. Judged: nothing honest comes near."""


def measures_of(staff: etree._Element) -> list[etree._Element]:
    """Return the measures of a staff without those that stand for several rests."""
    return [one for one in staff.iterchildren("Measure") if one.find("multiMeasureRest") is None]


def lengths_of(measures: Sequence[etree._Element], metres: Mapping[Fraction, Fraction] | None = None,
               division: int = 480) -> list[Fraction]:
    """Return the length of each measure [quarter notes]; `metres` are those of version 1, by tick."""
    result: list[Fraction] = []
    bar, start = Fraction(4), Fraction(0)
    for element in measures:
        bar = (metres or {}).get(start * division, bar)
        for sign in element.iter("TimeSig"):
            bar = bar_of(sign) or bar
        length = bar
        if element.get("len") is not None:
            length = fraction(element.get("len")) * 4 or bar
        result.append(length)
        start += length
    return result


def said(element: etree._Element | None) -> str:
    """Return the words of a name; in version 1 it is a web page with styles of its own."""
    return "" if element is None else words_in(element)


def transposition_of(instrument: etree._Element) -> Transposition:
    """Return the transposition of an instrument."""
    return Transposition(whole(instrument.findtext("transposeDiatonic"), 0),
                         whole(instrument.findtext("transposeChromatic"), 0))


def bar_of(sign: etree._Element) -> Fraction | None:
    """Return what a time signature tells of the length of a bar [quarter notes]."""
    unit = whole(sign.findtext("sigD") or sign.findtext("den"), 0)
    beats = whole(sign.findtext("sigN"), 0) or sum(whole(sign.findtext(f"nom{k}"), 0) for k in range(1, 5))
    if not 0 < unit <= 128 or not 0 < beats <= 256:
        return None
    stretch = Fraction(max(1, whole(sign.findtext("stretchN"), 1)), max(1, whole(sign.findtext("stretchD"), 1)))
    return Fraction(4 * beats, unit) / stretch


def ratio_of(tuplet: etree._Element) -> tuple[int, int]:
    """Return actual and normal notes of a tuplet."""
    actual, normal = (whole(tuplet.findtext(tag), 1) for tag in ("actualNotes", "normalNotes"))
    return (actual, normal) if 0 < actual <= 999 and 0 < normal <= 999 else (1, 1)


def times(first: tuple[int, int], second: tuple[int, int]) -> tuple[int, int]:
    """Return the ratio of a tuplet within another."""
    return first[0] * second[0], first[1] * second[1]


def is_hidden(element: etree._Element) -> bool:
    """Tell whether an element is not printed."""
    return (element.findtext("visible") or "").strip() == "0"


def fraction(text: str | None) -> Fraction:
    """Return a fraction; 0 where the text is none."""
    text = (text or "").strip()
    if len(text) > 24 or not re.fullmatch(r"-?\d+(?:/\d+)?", text):
        return Fraction(0)
    top, _, below = text.partition("/")
    value = Fraction(int(top), int(below or 1) or 1)
    return max(-LONGEST, min(LONGEST, value))


def dots_of(text: str | None) -> int:
    """Return a number of dots, 0 to 4."""
    return max(0, min(whole(text, 0), 4))


def whole(text: str | None, default: int) -> int:
    """Return a whole number, or `default` where the text is none."""
    text = (text or "").strip()
    return int(text) if re.fullmatch(r"[+-]?\d{1,8}", text) else default


def escaped(text: str) -> str:
    """Return text as it stands in XML."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")

"""What version 1 of the .mscx form (to 1.14) keeps outside of the measures, put where later versions have it.

Clefs and key signatures stand in lists with ticks in the ``<Staff>`` of a part, metres and tempi in lists of the
score, voltas and ottavas beside the staves with the ticks of both ends (read114.cpp: readStaff, read114). What a
measure tells itself counts before the lists. Ticks count from the start of the score.
"""

from collections.abc import Sequence
from fractions import Fraction

from lxml import etree

from analyzer.score.mscx_values import bar_of, measures_of, whole


def metres_of(score: etree._Element) -> dict[Fraction, Fraction]:
    """Return the lengths of measures [quarter notes] by the ticks from which they hold; empty without a list."""
    found: dict[Fraction, Fraction] = {}
    for one in score.iterfind("siglist/sig"):
        bar = bar_of(_signature(one))
        if bar is not None:
            found[Fraction(whole(one.get("tick"), 0))] = bar
    return found


def _signature(told: etree._Element) -> etree._Element:
    """Return a time signature as measures hold it, from an entry of the list."""
    sign = etree.Element("TimeSig")
    etree.SubElement(sign, "sigN").text = told.findtext("nom")
    etree.SubElement(sign, "sigD").text = told.findtext("denom")
    return sign


def settle(score: etree._Element, staves: Sequence[etree._Element], lengths: Sequence[Fraction], division: int) -> None:
    """Move clefs, keys, metres, tempi, voltas and ottavas of old lists into the measures of a score."""
    ends: list[Fraction] = []
    total = Fraction(0)
    for length in lengths:
        total += length * division
        ends.append(total)
    for staff, told in zip(staves, score.iterfind("Part/Staff"), strict=False):
        measures = measures_of(staff)
        for one in told.iterfind("cleflist/clef"):
            _put(measures, ends, whole(one.get("tick"), 0), "Clef", "subtype", one.get("idx", "0"))
        for one in told.iterfind("keylist/key"):
            tick = whole(one.get("tick"), 0)
            if tick or one.get("idx", "0") != "0":
                _put(measures, ends, tick, "KeySig", "accidental", one.get("idx", "0"))
        if not any(True for measure in measures for _ in measure.iterchildren("TimeSig")):
            for one in score.iterfind("siglist/sig"):
                index = _index(ends, whole(one.get("tick"), 0), len(measures))
                if index is not None:
                    measures[index].insert(0, _signature(one))
    first = measures_of(staves[0]) if staves else []
    for one in score.iterfind("tempolist/tempo"):
        new = _put(first, ends, whole(one.get("tick"), 0), "Tempo", "tempo", one.text or "")
        if new is not None:
            etree.SubElement(new, "visible").text = "0"
    for number, line in enumerate([*score.iterchildren("Volta", "Ottava")]):
        place = whole(line.findtext("track"), 0) // 4 if line.tag == "Ottava" else 0
        if place < len(staves):
            _span(measures_of(staves[place]), ends, line, f"list-{number}")


def _put(measures: Sequence[etree._Element], ends: Sequence[Fraction], tick: int, tag: str, inner: str,
         value: str) -> etree._Element | None:
    """Add an element at a tick, unless its measure has one of its own there; return it."""
    index = _index(ends, tick, len(measures))
    if index is None:
        return None
    measure = measures[index]
    start = ends[index - 1] if index else Fraction(0)
    if tick == start and any(one.find("tick") is None for one in measure.iterchildren(tag)):
        return None
    moved = etree.SubElement(measure, "tick")
    moved.text = str(tick)
    new = etree.SubElement(measure, tag)
    etree.SubElement(new, inner).text = value
    if tick == start:                    # the signs of its start stand before the notes
        measure.insert(0, new)
        measure.remove(moved)
    return new


def _span(measures: Sequence[etree._Element], ends: Sequence[Fraction], line: etree._Element, name: str) -> None:
    """Put a line into the measure where it begins, and its end into that where it ends."""
    begin, end = whole(line.findtext("tick"), 0), whole(line.findtext("tick2"), 0)
    first, last = _index(ends, begin, len(measures)), _index(ends, end, len(measures))
    if first is None:
        return
    ends_of_line = [(first, begin, line)]
    if last is not None:                 # else it ends with the score
        ends_of_line.append((last, end, etree.Element("endSpanner")))
    for index, tick, new in ends_of_line:
        new.set("id", name)
        if line.tag == "Volta":
            measures[index].insert(0, new)
        else:
            etree.SubElement(measures[index], "tick").text = str(tick)
            measures[index].append(new)


def _index(ends: Sequence[Fraction], tick: int, count: int) -> int | None:
    """Return the measure of a tick."""
    return next((index for index, end in enumerate(ends[:count]) if tick < end), None)

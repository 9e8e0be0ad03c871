"""What music21's braille leaves out or writes as something else, in words to stand above its group of measures.

Found by reading its braille back: it has repeats as double bars, grace notes as notes with a value, and nothing of
endings, metronome marks, trills, tremolos, glissandi, segno, coda and lines of octaves.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from lxml import etree

_IN_NOTES = {"ornaments/trill-mark": "trill", "ornaments/mordent": "mordent", "ornaments/inverted-mordent": "mordent",
             "ornaments/turn": "turn", "ornaments/tremolo": "tremolo", "technical/open-string": "open",
             "technical/stopped": "stopped"}
_SLIDES = ("glissando", "slide")
_ABOVE = {"segno": "segno", "coda": "coda"}


def said_of(measures: Sequence[etree._Element]) -> str:
    """Return what of some measures has no sign of its own, by their printed numbers; empty where nothing.

    Parameters
    ----------
    measures : sequence of <measure>
        Those of one group, in order.
    """
    found: list[str] = []
    for measure in measures:
        signs = list(dict.fromkeys(_signs(measure)))
        if signs:
            found.append(f"measure {measure.get('number')}: {', '.join(signs)}")
    return "; ".join(found)


def _signs(measure: etree._Element) -> Iterator[str]:
    for child in measure:
        if child.tag == "barline":
            yield from _of_barline(child)
        elif child.tag == "direction":
            for kind in child.findall("direction-type"):
                yield from (said for tag, said in _ABOVE.items() if kind.find(tag) is not None)
                for mark in kind.findall("metronome"):
                    yield from _tempo(mark)
        elif child.tag == "note":
            if child.find("grace") is not None:
                yield f"{_pitch(child)} is a grace note"
            for notations in child.findall("notations"):
                yield from (said for tag, said in _IN_NOTES.items() if notations.find(tag) is not None)
                if any(notations.find(f"{tag}[@type='start']") is not None for tag in _SLIDES):
                    yield f"glissando from {_pitch(child)}"


def _of_barline(barline: etree._Element) -> Iterator[str]:
    repeat, ending = barline.find("repeat"), barline.find("ending")
    if ending is not None and ending.get("type") == "start":
        yield f"ending {ending.get('number', '').replace(',', ' and ')}"
    if repeat is not None:
        times = repeat.get("times", "2")
        more = "" if times in ("", "2") else f", {times} times in all"
        yield "repeat from here" if repeat.get("direction") == "forward" else f"repeat back at its end{more}"
    yield from (said for tag, said in _ABOVE.items() if barline.find(tag) is not None)


def _tempo(mark: etree._Element) -> Iterator[str]:
    unit, minute = mark.findtext("beat-unit", ""), (mark.findtext("per-minute") or "").strip()
    if unit and minute:
        yield f"{'dotted ' if mark.find('beat-unit-dot') is not None else ''}{unit} note = {minute}"


def _pitch(note: etree._Element) -> str:
    pitch = note.find("pitch")
    if pitch is None:
        return "a note"
    alter = Fraction((pitch.findtext("alter") or "0").strip() or 0)
    sign = {-2: " double flat ", -1: " flat ", 0: "", 1: " sharp ", 2: " double sharp "}.get(round(alter), "")
    return f"{pitch.findtext('step')}{sign}{pitch.findtext('octave')}"

"""Phrases of another player's line in somebody's part: small notes in the rests, and rests where somebody else plays.

Small notes are to be played, so they are notes of cue size and no silent cues: plans and reviews count them.
"""

import re
from collections.abc import Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm

from lxml import etree

from analyzer.score.document import read_document
from analyzer.score.sounding import Moment
from analyzer.writing.alone import finished, stand_later
from analyzer.writing.notation import print_accidentals
from analyzer.writing.rests import printed_value, rests_between, units
from analyzer.writing.write import Written

_LOUDNESS = ("dynamics", "wedge")
_HOW = re.compile(r"\b(?:cresc|decresc|dim|dolce|espr|marc|cantabile|legato|stacc|ten\b|sord|senza|mute|open|solo|gliss"
                  r"|pesante|morendo|sost|leggiero|sotto)", re.IGNORECASE)
"""Words that tell one player how to play; the others (tempo, form) stand in every part alike."""
_BEFORE_TYPE = ("grace", "cue", "pitch", "duration", "tie", "instrument", "footnote", "level", "voice")


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A span of measures, from one moment to before another, of `written`; without it, a span where others play.

    `said` stands above its beginning.
    """

    begin: Moment
    end: Moment
    said: str
    written: Written | None = None


@dataclass(frozen=True, slots=True)
class _Cut:
    """What of one measure goes to a passage [quarter notes of it]; `opens` where the passage begins here."""

    low: Fraction
    high: Fraction
    passage: Passage
    source: etree._Element | None
    opens: bool


@dataclass(slots=True)
class _Note:
    onset: Fraction
    length: Fraction
    element: etree._Element

    @property
    def grace(self) -> bool:
        return self.element.find("grace") is not None


def with_passages(own: Written, passages: Sequence[Passage], *, back: str = "own part") -> Written:
    """Return a written part with passages of others in it; its measures stay as they are.

    Parameters
    ----------
    own : Written
        The part; where a passage stands it has rests, or the passage takes their place.
    passages : sequence of Passage
        For the same reader: clef, key and octaves are theirs already.
    back : str
        Stands above the first own note behind a passage, as small notes alone are no sign in a dark pit.
    """
    if not passages:
        return own
    root = deepcopy(own.document.root)
    sources: dict[int, etree._Element] = {id(passage.written): deepcopy(passage.written.document.root)
                                          for passage in passages if passage.written is not None}
    _common_divisions([root, *sources.values()])
    measures = root.findall("part/measure")
    divisions = Fraction(root.findtext("part/measure/attributes/divisions") or "1")
    cuts: dict[int, list[_Cut]] = {}
    for passage in sorted(passages, key=lambda passage: passage.begin):
        source = sources[id(passage.written)].findall("part/measure") if passage.written is not None else None
        for index in range(passage.begin[0], min(passage.end[0], len(measures) - 1) + 1):
            low = passage.begin[1] if index == passage.begin[0] else Fraction(0)
            high = passage.end[1] if index == passage.end[0] else _length(measures[index], divisions)
            if low < high:
                cuts.setdefault(index, []).append(_Cut(low, high, passage, source[index] if source else None,
                                                       index == passage.begin[0]))
    for index, inside in cuts.items():
        loud = {id(cut): _loudness_before(cut, sources, index) for cut in inside if cut.opens}
        _rebuilt(measures[index], inside, divisions, loud)
    _returns(measures, passages, divisions, back)
    print_accidentals(root)
    return replace(own, document=read_document(finished(root), own.document.name))


def _common_divisions(roots: Sequence[etree._Element]) -> None:
    """Let all scores count in the same parts of a quarter note."""
    told = {int(Fraction((found.text or "1").strip())) for root in roots for found in root.iter("divisions")}
    common = lcm(*(max(1, one) for one in told))
    for root in roots:
        now = Fraction(1)
        for element in root.find("part").iter("divisions", "duration", "offset"):  # type: ignore[union-attr]
            if element.tag == "divisions":
                now = Fraction((element.text or "1").strip())
                element.text = str(common)
            else:
                element.text = units(Fraction((element.text or "0").strip()) / now, Fraction(common))


def _notes(measure: etree._Element, divisions: Fraction) -> Iterator[_Note]:
    at = Fraction(0)
    for element in measure.iterchildren("note"):
        length = Fraction((element.findtext("duration") or "0").strip()) / divisions
        yield _Note(at, length, element)
        at += length


def _length(measure: etree._Element, divisions: Fraction) -> Fraction:
    return sum((note.length for note in _notes(measure, divisions)), Fraction(0))


def _others(measure: etree._Element, divisions: Fraction) -> Iterator[tuple[Fraction, etree._Element]]:
    """Yield what is no note, with where it stands: in front of which note, and by its own offset."""
    at = Fraction(0)
    for element in measure:
        if element.tag == "note":
            at += Fraction((element.findtext("duration") or "0").strip()) / divisions
        elif isinstance(element.tag, str):
            later = element.find("offset")
            yield at + (Fraction((later.text or "0").strip()) / divisions if later is not None else 0), element


def _rebuilt(measure: etree._Element, cuts: Sequence[_Cut], divisions: Fraction,
             loud: dict[int, etree._Element | None]) -> None:
    """Write a measure anew: its own notes outside the cuts, those of the passages inside, rests between them."""
    length = _length(measure, divisions)
    kept = [note for note in _notes(measure, divisions) if note.element.find("rest") is None
            and not any(cut.low <= note.onset < cut.high for cut in cuts)]
    others = [(at, element) for at, element in _others(measure, divisions)
              if not (_is_the_player_s(element) and any(cut.low <= at < cut.high for cut in cuts))]
    for cut in cuts:
        if cut.opens:
            others.append((cut.low, _words(cut.passage.said)))
            if (direction := loud.get(id(cut))) is not None:
                others.append((cut.low, direction))
        if cut.source is None:
            continue
        for note in _notes(cut.source, divisions):
            if note.element.find("rest") is None and cut.low <= note.onset < cut.high:
                kept.append(_Note(note.onset, note.length, _sized(note)))
        others += [(at, deepcopy(element)) for at, element in _others(cut.source, divisions)
                   if _is_the_player_s(element) and cut.low <= at <= cut.high]
    kept.sort(key=lambda note: (note.onset, not note.grace))
    form = {"compound": False, "pickup": measure.get("implicit") == "yes"}
    stream: list[_Note] = []
    at = Fraction(0)
    for note in [*kept, _Note(length, Fraction(0), etree.Element("end"))]:
        if at < note.onset:
            for rest in rests_between(at, note.onset, length, divisions, **form):
                long = Fraction(rest.findtext("duration") or "0") / divisions
                stream.append(_Note(at, long, rest))
                at += long
        stream.append(note)
        at = max(at, note.onset + note.length)
    waiting = sorted(others, key=lambda other: (other[0], other[1].tag == "barline"))
    for element in list(measure):
        measure.remove(element)
    for note in stream[:-1]:
        while waiting and waiting[0][0] < note.onset + max(note.length, Fraction(1, 10**6)) and not (
                waiting[0][1].tag == "barline" and waiting[0][0] > note.onset):
            at, element = waiting.pop(0)
            if (told := element.find("offset")) is not None:
                element.remove(told)
            if at > note.onset:
                stand_later(element, at - note.onset, divisions)
            measure.append(element)
        measure.append(note.element)
    for _, element in waiting:
        if (told := element.find("offset")) is not None:
            element.remove(told)
        measure.append(element)


def _returns(measures: Sequence[etree._Element], passages: Sequence[Passage], divisions: Fraction, back: str) -> None:
    """Say where the own part goes on: above the first own note behind each passage that is played."""
    begins = sorted(passage.begin for passage in passages)
    for passage in passages:
        if passage.written is None:
            continue
        until = min((begin for begin in begins if begin >= passage.end), default=(len(measures), Fraction(0)))
        for index in range(passage.end[0], min(until[0] + 1, len(measures))):
            own = next((note for note in _notes(measures[index], divisions) if note.element.find("rest") is None
                        and passage.end <= (index, note.onset) < until), None)
            if own is not None:
                own.element.addprevious(_words(back))
                break


def _sized(note: _Note) -> etree._Element:
    """Return a copy of the note in cue size, which stands on its type: a file that tells none gets it."""
    element = deepcopy(note.element)
    kind = element.find("type")
    printed = printed_value(note.length) if kind is None else None
    if printed is not None:
        name, dots, *_ = printed
        kind = etree.Element("type")
        kind.text = name
        before = max(place for place, child in enumerate(element) if child.tag in _BEFORE_TYPE)
        for sign in [etree.Element("dot") for _ in range(dots)]:
            element.insert(before + 1, sign)
        element.insert(before + 1, kind)
    if kind is not None:
        kind.set("size", "cue")
    return element


def _is_the_player_s(element: etree._Element) -> bool:
    """Tell whether a sign is for who plays the notes at it, and goes with them."""
    if element.tag != "direction":
        return False
    said = " ".join((words.text or "") for words in element.iterfind("direction-type/words"))
    return bool(_HOW.search(said)) or any(element.find(f"direction-type/{name}") is not None for name in _LOUDNESS)


def _loudness_before(cut: _Cut, sources: dict[int, etree._Element], index: int) -> etree._Element | None:
    """Return a copy of the dynamics in force where a passage begins, None where it has its own there, or none yet."""
    if cut.passage.written is None:
        return None
    root = sources[id(cut.passage.written)]
    found: etree._Element | None = None
    divisions = Fraction(root.findtext("part/measure/attributes/divisions") or "1")
    for nth, measure in enumerate(root.findall("part/measure")[:index + 1]):
        for at, element in _others(measure, divisions):
            if element.tag != "direction" or element.find("direction-type/dynamics") is None:
                continue
            if nth == index and at >= cut.low:
                return None if at == cut.low else deepcopy(found) if found is not None else None
            found = element
    return deepcopy(found) if found is not None else None


def _words(text: str) -> etree._Element:
    direction = etree.Element("direction", placement="above")
    words = etree.SubElement(etree.SubElement(direction, "direction-type"), "words")
    words.text = text
    words.set("font-style", "italic")
    return direction

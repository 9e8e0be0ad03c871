"""Rests as published parts print them: whole-measure rests, and empty measures joined into one rest of many measures.

A run of empty measures is cut where something starts that its reader has to see: a rehearsal mark, a new tempo, key,
time or clef, a repeat, an ending, a double bar, segno or coda, a fermata, or a word meant for this player (mute, solo).
Other words do not cut it; they stand above the rest with their measure (common practice, no source; rehearsal marks and
measure numbers as in *Guidelines for Music Preparation*, Major Orchestra Librarians' Association).

The engraver (verovio 6.4) loses every direction and every barline at the left of a ``<multiple-rest>`` in MusicXML, but
keeps them around one in MEI. So a run becomes one empty measure here, whose rest has the id ``rest-INDEX-COUNT``, and
`native` turns those into rests of many measures in the engraver's own MEI.
"""

import re
from collections.abc import Iterable, Sequence
from copy import deepcopy
from fractions import Fraction

from lxml import etree

_SIGNS = ("rehearsal", "metronome", "segno", "coda")
_JUMPS = ("tempo", "dacapo", "dalsegno", "tocoda", "fine", "segno", "coda")
_FOR_PLAYER = re.compile(
    r"\b(mutes?|muted|senza|con sord\w*|sord\w*|open|plunger|harmon|cup|straight|bucket|hat|bells?|sol[oi]|tutti"
    r"|unis\w*|div\w*|a ?[23]|change|muta|take|to (?:the )?(?:bass|tenor|alto|euphonium|baritone|trombone)|tacet|fine"
    r"|d\. ?[cs]\.|da capo|dal segno|coda|segno|attacca|play|cues?|vamp|repeat|last time|offstage|onstage|g\. ?p\.)"
    r"(?!\w)", re.IGNORECASE)
_SPANNERS = ("wedge", "dashes", "bracket", "pedal", "octave-shift")
_ID = re.compile(r"rest-(\d+)-(\d+)$")


def joined_rests(measures: Sequence[etree._Element]) -> tuple[list[etree._Element], tuple[tuple[str, str], ...]]:
    """Return the measures with runs of empty ones joined, and the printed numbers under each run.

    Parameters
    ----------
    measures : sequence of <measure>
        Of one part on one staff, with the ids ``m{index}``; they are changed.

    Returns
    -------
    measures : list of <measure>
        A run is its first measure, with the barline of its last.
    ranges : tuple of (id, text)
        For each run of two or more the id of its rest and the range as printed, as in ``("rest-10-18", "11–28")``.
    """
    _clear_of_dynamics(measures)
    found: list[etree._Element] = []
    ranges: list[tuple[str, str]] = []
    run: list[etree._Element] = []

    def close() -> None:
        if run:
            found.append(_one_measure(run, ranges))
        run.clear()

    for measure in measures:
        if not empty(measure):
            close()
            found.append(measure)
            continue
        if run and _starts_anew(measure):
            close()
        run.append(measure)
        if _ends_here(measure):
            close()
    close()
    return found, tuple(ranges)


def measures_of_rest(name: str) -> int:
    """Return how many measures a rest of this id stands for, 0 for other ids."""
    told = _ID.match(name)
    return int(told[2]) if told else 0


def empty(measure: etree._Element) -> bool:
    """Whether nothing is to be played in a measure, and nothing but signs and words is printed beside its rest."""
    rests = False
    for child in measure:
        if child.tag == "note":
            if child.find("rest") is None or child.find("lyric") is not None:
                return False
            rests = True
        elif child.tag in ("harmony", "figured-bass"):
            return False
    return rests and measure.get("implicit") != "yes"


def _leading(measure: etree._Element) -> list[etree._Element]:
    found = []
    for child in measure:
        if child.tag in ("note", "backup", "forward"):
            break
        found.append(child)
    return found


def _cuts(direction: etree._Element) -> bool:
    """Whether a direction is one that a reader has to see at its place."""
    if any(direction.find(f"direction-type/{tag}") is not None for tag in _SIGNS):
        return True
    if any(sound.get(name) for sound in direction.iter("sound") for name in _JUMPS):
        return True
    return any(_FOR_PLAYER.search(" ".join((words.text or "").split())) for words in direction.iter("words"))


def _starts_anew(measure: etree._Element) -> bool:
    for child in measure:
        if child.tag == "attributes" and any(child.find(tag) is not None for tag in (
                "key", "time", "clef", "transpose", "staff-details")):
            return True
        if child.tag == "direction" and _cuts(child):
            return True
        if child.tag == "sound" and any(child.get(name) for name in _JUMPS[1:]):
            return True
        if child.tag == "barline" and child.get("location", "right") == "left":
            return True
    return _fermata(measure)


def _ends_here(measure: etree._Element) -> bool:
    if _fermata(measure):
        return True
    begun = _leading(measure)
    return any((child.tag == "barline" and child.get("location", "right") != "left")
               or (child.tag == "direction" and child not in begun and _cuts(child)) for child in measure)


def _fermata(measure: etree._Element) -> bool:
    return measure.find("note/notations/fermata") is not None or measure.find("barline/fermata") is not None


def _one_measure(run: Sequence[etree._Element], ranges: list[tuple[str, str]]) -> etree._Element:
    """Return the measure that stands for a run of empty ones."""
    first, last = run[0], run[-1]
    index = (first.get("id") or "m0")[1:]
    rest = _whole_rest(first)
    rest.set("id", f"rest-{index}-{len(run)}")
    said = _words_inside(run)
    if len(run) > 1:
        for child in first.findall("barline"):
            if child.get("location", "right") != "left":
                first.remove(child)
        first.extend(child for child in last.findall("barline") if child.get("location", "right") != "left")
        for measure in run[1:]:
            # A sign at the end of the last measure, such as D.C., keeps its place.
            first.extend(child for child in measure if child.tag == "direction" and _cuts(child))
        ranges.append((f"rest-{index}-{len(run)}", f"{first.get('number', '')}–{last.get('number', '')}"))
    if said:
        direction = etree.Element("direction", placement="above")
        etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = said
        first.insert(len(_leading(first)), direction)
    return first


def _whole_rest(measure: etree._Element) -> etree._Element:
    """Put one rest of the whole measure in the place of its rests, and return it."""
    at = longest = Fraction(0)
    place: int | None = None
    notations: etree._Element | None = None
    for child in list(measure):
        if child.tag not in ("note", "backup", "forward"):
            continue
        if child.find("grace") is None and child.find("chord") is None:
            length = _number(child.findtext("duration"))
            at = max(Fraction(0), at - length) if child.tag == "backup" else at + length
        longest = max(longest, at)
        if place is None:
            place = measure.index(child)
        if child.tag == "note" and notations is None and child.find("notations/fermata") is not None:
            notations = child.find("notations")
        measure.remove(child)
    rest = etree.Element("note")
    etree.SubElement(rest, "rest", measure="yes")
    etree.SubElement(rest, "duration").text = (
        str(longest.numerator) if longest.denominator == 1 else f"{float(longest):.6f}")
    etree.SubElement(rest, "voice").text = "1"
    if notations is not None:
        kept = etree.SubElement(rest, "notations")
        kept.extend(deepcopy(fermata) for fermata in notations.findall("fermata"))
    measure.insert(len(measure) if place is None else place, rest)
    return rest


def _words_inside(run: Sequence[etree._Element]) -> str:
    """Take the words that do not cut out of the measures of a rest; return them with their measures."""
    said: list[str] = []
    for measure in run:
        for direction in measure.findall("direction"):
            if _cuts(direction):
                continue
            text = " ".join(" ".join((words.text or "").split()) for words in direction.iter("words")).strip()
            if text:
                said.append(text if measure is run[0] else f"{text} (m. {measure.get('number', '')})")
            measure.remove(direction)
    return "; ".join(dict.fromkeys(said))


def _clear_of_dynamics(measures: Sequence[etree._Element]) -> None:
    """Take dynamics and hairpins out of empty measures; what a player needs of them stands where he or she plays.

    A hairpin that begins in a rest goes (it is another player's), the end of one that began before moves to the last
    measure that is played, and the last dynamic of a rest to the next one.
    """
    gone: set[tuple[str, str]] = set()
    played: etree._Element | None = None
    waiting: etree._Element | None = None
    for measure in measures:
        silent = empty(measure)
        for direction in measure.findall("direction"):
            for kind in direction.findall("direction-type"):
                for sign in kind:
                    key = (str(sign.tag), sign.get("number", "1"))
                    if sign.tag in _SPANNERS:
                        ends = sign.get("type") in ("stop", "discontinue")
                        if ends and key in gone:
                            gone.discard(key)
                            kind.remove(sign)
                        elif silent and ends and played is not None:
                            kind.remove(sign)
                            _end_with(played, sign)
                        elif silent:
                            gone.add(key)
                            kind.remove(sign)
                    elif sign.tag == "dynamics" and silent:
                        waiting = deepcopy(sign)
                        kind.remove(sign)
                if not len(kind):
                    direction.remove(kind)
            if direction.find("direction-type") is None:
                measure.remove(direction)
        if not silent and measure.find("note") is not None:
            if waiting is not None and not _opens_with_dynamics(measure):
                direction = etree.Element("direction", placement="below")
                etree.SubElement(direction, "direction-type").append(waiting)
                measure.insert(len(_leading(measure)), direction)
            waiting, played = None, measure


def _opens_with_dynamics(measure: etree._Element) -> bool:
    for child in measure:
        if child.tag == "direction" and child.find("direction-type/dynamics") is not None:
            return True
        if child.tag == "note" and child.find("rest") is None:
            return child.find("notations/dynamics") is not None
    return False


def _end_with(measure: etree._Element, sign: etree._Element) -> None:
    """Let a spanner end at the end of a measure."""
    direction = etree.Element("direction")
    etree.SubElement(direction, "direction-type").append(sign)
    notes: Iterable[etree._Element] = measure.findall("note")
    last = list(notes)[-1]
    measure.insert(measure.index(last) + 1, direction)


def _number(text: str | None) -> Fraction:
    try:
        return max(Fraction(0), Fraction((text or "0").strip()))
    except (ValueError, ZeroDivisionError):
        return Fraction(0)

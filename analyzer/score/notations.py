"""What is printed at one note: articulations, lines, ornaments, fingerings."""

import re

from lxml import etree

from analyzer.score.own_marks import is_ours

TIE_BITS = {"start": 1, "stop": 2, "continue": 3}
_LINES = frozenset(("glissando", "slide"))
_SHORT = frozenset(("staccato", "staccatissimo", "spiccato"))
_LONG = frozenset(("tenuto", "detached-legato"))
_BREATH = frozenset(("breath-mark", "caesura"))
_SUNG = re.compile(r"multi(?:ph|f)on|mehrkl[aä]ng|\bsing (?:and|&|while|\+) ?play", re.IGNORECASE)

SAID = {
    "harmonic": ("a note is printed as a harmonic; it is planned at its written pitch",
                 "Ask what is meant, and pin the choice with --pin."),
    "multiphonic": ("multiphonics are asked for here, and the notes are planned as if none were sung", ""),
    "tremolo": ("a tremolo goes to and fro between two notes, and each is planned once",
                "Two notes in one position go fastest; pin them with --pin."),
    "trill": ("a trill is planned as its written note alone", "Try how the note above comes from that choice."),
}
"""Mark -> what is said of it, and what to try: what these notes ask for is more than one choice."""


def sings(words: str | None) -> bool:
    """Tell whether words ask the player to sing into the horn.

    Examples
    --------
    >>> sings("multiphonics"), sings("sing & play"), sings("singing tone"), sings(None)
    (True, True, False, False)
    """
    return words is not None and _SUNG.search(words) is not None


def marks_of(element: etree._Element, marks: frozenset[str],
             slurs: list[tuple[str, str]]) -> tuple[frozenset[str], str | None, int]:
    """Take over one ``<notations>`` element of a note.

    Returns its marks with those found before, a fingering that is not ours, and the bits of its ties; slurs are added
    to `slurs` as (type, number).
    """
    given: str | None = None
    tie = 0
    for child in element:
        tag = child.tag
        if tag == "tied":
            tie |= TIE_BITS.get(child.get("type", ""), 0)
        elif tag == "slur":
            slurs.append((child.get("type", ""), child.get("number", "1")))
        elif tag == "articulations":
            for sign in child:
                if sign.tag in _SHORT:
                    marks = marks | {"staccato"}
                elif sign.tag in _LONG:
                    marks = marks | {"tenuto"}
                elif sign.tag in _BREATH:
                    marks = marks | {"breath"}
        elif tag == "technical":
            for sign in child:
                if sign.tag == "fingering":
                    if not is_ours(sign):
                        text = " ".join((sign.text or "").split())
                        given = f"{given} {text}" if given else text or None
                elif sign.tag == "harmonic":
                    marks = marks | {"harmonic"}
        elif tag == "ornaments":
            for sign in child:
                if sign.tag == "trill-mark":
                    marks = marks | {"trill"}
                elif sign.tag == "tremolo" and sign.get("type") == "start":
                    marks = marks | {"tremolo"}
        elif tag == "fermata":
            marks = marks | {"fermata"}
        elif tag in _LINES and child.get("type") == "start":
            marks = marks | {"gliss"}
    return marks, given, tie

"""Signs of the .mscx form as elements of MusicXML: clefs, tempo, jumps, articulations, fingerings.

Names of clefs are those of the table in the program's source (libmscore/clef.cpp; numbers of version 1: read114.cpp),
labels of markers those of libmscore/marker.cpp.
"""

import re
from fractions import Fraction

from lxml import etree

from analyzer.score.own_marks import NAME
from analyzer.score.vocabulary import one_line

_OLD_CLEFS = ("G", "G8va", "G15ma", "G8vb", "F", "F8vb", "F15mb", "F3", "F5", "C1", "C2", "C3", "C4", "TAB", "PERC",
              "C5", "G1", "F8va", "F15ma")
_OCTAVES = {"8va": 1, "15ma": 2, "8vb": -1, "15mb": -2, "8vbo": -1}
_LINES = {"G": "2", "F": "4", "C": "3"}

ARTICULATION_OF = (
    ("staccatissimo", "articulations", "<staccatissimo/>"), ("staccato", "articulations", "<staccato/>"),
    ("portato", "articulations", "<staccato/>"), ("tenuto", "articulations", "<tenuto/>"),
    ("marcato", "articulations", "<strong-accent/>"), ("sforzato", "articulations", "<accent/>"),
    ("accent", "articulations", "<accent/>"), ("tremblement", "ornaments", "<trill-mark/>"),
    ("trill", "ornaments", "<trill-mark/>"), ("turn", "ornaments", "<turn/>"),
    ("mordentinverted", "ornaments", "<inverted-mordent/>"), ("prall", "ornaments", "<inverted-mordent/>"),
    ("mordent", "ornaments", "<mordent/>"),
)
"""Part of the name in the source, group and element of MusicXML; the first that fits counts."""

_UNITS = ((Fraction(4), "whole", 0), (Fraction(3), "half", 1), (Fraction(2), "half", 0), (Fraction(3, 2), "quarter", 1),
          (Fraction(1), "quarter", 0), (Fraction(3, 4), "eighth", 1), (Fraction(1, 2), "eighth", 0),
          (Fraction(1, 4), "16th", 0))
_EQUALS = re.compile(r"[(\[]?[^\s=(\[]*\s*=\s*(?:ca?\.?\s*)?(\d{1,3}(?:[.,]\d+)?)\s*[)\]]?")
_FASTEST, _SLOWEST = 1000.0, 4.0


def clef_of(name: str) -> tuple[str, str, int]:
    """Return sign, line and octaves of a clef.

    Examples
    --------
    >>> clef_of("F"), clef_of("C4"), clef_of("G8vb"), clef_of("F15mb"), clef_of("PERC"), clef_of("11")
    (('F', '4', 0), ('C', '4', 0), ('G', '2', -1), ('F', '4', -2), ('percussion', '', 0), ('C', '3', 0))
    """
    if name.isdecimal():
        name = _OLD_CLEFS[int(name)] if int(name) < len(_OLD_CLEFS) else "G"
    if name.startswith("PERC"):
        return "percussion", "", 0
    if name.startswith("TAB"):
        return "TAB", "5", 0
    digits, octaves = re.match(r"[GFC]([1-5])(?![\d]|ma|mb)", name), 0
    for ending in sorted(_OCTAVES, key=len, reverse=True):
        if name.endswith(ending):
            octaves = _OCTAVES[ending]
            digits = None
            break
    sign = name[:1] if name[:1] in _LINES else "G"
    return sign, digits[1] if digits else _LINES[sign], octaves


def text_of(element: etree._Element | None, tag: str = "text") -> str:
    """Return the words of a text element, its styles and music signs left out (signs of letters stay)."""
    if element is None:
        return ""
    found = element.find(tag)
    if found is None and tag == "text":
        found = element.find("html-data")
    return "" if found is None else words_in(found)


def words_in(found: etree._Element) -> str:
    """Return the words inside an element, as `text_of` does."""
    pieces: list[str] = []
    for one in found.iter():
        hidden = not isinstance(one.tag, str)          # a comment
        if not hidden and one.tag not in ("style", "sym", "head", "title") and one.text:
            pieces.append(one.text)
        if one is not found and one.tail:
            pieces.append(one.tail)
    return " ".join("".join(pieces).split())


def metronome_of(element: etree._Element) -> tuple[str, str]:
    """Return the elements of a tempo direction, and what is played: as `Bar.directions` wants them.

    ``<tempo>`` counts quarter notes a second. The value before a printed number follows from both, so that no sign of
    any font has to be known. A hidden mark is only played.
    """
    try:
        bpm = float(element.findtext("tempo") or 0) * 60
    except ValueError:
        bpm = 0.0
    sound = f'tempo="{bpm:.6g}"' if _SLOWEST <= bpm <= _FASTEST else ""
    if (element.findtext("visible") or "").strip() == "0":
        return "", sound
    text = one_line(text_of(element))
    match = _EQUALS.search(text)
    kinds: list[str] = []
    metronome = ""
    if match is not None and sound:
        number = match[1].replace(",", ".")
        near = next((unit for unit in _UNITS if abs(bpm - float(number) * float(unit[0])) < 0.02 * bpm), None)
        if near is not None:
            text = one_line(f"{text[:match.start()]} {text[match.end():]}")
            metronome = (f"<metronome><beat-unit>{near[1]}</beat-unit>{'<beat-unit-dot/>' * near[2]}"
                         f"<per-minute>{number}</per-minute></metronome>")
    words = "".join(sign for sign in text if not ("\ue000" <= sign <= "\uf8ff" or "\U0001d100" <= sign <= "\U0001d1ff"))
    words = one_line(words)
    if re.search(r"\w", words):
        kinds.append(f"<words>{_escaped(words)}</words>")
    if metronome:
        kinds.append(metronome)
    return "\n".join(kinds), sound


def jump_of(element: etree._Element, length: Fraction) -> tuple[Fraction, int, str, str]:
    """Return a D.C. or D.S. as a direction at the end of its measure."""
    target = (element.findtext("jumpTo") or "").strip()
    words = one_line(text_of(element)) or ("D.C." if target == "start" else "D.S.")
    sound = 'dacapo="yes"' if target == "start" else f'dalsegno="{_escaped(target)}"' if target else ""
    return length, 1, f"<words>{_escaped(words)}</words>", sound


def marker_of(element: etree._Element, length: Fraction) -> tuple[Fraction, int, str, str]:
    """Return a segno, coda, "to coda" or fine as a direction; the last two stand at the end of their measure."""
    label = (element.findtext("label") or "").strip()
    words = one_line(text_of(element))
    plain = label.lower()
    if "segno" in plain:
        return Fraction(0), 1, "<segno/>", f'segno="{_escaped(label)}"'
    if plain.startswith("fine"):
        return length, 1, f"<words>{_escaped(words or 'Fine')}</words>", 'fine="yes"'
    to_coda = plain in ("coda", "tocoda", "coda1") or plain.startswith("tocoda") or "to coda" in words.lower()
    if to_coda:
        return length, 1, f"<words>{_escaped(words or 'To Coda')}</words>", 'tocoda="coda"'
    if plain in ("codab", "varcoda", "codetta") or plain.startswith("coda"):
        return Fraction(0), 1, "<coda/>", f'coda="{_escaped(label)}"'
    return Fraction(0), 1, f"<words>{_escaped(words)}</words>" if words else "", ""


def fingering_of(element: etree._Element) -> str:
    """Return a fingering with our sign where it has it; a comment there, as some readers know no instruction."""
    ours = any((child.text or "").strip() == NAME for child in element.iterchildren(etree.Comment))
    sign = f"<?{NAME}?>" if ours else ""
    return f"<fingering>{_escaped(text_of(element))}{sign}</fingering>"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")

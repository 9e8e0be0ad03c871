"""Signs of MEI as elements of MusicXML: clefs, keys, tempo, words, bar lines."""

import re

from lxml import etree

from analyzer.score.vocabulary import one_line

ARTICULATIONS = {"stacc": "<staccato/>", "stacciss": "<staccatissimo/>", "ten": "<tenuto/>", "acc": "<accent/>",
                 "marc": "<strong-accent/>", "spicc": "<spiccato/>"}
_FORWARD = '<bar-style>heavy-light</bar-style><repeat direction="forward"/>'
_BACKWARD = '<bar-style>light-heavy</bar-style><repeat direction="backward"/>'
BAR_LINES = {"rptstart": _FORWARD, "rptend": _BACKWARD, "rptboth": f"{_BACKWARD}|{_FORWARD}",
             "end": "<bar-style>light-heavy</bar-style>", "dbl": "<bar-style>light-light</bar-style>"}
"""What ``@left`` and ``@right`` of a measure say; behind a bar what the next measure begins with."""
_UNITS = {"1": "whole", "2": "half", "4": "quarter", "8": "eighth", "16": "16th", "breve": "breve"}
_LENGTHS = {"1": 4.0, "2": 2.0, "4": 1.0, "8": 0.5, "16": 0.25, "breve": 8.0}
_EQUALS = re.compile(r"[(\[]?\s*\S{0,4}\s*=\s*(\d{1,3}(?:[.,]\d+)?)\s*[)\]]?")


def clef_of(element: etree._Element) -> tuple[str, str, int] | None:
    """Return sign, line and octaves that an element with a clef tells; None if it tells none."""
    found = element if element.get("shape") else next(
        (one for one in element if isinstance(one.tag, str) and one.tag.endswith("clef")), None)
    if found is not None:
        shape, line, dis, place = (found.get(key) for key in ("shape", "line", "dis", "dis.place"))
    else:
        shape, line, dis, place = (element.get(f"clef.{key}") for key in ("shape", "line", "dis", "dis.place"))
    if not shape:
        return None
    octaves = {"8": 1, "15": 2, "22": 3}.get(dis or "", 0) * (1 if place == "above" else -1)
    if shape in ("perc", "TAB"):
        return ("percussion" if shape == "perc" else "TAB"), "", 0
    if shape == "GG":
        shape, octaves = "G", -1
    if shape not in ("G", "F", "C"):
        return None
    return shape, line if line in tuple("12345") else {"G": "2", "F": "4", "C": "3"}[shape], octaves


def fifths_of(element: etree._Element) -> int | None:
    """Return the sharps (above 0) or flats of a definition's key signature; None if it tells none."""
    found = next((one for one in element if isinstance(one.tag, str) and one.tag.endswith("keySig")), None)
    text = (found.get("sig") if found is not None else None) or element.get("keysig") or element.get("key.sig")
    match = re.fullmatch(r"([0-7])([sf]?)", (text or "").strip())
    if match is None:
        return None
    return int(match[1]) * (-1 if match[2] == "f" else 1)


def words_of(element: etree._Element | None) -> str:
    """Return the words inside an element, music signs of private fonts left out."""
    if element is None:
        return ""
    text = "".join(str(piece) for piece in element.itertext())
    return " ".join("".join(sign for sign in text if not ("\ue000" <= sign <= "\uf8ff")).split())


def metronome_of(element: etree._Element) -> tuple[str, str]:
    """Return the elements of a tempo direction, and what is played: as `Bar.directions` wants them."""
    kinds: list[str] = []
    unit, number = element.get("mm.unit") or "", element.get("mm") or ""
    dots = min(int(element.get("mm.dots") or 0) if (element.get("mm.dots") or "0").isdecimal() else 0, 3)
    bpm = _float(element.get("midi.bpm"))
    metronome = ""
    if unit in _UNITS and _float(number):
        metronome = (f"<metronome><beat-unit>{_UNITS[unit]}</beat-unit>{'<beat-unit-dot/>' * dots}"
                     f"<per-minute>{_float(number):g}</per-minute></metronome>")
        bpm = bpm or (_float(number) or 0) * _LENGTHS[unit] * (2 - 0.5**dots)
    if bpm is None and _float(element.get("midi.mspb")):
        bpm = 60e6 / (_float(element.get("midi.mspb")) or 1)
    text = one_line(words_of(element))
    match = _EQUALS.search(text)
    if match is not None:
        text = one_line(f"{text[:match.start()]} {text[match.end():]}")
    if re.search(r"\w", text):
        kinds.append(f"<words>{_escaped(text)}</words>")
    if metronome:
        kinds.append(metronome)
    elif match is not None and bpm:
        ratio = bpm / float(match[1].replace(",", "."))
        near = next(((name, count) for name, length in _LENGTHS.items() for count in (0, 1)
                     if abs(ratio - length * (1.5 if count else 1)) < 0.02 * ratio), None)
        if near is not None:
            kinds.append(f"<metronome><beat-unit>{_UNITS[near[0]]}</beat-unit>{'<beat-unit-dot/>' * near[1]}"
                         f"<per-minute>{match[1].replace(',', '.')}</per-minute></metronome>")
    return "\n".join(kinds), f'tempo="{bpm:.6g}"' if bpm and 4 <= bpm <= 1000 else ""


def direction_of(element: etree._Element, tag: str) -> tuple[str, str]:
    """Return words, a rehearsal mark, a dynamic or a sign that sends playing elsewhere."""
    text = one_line(words_of(element))
    if tag == "repeatMark":
        kind, sound = {
            "segno": ("<segno/>", 'segno="segno"'), "coda": ("<coda/>", 'coda="coda"'),
            "daCapo": ("", 'dacapo="yes"'), "dalSegno": ("", 'dalsegno="segno"'), "fine": ("", 'fine="yes"'),
        }.get(element.get("func", ""), ("", ""))
        words = text or {"daCapo": "D.C.", "dalSegno": "D.S.", "fine": "Fine"}.get(element.get("func", ""), "")
        return kind or (f"<words>{_escaped(words)}</words>" if words else ""), sound
    if tag == "dynam":
        return (f"<dynamics><{text}/></dynamics>", "") if re.fullmatch(r"p{1,4}|f{1,4}|m[pf]|sfz|fz|fp|sf", text) else (
            "", "")
    if not text:
        return "", ""
    kind = "rehearsal" if tag == "reh" else "words"
    return f"<{kind}>{_escaped(text)}</{kind}>", ""


def _float(text: str | None) -> float | None:
    return float(text) if text and re.fullmatch(r"\d{1,5}(?:\.\d{1,9})?", text.strip()) else None


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")

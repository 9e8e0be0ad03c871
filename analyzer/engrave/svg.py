"""Make the engraver's picture our own: tidy, self-contained, with header and foot."""

from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from analyzer.engrave.fonts import MUSIC_FAMILY, TEXT_STACK, Face, face_for, runs, width_em
from analyzer.engrave.lettering import line_of

SVG = "http://www.w3.org/2000/svg"
HREF = "{http://www.w3.org/1999/xlink}href"

_BOLD = frozenset({"ending", "fing", "reh", "tempo"})
_ITALIC = frozenset({"dir", "dynam", "mNum"})
_LOOK = {"font-family": TEXT_STACK, "stroke": "currentColor", "fill": "currentColor"}
LOOK = " ".join(f'{name}="{value}"' for name, value in _LOOK.items())
"""Attributes of what holds music; there the color is the text color of the page that shows it."""
_WORDED = frozenset({"tempo", "dir", "dynam"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands on top of the first page: the title in lines, a subtitle, names at the right."""

    title: tuple[str, ...] = ()
    subtitle: tuple[str, ...] = ()
    makers: tuple[str, ...] = ()


def classes(element: etree._Element) -> list[str]:
    """Return the class tokens of an element."""
    return (element.get("class") or "").split()


def code_of(name: str) -> str:
    """Return the code point of a sign, as in ``E0A4``, from the id or link of its definition."""
    return name.lstrip("#").partition("-")[0]


TITLE_SIZE, SUBTITLE_SIZE, MAKER_SIZE, FOOT_SIZE = 560.0, 380.0, 300.0, 250.0   # [engraver's units]


def wrap(text: str, size: float, width: float, face: Face) -> tuple[str, ...]:
    """Break a text into lines of at most `width`; a word longer than that stands alone and is not cut."""
    lines: list[str] = []
    for word in text.split():
        if lines and width_em(f"{lines[-1]} {word}", face) * size <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return tuple(lines)


def heading_height(heading: Heading) -> float:
    """Height that `heading_of` needs, with the gap below it. [engraver's units]"""
    left = 1.25 * TITLE_SIZE * len(heading.title) + 1.35 * SUBTITLE_SIZE * len(heading.subtitle)
    return left + 1.3 * MAKER_SIZE * len(heading.makers) + 180


def styled(root: etree._Element) -> etree._Element:
    """Make style rules of the engraver attributes, so that pictures can share a web page; return the page's group."""
    inner = next(element for element in root.iter(f"{{{SVG}}}svg") if "definition-scale" in classes(element))
    for name, value in _LOOK.items():
        inner.set(name, value)
    for name in ("id", "overflow"):
        if name in root.attrib:
            del root.attrib[name]
    for text in inner.iter(f"{{{SVG}}}text"):
        text.set("stroke", "none")
        for group in text.iterancestors(f"{{{SVG}}}g"):
            kinds = set(classes(group))
            if kinds & _BOLD:
                group.set("font-weight", "bold")
            if kinds & _ITALIC:
                group.set("font-style", "italic")
    page = inner.find(f"{{{SVG}}}g")
    assert page is not None
    return page


def heading_of(heading: Heading, width: float) -> str:
    """Return title, subtitle and names as SVG; `width` is that between the margins. [engraver's units]"""
    parts: tuple[tuple[tuple[str, ...], float, float, float, str, Face], ...] = (
        (heading.title, TITLE_SIZE, 0.25, width / 2, "middle", "bold"),
        (heading.subtitle, SUBTITLE_SIZE, 0.35, width / 2, "middle", "regular"),
        (heading.makers, MAKER_SIZE, 0.3, width, "end", "regular"))
    out = []
    y = 0.0
    for lines, size, gap, x, anchor, face in parts:
        for line in lines:
            y += size
            out.append(line_of(line, x, y, size, face, anchor=anchor))
            y += gap * size
    return f'<g class="heading" stroke="none">{"".join(out)}</g>' if out else ""


def foot_of(text: str, forms: Sequence[str], *, notice: str = "", width: float, y: float) -> str:
    """Return the line at the foot of a page; above it what our special forms mean, and above that a notice."""
    key = {"changed": "bold, bracketed: alternates, one bracket a group",
           "unplayable": "× in black, head struck out: cannot be played on this horn"}
    lines = [text, " · ".join(key[form] for form in ("changed", "unplayable") if form in forms), notice]
    out = []
    for number, line in enumerate(part for part in lines if part):
        size = min(FOOT_SIZE, width / max(width_em(line, "regular"), 1.0))
        out.append(line_of(line, width / 2, y - number * 1.35 * FOOT_SIZE, size, anchor="middle"))
    return f'<g class="foot" stroke="none">{"".join(out)}</g>'


def set_music_signs(root: etree._Element) -> None:
    """Set accidentals inside the engraver's texts in the music face; its text face has none."""
    for span in list(root.iter(f"{{{SVG}}}tspan")):
        text = span.text or ""
        if len(span) or MUSIC_FAMILY in span.get("font-family", "") or not any(
                face_for(character, "regular") == "music" for character in text):
            continue
        span.text = None
        for part, shown in runs(text, "regular"):
            child = etree.SubElement(span, f"{{{SVG}}}tspan")
            child.text = part
            if shown == "music":
                child.set("font-family", MUSIC_FAMILY)
                child.set("font-weight", "normal")
                child.set("font-style", "normal")


def fit_texts(page: etree._Element, width: float) -> None:
    """Move words that would run out of the page at the right to the left; make them smaller if they are too long."""
    for text in page.iter(f"{{{SVG}}}text"):
        owner = text.getparent()
        if owner is not None and _WORDED & set(classes(owner)):
            left, length = float(text.get("x", "0")), _length(text)
            if text.get("text-anchor", "start") != "start" or left + length <= width:
                continue
            shrink = min(1.0, width / length)
            text.set("x", f"{max(0.0, width - length * shrink):.0f}")
            for span in text.iter(f"{{{SVG}}}tspan"):
                size = span.get("font-size", "")
                if shrink < 1 and size.endswith("px"):
                    span.set("font-size", f"{float(size[:-2]) * shrink:g}px")


def _length(text: etree._Element) -> float:
    """Width of a text with spans of several sizes, as if bold. [engraver's units]"""
    total = 0.0
    for span in text.iter(f"{{{SVG}}}tspan"):
        size = "0px"
        at: etree._Element | None = span
        while at is not None and not (size := at.get("font-size", "")).endswith("px"):
            at = at.getparent()
        total += width_em(span.text or "", "bold") * float(size[:-2] or 0)
    return total


def used_characters(root: etree._Element) -> dict[Face, set[str]]:
    """Return the characters of all texts by the face that shows them."""
    used: dict[Face, set[str]] = {}
    for element in root.iter(f"{{{SVG}}}text", f"{{{SVG}}}tspan"):
        shown = (element.text or "") + "".join(child.tail or "" for child in element)
        if not shown.strip():
            continue
        weight, slope, family = (_inherited(element, name) for name in ("font-weight", "font-style", "font-family"))
        bold, italic = weight == "bold", slope in ("italic", "oblique")
        face: Face = "music" if MUSIC_FAMILY in family else (
            "bold-italic" if bold and italic else "bold" if bold else "italic" if italic else "regular")
        used.setdefault(face, set()).update(shown)
    return used


def _inherited(element: etree._Element, name: str) -> str:
    at: etree._Element | None = element
    while at is not None:
        found = at.get(name)
        if found is not None:
            return found
        at = at.getparent()
    return ""

"""Make the engraver's picture our own: tidy, self-contained, with header and foot."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from lxml import etree

from analyzer.engrave.fonts import MUSIC_FAMILY, TEXT_STACK, Face, face_for, runs, style_sheet, width_em
from analyzer.engrave.marks import SVG, by_class, write

# The engraver's own ids are longer than six figures; glyphs are named by code point and an id of the picture.
_OTHER_ID = re.compile(r'(?:(?<=<g)|(?<=<tspan)|(?<=<text)) id="(?!(?:[nm]\d{1,6}|[0-9A-F]{4,5}-\w+)")[^"]*"')
_GLYPH = re.compile(r'<g id="[0-9A-F]{4,5}(-\w+)"')
_KEPT_ID = re.compile(r'(<g id="|<use xlink:href="#)(?=(?:[nm]\d{1,6}|[0-9A-F]{4,5})")')


def _groups(*classes: str) -> Any:
    """Return a search for groups of any of the classes; in the library it is many times faster than a walk here."""
    tests = " or ".join(f"contains(concat(' ', @class, ' '), ' {name} ')" for name in classes)
    return etree.XPath(f".//s:g[{tests}]", namespaces={"s": SVG})


_styles: Any = etree.XPath("//s:style | //s:desc | //s:title[@class='labelAttr']", namespaces={"s": SVG})
_unseen: Any = etree.XPath("//s:g[not(*) and not(normalize-space())] | "
                           "//s:g[contains(@class, 'placeholder')]/s:ellipse", namespaces={"s": SVG})
_bold = _groups("ending", "fing", "reh", "tempo")
_italic = _groups("dir", "dynam", "mNum")
_worded = _groups("tempo", "dir", "dynam")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands on top of the first page: the title in lines, a subtitle, names at the right."""

    title: tuple[str, ...] = ()
    subtitle: tuple[str, ...] = ()
    makers: tuple[str, ...] = ()


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
    """Height that `draw_heading` needs, with the gap below it. [engraver's units]"""
    left = 1.25 * TITLE_SIZE * len(heading.title) + 1.35 * SUBTITLE_SIZE * len(heading.subtitle)
    return left + 1.3 * MAKER_SIZE * len(heading.makers) + 180


def parsed(svg: str, prefix: str) -> etree._Element:
    """Read a picture of the engraver, with ids for notes, measures and glyphs only, each with the prefix.

    Ids are the first attribute of an element, and ``<`` never stands in text as such; so this is safe on the string,
    and much faster than on the tree.
    """
    svg = _OTHER_ID.sub("", svg)
    suffix = _GLYPH.search(svg)
    if suffix is not None:
        svg = svg.replace(suffix[1] + '"', '"')
    if prefix:
        svg = _KEPT_ID.sub(rf"\1{prefix}", svg)
    return etree.fromstring(svg)


def tidy(root: etree._Element) -> etree._Element:
    """Remove what is not drawn and return the group that holds the page.

    Style rules of the engraver become attributes, so that several pictures can stand in one web page.
    """
    for element in (*_styles(root), *_unseen(root)):
        _remove(element)
    inner = next(element for element in root.iter(f"{{{SVG}}}svg") if element.get("class") == "definition-scale")
    inner.set("font-family", TEXT_STACK)
    inner.set("stroke", "currentColor")
    inner.set("fill", "currentColor")
    for name in ("id", "overflow"):
        if name in root.attrib:
            del root.attrib[name]
    for name, value, groups in (("font-weight", "bold", _bold), ("font-style", "italic", _italic)):
        for group in groups(inner):
            group.set(name, value)
    for text in inner.iter(f"{{{SVG}}}text"):
        text.set("stroke", "none")
    return next(iter(by_class(inner, "page-margin")))


def _remove(element: etree._Element) -> None:
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)


def draw_heading(page: etree._Element, heading: Heading, width: float) -> None:
    """Replace the engraver's header by ours; `width` is that between the margins. [engraver's units]"""
    if not (heading.title or heading.subtitle or heading.makers):
        return
    # First, so that a reader of the text meets the title before the music.
    group = etree.Element(f"{{{SVG}}}g")
    page.insert(0, group)
    group.set("class", "heading")
    y = 0.0
    for line in heading.title:
        y += TITLE_SIZE
        write(group, line, width / 2, y, TITLE_SIZE, "bold", anchor="middle")
        y += 0.25 * TITLE_SIZE
    for line in heading.subtitle:
        y += SUBTITLE_SIZE
        write(group, line, width / 2, y, SUBTITLE_SIZE, anchor="middle")
        y += 0.35 * SUBTITLE_SIZE
    for line in heading.makers:
        y += MAKER_SIZE
        write(group, line, width, y, MAKER_SIZE, anchor="end")
        y += 0.3 * MAKER_SIZE


def draw_foot(page: etree._Element, text: str, forms: Sequence[str], *, width: float, y: float) -> None:
    """Write the line at the foot of a page, and above it what our special forms mean."""
    group = etree.SubElement(page, f"{{{SVG}}}g")
    group.set("class", "foot")
    key = {"changed": "bold in a tray: another choice than the usual chart's",
           "unplayable": "× in black, head struck out: cannot be played on this horn"}
    lines = [text, " · ".join(key[form] for form in ("changed", "unplayable") if form in forms)]
    for number, line in enumerate(part for part in lines if part):
        size = min(FOOT_SIZE, width / max(width_em(line, "regular"), 1.0))
        write(group, line, width / 2, y - number * 1.35 * FOOT_SIZE, size, anchor="middle")


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
    for group in _worded(page):
        for text in group.findall(f"{{{SVG}}}text"):
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


def embed_fonts(root: etree._Element, used: dict[Face, set[str]]) -> None:
    """Add the faces, cut down to `used`, to the picture."""
    sheet = style_sheet(used)
    if sheet:
        style = etree.Element(f"{{{SVG}}}style")
        style.set("type", "text/css")
        style.text = sheet
        root.insert(0, style)

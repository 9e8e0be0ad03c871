"""Make the engraver's picture our own: tidy, self-contained, with header and foot."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from analyzer.report.engrave_fonts import MUSIC_FAMILY, TEXT_STACK, Face, face_for, runs, style_sheet, width_em
from analyzer.report.engrave_marks import HREF, SVG, by_class, write

_KEPT_ID = re.compile(r"[nm]\d+")
_BOLD = frozenset({"ending", "fing", "reh", "tempo"})
_WORDS = frozenset({"tempo", "dir", "dynam"})
_ITALIC = frozenset({"dir", "dynam", "mNum"})


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


def tidy(root: etree._Element, prefix: str) -> etree._Element:
    """Remove what is not drawn, keep only the ids of notes and measures; return the group that holds the page.

    Style rules of the engraver become attributes, so that several pictures can stand in one web page.
    """
    for tag in ("style", "desc", "title"):
        for element in list(root.iter(f"{{{SVG}}}{tag}")):
            if tag != "title" or element.get("class") == "labelAttr":
                _remove(element)
    inner = next(element for element in root.iter(f"{{{SVG}}}svg") if element.get("class") == "definition-scale")
    inner.set("font-family", TEXT_STACK)
    inner.set("stroke", "currentColor")
    inner.set("fill", "currentColor")
    for name in ("id", "overflow"):
        if name in root.attrib:
            del root.attrib[name]
    for group in list(root.iter(f"{{{SVG}}}g")):
        classes = (group.get("class") or "").split()
        if "placeholder" in classes and not any(child.tag == f"{{{SVG}}}g" for child in group):
            _remove(group)
            continue
        if "placeholder" in classes:
            for ellipse in group.findall(f"{{{SVG}}}ellipse"):
                group.remove(ellipse)
        if not _BOLD.isdisjoint(classes):
            group.set("font-weight", "bold")
        if not _ITALIC.isdisjoint(classes):
            group.set("font-style", "italic")
        if not len(group) and not (group.text or "").strip():
            _remove(group)
    codes: dict[str, str] = {}
    definitions = root.find(f"{{{SVG}}}defs")
    for symbol in definitions if definitions is not None else ():
        name = str(symbol.get("id"))
        codes[name] = prefix + name.split("-")[0]
        symbol.set("id", codes[name])
    for element in root.iter(etree.Element):
        name = element.get("id", "")
        if name and element.getparent() is not definitions:
            if _KEPT_ID.fullmatch(name):
                element.set("id", prefix + name)
            else:
                del element.attrib["id"]
        target = element.get(HREF, "")
        if target[1:] in codes:
            element.set(HREF, "#" + codes[target[1:]])
        if element.tag == f"{{{SVG}}}text":
            element.set("stroke", "none")
    return next(by_class(inner, "page-margin"))


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
    for group in page.iter(f"{{{SVG}}}g"):
        if _WORDS.isdisjoint((group.get("class") or "").split()):
            continue
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

    def visit(element: etree._Element, bold: bool, italic: bool, music: bool) -> None:
        bold = element.get("font-weight", "bold" if bold else "normal") == "bold"
        italic = element.get("font-style", "italic" if italic else "normal") in ("italic", "oblique")
        music = MUSIC_FAMILY in element.get("font-family", MUSIC_FAMILY if music else "")
        face: Face = "music" if music else ("bold-italic" if bold and italic else "bold" if bold else
                                            "italic" if italic else "regular")
        if element.text and element.tag in (f"{{{SVG}}}text", f"{{{SVG}}}tspan"):
            used.setdefault(face, set()).update(element.text.strip("\n"))
        for child in element:
            if isinstance(child.tag, str):
                visit(child, bold, italic, music)
                if child.tail and child.tail.strip():
                    used.setdefault(face, set()).update(child.tail)

    visit(root, False, False, False)
    return used


def embed_fonts(root: etree._Element, used: dict[Face, set[str]]) -> None:
    """Add the faces, cut down to `used`, to the picture."""
    sheet = style_sheet(used)
    if sheet:
        style = etree.Element(f"{{{SVG}}}style")
        style.set("type", "text/css")
        style.text = sheet
        root.insert(0, style)

"""Make the engraver's picture our own: tidy, self-contained, with header and foot."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

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
    """What stands on top of the first page: title and movement, names at the right.

    With `part` that stands at the left, bold, beside the names, and the subtitle small below it; else the subtitle is
    centred below the title. All are `times` the usual size.
    """

    title: tuple[str, ...] = ()
    subtitle: tuple[str, ...] = ()
    makers: tuple[str, ...] = ()
    movement: tuple[str, ...] = ()
    part: str = ""
    times: float = 1.0


def classes(element: etree._Element) -> tuple[str, ...]:
    """Return the class tokens of an element."""
    return _tokens(element.get("class") or "")


@lru_cache(maxsize=1024)
def _tokens(text: str) -> tuple[str, ...]:
    # A page has tens of thousands of elements and a few dozen classes.
    return tuple(text.split())


def code_of(name: str) -> str:
    """Return the code point of a sign, as in ``E0A4``, from the id or link of its definition."""
    return name.lstrip("#").partition("-")[0]


TITLE_SIZE, SUBTITLE_SIZE, MAKER_SIZE, FOOT_SIZE = 560.0, 380.0, 320.0, 285.0   # [engraver's units]


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
    return max((line[2] for line in _heading_lines(heading, 0.0)), default=0.0) + 260


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


def heading_of(heading: Heading, width: float, y: float = 0.0) -> str:
    """Return what stands on top of the first page as SVG; `width` is that between the margins. [engraver's units]"""
    out = [line_of(line, x, y + at, min(size, width / max(width_em(line, face), 1.0)), face, anchor=anchor)
           for line, x, at, size, face, anchor in _heading_lines(heading, width)]
    return f'<g class="heading" stroke="none">{"".join(out)}</g>' if out else ""


def _heading_lines(heading: Heading, width: float) -> list[tuple[str, float, float, float, Face, str]]:
    """Return text, place, size, face and anchor of each line of a heading."""
    found: list[tuple[str, float, float, float, Face, str]] = []
    y = 0.0

    def stack(lines: Sequence[str], size: float, gap: float, x: float, face: Face, anchor: str) -> None:
        nonlocal y
        size *= heading.times
        for line in lines:
            y += size
            found.append((line, x, y, size, face, anchor))
            y += gap * size

    stack(heading.title, TITLE_SIZE, 0.25, width / 2, "bold", "middle")
    stack(heading.movement, SUBTITLE_SIZE, 0.35, width / 2, "regular", "middle")
    if not heading.part:
        stack(heading.subtitle, SUBTITLE_SIZE, 0.35, width / 2, "regular", "middle")
        stack(heading.makers, MAKER_SIZE, 0.3, width, "regular", "end")
        return found
    top = y
    stack(heading.makers, MAKER_SIZE, 0.3, width, "regular", "end")
    left, y = y, top
    stack((heading.part,), SUBTITLE_SIZE, 0.25, 0.0, "bold", "start")
    y = max(y, left) if len(heading.makers) > 1 else y
    stack(heading.subtitle, MAKER_SIZE, 0.3, 0.0, "regular", "start")
    return found


def running_head(text: str, number: int, pages: int, *, width: float, y: float, times: float = 1.0) -> str:
    """Return the head of a page after the first: outside, as pages are bound, the number of the page.

    It is `times` the usual size.
    """
    where = f"page {number} of {pages}"
    odd = number % 2 == 1
    line = f"{text} · {where}" if odd else f"{where} · {text}"
    size = min(FOOT_SIZE * times, width / max(width_em(line, "regular"), 1.0))
    return line_of(line, width if odd else 0.0, y, size, anchor="end" if odd else "start")


def foot_of(text: str, forms: Sequence[str], *, notice: str = "", width: float, y: float, head: str = "",
            turn: str = "", times: float = 1.0) -> str:
    """Return the line at the foot of a page; above it what our special forms mean, and above that a notice.

    All are `times` the usual size. `head` is the running head, which is written with it; `turn` stands at the right,
    where the page is turned at once.
    """
    key = {"changed": "bold, bracketed: alternates, one bracket a group",
           "unplayable": "× in black, head struck out: cannot be played on this horn",
           "aimed": "in, out: the slide's move for the chord, in mm"}
    usual = FOOT_SIZE * times
    lines = [text, " · ".join(key[form] for form in ("changed", "unplayable", "aimed") if form in forms),
             *reversed(wrap(notice, usual, width, "regular"))]
    out = [head, line_of(turn, width, y, SUBTITLE_SIZE * times, "bold-italic", anchor="end") if turn else ""]
    beside = (width_em(turn, "bold-italic") + 0.5) * SUBTITLE_SIZE * times if turn else 0.0
    for number, line in enumerate(part for part in lines if part):
        room = width - (beside if number == 0 else 0.0)
        size = min(usual, room / max(width_em(line, "regular"), 1.0))
        middle = min(width / 2, room - width_em(line, "regular") * size / 2)
        out.append(line_of(line, middle, y - number * 1.35 * usual, size, anchor="middle"))
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
